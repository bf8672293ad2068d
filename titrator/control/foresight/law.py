"""The law of a titration curve with the potential given, in plain numbers.

With y the potential (its sign chosen so that it rises with the titrant), each branch is one exponential of
t = (y - place)/slope, and the balance of every titration is linear in the volume V of titrant:

    V = u (N + V0 D)/(1 - u D),   N = sum of the amounts V_k times the shares 1/(1 + exp(-t)) of their bound forms,
    D = exp(t) of the titrant in excess - exp(-t) of each analyte that is a free ion,   u = 1 + exp(t) of its couple

(amounts in mL of titrant, concentrations D over the titrant's own, V0 the liquid at the start). A redox titration has
bound forms and a couple behind, an acid with a base bound forms and an excess, silver with a halide a free ion and an
excess, EDTA a free ion and a couple. Of several halides the solids present are those that make V largest, unless who
asks knows how many there are. A base may carry carbonate, part of which is lost to the analyte (`Carried`). Derived
here from the balances of mass; activity coefficients shift places, which are fitted. Tested equal to the vectorised
models of the evaluation.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass
from typing import NamedTuple

_FARTHEST = 60.0
"""Exponents are kept within this: exp(60) is beyond every amount."""
_POLE = 0.02
"""1 - uD is kept above: the titrant's own concentration is never reached."""


class Kind(enum.Enum):
    """What a branch stands for."""

    BOUND = "bound"  # the analyte passes from one form into another that stays
    FREE = "free"  # the analyte itself is what the electrode follows
    COUPLE = "couple"  # behind the last point: the titrant's two forms
    EXCESS = "excess"  # behind the last point: the titrant itself


@dataclass(frozen=True, slots=True)
class Branch:
    """One exponential. `place_mV` and `slope_mV` as expected beforehand; `place_sd_mV` of this place alone.

    `step` (from 0) is the amount that it belongs to, `share` the part of the amount (acids with several protons at one
    point). `own_slope_sd` is above 0 where the electrode does not follow the branch: relative standard deviation.
    """

    kind: Kind
    place_mV: float
    place_sd_mV: float
    slope_mV: float
    step: int = 0
    share: float = 1.0
    own_slope_sd: float = 0.0


@dataclass(frozen=True, slots=True)
class Carried:
    """What the titrant itself carries and loses on the way: carbonate in a base, at its two places.

    `share_sd`: how much of the titrant that may be (standard deviation, from none on). `idle`: at the last point the
    first half of it is spent: the point as a chemist counts it, in mL of titrant, lies that much further on.
    """

    places_mV: tuple[float, ...]
    slope_mV: float
    share_sd: float
    idle: bool


class Place(NamedTuple):
    """V (mL) at one potential, dV/dy (mL/mV), and dV by the amounts (mL/mL), by each branch's t and each carried t
    after them (mL), and by the share carried (mL)."""

    volume_mL: float
    slope_mL_per_mV: float
    by_amount: list[float]
    by_t: list[float]
    by_carried: float = 0.0
    left: float = 1.0
    """1 - u D: the part of the titrant that is still for the analyte."""


class Law:
    """The branches of one titration and the liquid at its start."""

    __slots__ = ("_terms", "_whole", "amounts", "branches", "carried", "layered", "vessel_mL")

    def __init__(self, branches: tuple[Branch, ...], vessel_mL: float, carried: Carried | None = None) -> None:
        """`branches` in order of the potential. ValueError where no law of a titration has such branches."""
        if not branches or sum(each.kind in (Kind.COUPLE, Kind.EXCESS) for each in branches) != 1:
            raise ValueError(f"expected branches with one behind the last point, got {branches!r}")
        self.branches = branches
        self.vessel_mL = vessel_mL
        self.carried = carried
        self.amounts = 1 + max(each.step for each in branches)
        free = sum(each.kind is Kind.FREE for each in branches)
        self.layered = max(1, free)  # several free ions: solids come one after the other
        self._terms = tuple((each.kind, each.step, each.share) for each in branches)
        bound = {each.step for each in branches if each.kind is Kind.BOUND}
        self._whole = [0.0 if step in bound else 1.0 for step in range(self.amounts)]

    def place(
        self,
        y_mV: float,
        amounts_mL: list[float],
        places_mV: list[float],
        slopes_mV: list[float],
        carried: float = -1.0,
        *,
        solids: int = 0,
    ) -> Place:
        """Where the curve is at `y_mV` by the amounts and by each branch's place and slope (lists as `branches`).

        `carried` is the share of the titrant that is `Carried`, whose places and slopes then follow those of the
        branches (below 0: none is, and they do not). `solids`: how many of several there are; 0 where the law itself
        is to say.
        """
        if self.carried is not None and carried >= 0.0:
            return self._carrying(y_mV, amounts_mL, places_mV, slopes_mV, carried)
        if solids or self.layered == 1:
            return self._place(y_mV, amounts_mL, places_mV, slopes_mV, max(1, solids))
        best: Place | None = None
        for count in range(1, self.layered + 1):
            tried = self._place(y_mV, amounts_mL, places_mV, slopes_mV, count)
            if best is None or tried.volume_mL > best.volume_mL:
                best = tried
        assert best is not None
        return best

    def volume_mL(
        self,
        y_mV: float,
        amounts_mL: list[float],
        places_mV: list[float],
        slopes_mV: list[float],
        carried: float = -1.0,
    ) -> float:
        """The volume of `place` alone, to the same digit and sooner."""
        if self.layered > 1 or (self.carried is not None and carried >= 0.0):
            return self.place(y_mV, amounts_mL, places_mV, slopes_mV, carried).volume_mL
        used, exp = self._whole.copy(), math.exp
        needed = excess = couple = 0.0
        bound, free, over = Kind.BOUND, Kind.FREE, Kind.EXCESS
        for (kind, step, share), place_mV, slope_mV in zip(self._terms, places_mV, slopes_mV, strict=False):
            t = (y_mV - place_mV) / slope_mV
            if not -_FARTHEST <= t <= _FARTHEST:
                t = math.copysign(_FARTHEST, t)
            if kind is bound:
                used[step] += share * (1.0 / (1.0 + exp(-t)))
            elif kind is free:
                excess -= exp(-t)
            elif kind is over:
                excess += exp(t)
            else:
                couple = exp(t)
        for k, each in enumerate(used):
            needed += amounts_mL[k] * each
        u = 1.0 + couple
        return u * (needed + self.vessel_mL * excess) / max(1.0 - u * excess, _POLE)

    def _place(
        self, y_mV: float, amounts_mL: list[float], places_mV: list[float], slopes_mV: list[float], solids: int
    ) -> Place:
        count = self.amounts
        unbound = [True] * count
        amount_slopes = [0.0] * count
        needed = excess = couple = 0.0
        free_left = solids
        by_t = [0.0] * len(self.branches)
        kinds = [0] * len(self.branches)  # what a branch's t moves: 1 N, 2 D, 3 u
        for k, branch in enumerate(self.branches):
            t = (y_mV - places_mV[k]) / slopes_mV[k]
            if not -_FARTHEST <= t <= _FARTHEST:
                t = math.copysign(_FARTHEST, t)
            if branch.kind is Kind.BOUND:
                used = 1.0 / (1.0 + math.exp(-t))
                unbound[branch.step] = False
                amount_slopes[branch.step] += branch.share * used
                by_t[k] = amounts_mL[branch.step] * branch.share * used * (1.0 - used)
                kinds[k] = 1
            elif branch.kind is Kind.FREE:
                if self.layered > 1 and free_left == 0:
                    continue
                free_left -= 1
                free = math.exp(-t)
                excess -= free
                by_t[k] = free
                kinds[k] = 2
                if self.layered > 1:
                    amount_slopes[branch.step] = 1.0
                    unbound[branch.step] = False
            elif branch.kind is Kind.EXCESS:
                over = math.exp(t)
                excess += over
                by_t[k] = over
                kinds[k] = 2
            else:
                couple = math.exp(t)
                by_t[k] = couple
                kinds[k] = 3
        for k in range(count):
            if unbound[k] and self.layered == 1:
                amount_slopes[k] = 1.0
            needed += amounts_mL[k] * amount_slopes[k]
        u = 1.0 + couple
        left = max(1.0 - u * excess, _POLE)
        inner = needed + self.vessel_mL * excess
        volume = u * inner / left
        by_needed = u / left
        factors = (0.0, by_needed, u * (self.vessel_mL + volume) / left, inner / (left * left))
        slope = 0.0
        for k in range(len(by_t)):
            by_t[k] *= factors[kinds[k]]
            slope += by_t[k] / slopes_mV[k]
        return Place(volume, slope, [by_needed * each for each in amount_slopes], by_t, left=left)

    def _carrying(
        self, y_mV: float, amounts_mL: list[float], places_mV: list[float], slopes_mV: list[float], share: float
    ) -> Place:
        """V of V (1 - D - κ q) = N + V0 D, with q the part of the carried share κ that is spent at y.

        Worked from the place with nothing carried, whose V (1 - D) is N + V0 D but for what is idle at the last point.
        """
        assert self.carried is not None
        bare = self._place(y_mV, amounts_mL, places_mV, slopes_mV, 1)
        last, count = self.amounts - 1, len(self.branches)
        half = 0.5 * share if self.carried.idle else 0.0
        used_last = bare.by_amount[last] * bare.left
        point = sum(amounts_mL)
        spent, spent_by_t = 0.0, []
        for place_mV in places_mV[count:]:
            used = 1.0 / (1.0 + math.exp(min(max((place_mV - y_mV) / slopes_mV[count], -_FARTHEST), _FARTHEST)))
            part = 1.0 / len(self.carried.places_mV)
            spent += part * used
            spent_by_t.append(part * used * (1.0 - used))
        left = max(bare.left - share * spent, _POLE)
        volume = (bare.volume_mL * bare.left - half * point * used_last) / left
        of_bound = bare.left / left
        of_last = of_bound * (1.0 - half * point / amounts_mL[last])
        of_free = of_bound * (self.vessel_mL + volume) / (self.vessel_mL + bare.volume_mL)
        by_t = [
            each * (of_free if branch.kind is not Kind.BOUND else of_last if branch.step == last else of_bound)
            for each, branch in zip(bare.by_t, self.branches, strict=True)
        ]
        by_t += [volume * share * each / left for each in spent_by_t]
        slope = sum([each / slope_mV for each, slope_mV in zip(by_t, slopes_mV, strict=True)])
        by_amount = [(each * bare.left - half * used_last) / left for each in bare.by_amount]
        by_share = (volume * spent - (0.5 * point * used_last if half else 0.0)) / left
        return Place(volume, slope, by_amount, by_t, by_share)
