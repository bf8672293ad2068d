"""What the points so far tell of the law: weighted least squares of the volume on the potential, with weak priors.

The volume is regressed on the potential, not the other way round: near the jump the burette's error counts and not the
electrode's, and V(E) is explicit. Each datum weighs by the burette's error, by what its potential may err carried along
the chord of the curve (the local slope of an unsettled reading in mid-jump would call its volume exact), and by a share
of the distance to the next equivalence point, for no law is exact far off. Of several solids the readings are parted
into those before a corner and those behind it (`layers`), and the parting that fits best counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import NamedTuple

from titrator.control.foresight.law import Law, Place
from titrator.control.foresight.layers import Layers
from titrator.control.foresight.normal import decomposed, inverse, solved

MISFIT = 0.002
"""Share of the distance to the next equivalence point by which a law may err (dilution, activity, side reactions)."""
PASSING_MISFIT = 0.2
"""Share of the lag by which readings while dosing lie elsewhere than a constant lag says."""
SUSPECT = 1.5
"""Mean square of residuals and priors over variances above which a corner is sought among the newest readings."""
FARTHEST = 4.0
"""Standard deviations that the potential of a reading is taken to err by at most."""
_ROUNDS = 24
_SMALL = 0.02
"""Steps below this many standard deviations end the search."""
_HELD = 1e-3
"""Standard deviation of ln of an amount that is held for a profile."""
_GRID = 1.25
"""Ratio of neighbouring amounts tried in a profile: the next one is found by the fit."""
_LN_STEP, _EXPONENT_STEP = 0.7, 2.0
"""The most that ln of an amount, and the exponent of a branch by its own place, change in one step."""

Lines = tuple[list[float], list[float], float]
"""Places, slopes and the carried share, as `Law.place` takes them."""


class Datum(NamedTuple):
    """A potential (rising sign) with its standard deviation at a delivered volume; `speed_mL_per_s` 0 at rest."""

    volume_mL: float
    y_mV: float
    sd_mV: float
    speed_mL_per_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Beforehand:
    """What is known before the first point, beside the law's own branches.

    `amounts_mL` with `ln_sd` each (weak: a hint). `shift_sd_mV`: of all places together (offset of the electrode).
    `slope_sd`: relative, of all slopes together. `lag_s`, `lag_ln_sd`: how far readings are behind while titrant runs.
    `volume_sd_mL`: of a position of the burette.
    `along_mV`: by how much the places shift along a whole amount, against those at its end (activity coefficients).
    """

    amounts_mL: tuple[float, ...]
    ln_sd: tuple[float, ...]
    shift_sd_mV: float
    slope_sd: float
    lag_s: float
    lag_ln_sd: float
    volume_sd_mL: float
    along_mV: float = 0.0


@dataclass(slots=True)
class Estimate:
    """Values of the unknowns and their covariance, updated by `fit`.

    The unknowns in order: ln of the amounts, shift of all places, own shift of each branch, ln of all slopes, ln of own
    slopes (branches that the electrode does not follow), the share that the titrant carries where it does, ln of the
    lag. `layers` says on which of several solids a reading lies.
    """

    law: Law
    before: Beforehand
    x: list[float] = field(init=False)
    prior: list[float] = field(init=False)
    prior_sd: list[float] = field(init=False)
    covariance: list[list[float]] = field(init=False)
    misfit: float = field(init=False, default=0.0)
    """Sum of the squared residuals of the points at rest over their variances, in the last fit."""
    layers: Layers = field(init=False)

    def __post_init__(self) -> None:
        branches, before = self.law.branches, self.before
        self.layers = Layers(self.law.layered)
        own = [each.own_slope_sd for each in branches if each.own_slope_sd > 0.0]
        if self.law.carried is not None:
            own.append(self.law.carried.share_sd)
        self.prior = [
            *(math.log(each) for each in before.amounts_mL),
            *[0.0] * (2 + len(branches) + len(own)),
            math.log(before.lag_s),
        ]
        self.prior_sd = [
            *before.ln_sd,
            before.shift_sd_mV,
            *(each.place_sd_mV for each in branches),
            before.slope_sd,
            *own,
            before.lag_ln_sd,
        ]
        self.x = list(self.prior)
        size = len(self.x)
        self.covariance = [[self.prior_sd[i] ** 2 if i == j else 0.0 for j in range(size)] for i in range(size)]

    # ------------------------------------------------------------------------------------------ the curve
    def amounts_mL(self) -> list[float]:
        """The amounts, in mL of titrant."""
        return [math.exp(each) for each in self.x[: self.law.amounts]]

    def points_mL(self) -> list[float]:
        """The equivalence points: running sums of the amounts."""
        points, total = [], 0.0
        for each in self.amounts_mL():
            total += each
            points.append(total)
        return points

    def before_mL(self, number: int) -> float:
        """Where an amount begins (from 0): the equivalence point before it, or 0."""
        return self.points_mL()[number] - self.amounts_mL()[number]

    def ln_sd(self, number: int) -> float:
        """Standard deviation of ln of an amount (from 0)."""
        return math.sqrt(self.covariance[number][number])

    def point_sd_mL(self, number: int) -> float:
        """Standard deviation of an equivalence point (from 0)."""
        return math.sqrt(self.variance(self.point_gradient(number)))

    def point_gradient(self, number: int) -> list[float]:
        """d(point)/d(unknowns)."""
        amounts = self.amounts_mL()
        return [amounts[k] if k <= number and k < len(amounts) else 0.0 for k in range(len(self.x))]

    def variance(self, gradient: list[float]) -> float:
        """gradientᵀ covariance gradient."""
        total = 0.0
        for gi, row in zip(gradient, self.covariance, strict=True):
            if gi:
                inner = 0.0
                for gj, each in zip(gradient, row, strict=True):
                    inner += gj * each
                total += gi * inner
        return total

    def carried(self) -> float:
        """The share that the titrant carries; below 0 where it carries nothing."""
        return max(self.x[-2], 0.0) if self.law.carried is not None else -1.0

    def lines(self) -> Lines:
        """Places and slopes of the branches, behind them those of what the titrant carries, and its share."""
        x, count = self.x, self.law.amounts
        shift, common = x[count], math.exp(x[count + 1 + len(self.law.branches)])
        own = count + 2 + len(self.law.branches)
        places, slopes = [], []
        for k, branch in enumerate(self.law.branches):
            places.append(branch.place_mV + shift + x[count + 1 + k])
            slope = branch.slope_mV * common
            if branch.own_slope_sd > 0.0:
                slope *= math.exp(x[own])
                own += 1
            slopes.append(slope)
        if self.law.carried is not None:
            for place_mV in self.law.carried.places_mV:
                places.append(place_mV + shift)
                slopes.append(self.law.carried.slope_mV * common)
        return places, slopes, self.carried()

    def lag_s(self) -> float:
        """How far readings are behind while titrant runs in."""
        return math.exp(self.x[-1])

    def at(self, y_mV: float) -> Place:
        """The curve at a potential, as estimated."""
        return self.law.place(y_mV, self.amounts_mL(), *self.lines())

    def gradient(self, datum: Datum, place: Place, amounts_mL: list[float], lines: Lines) -> list[float]:
        """d(volume that the law gives for a datum)/d(unknowns)."""
        places, slopes, _ = lines
        branches = self.law.branches
        out = [each * amount for each, amount in zip(place.by_amount, amounts_mL, strict=True)]
        shifts, own, common, shift = [], [], 0.0, 0.0
        for k, branch in enumerate(branches):
            by_t = place.by_t[k]
            by_place = -by_t / slopes[k]
            by_slope = -by_t * (datum.y_mV - places[k]) / slopes[k]
            shift += by_place
            shifts.append(by_place)
            common += by_slope
            if branch.own_slope_sd > 0.0:
                own.append(by_slope)
        for k in range(len(branches), len(place.by_t)):
            by_t = place.by_t[k]
            shift -= by_t / slopes[k]
            common -= by_t * (datum.y_mV - places[k]) / slopes[k]
        if self.law.carried is not None:
            own.append(place.by_carried)
        lagged = datum.speed_mL_per_s * math.exp(self.x[-1])
        return [*out, shift, *shifts, common, *own, lagged]

    def predicted_mL(self, datum: Datum) -> tuple[float, float]:
        """(volume that the law gives, variance of the datum's own errors): V, mL²."""
        amounts, lines = self.amounts_mL(), self.lines()
        volume_mL = self.law.volume_mL(datum.y_mV, amounts, *lines)
        return volume_mL + datum.speed_mL_per_s * math.exp(self.x[-1]), self._own_variance(
            datum, volume_mL, amounts, lines
        )

    def _own_variance(self, datum: Datum, volume_mL: float, amounts: list[float], lines: Lines) -> float:
        variance, sd_mV = self._without_potential(datum, volume_mL, amounts)
        above = self.law.volume_mL(datum.y_mV + 2.0 * sd_mV, amounts, *lines)
        below = self.law.volume_mL(datum.y_mV - 2.0 * sd_mV, amounts, *lines)
        chord = 0.25 * (above - below)
        return variance + chord * chord

    def _without_potential(self, datum: Datum, volume_mL: float, amounts: list[float]) -> tuple[float, float]:
        """(variance of a datum's volume but for what its potential errs, standard deviation of that): mL², mV."""
        total, nearest, share = 0.0, math.inf, 0.0
        for each in amounts:
            total += each
            away = abs(volume_mL - total)
            if away < nearest:
                nearest, share = away, min(away / each, 1.0)
        sd_mV = datum.sd_mV
        if self.before.along_mV:
            sd_mV = math.hypot(sd_mV, self.before.along_mV * share)
        variance = self.before.volume_sd_mL**2 + (MISFIT * nearest) ** 2
        if datum.speed_mL_per_s:
            variance += (PASSING_MISFIT * datum.speed_mL_per_s * math.exp(self.x[-1])) ** 2
        return variance, sd_mV

    def _on_branch(
        self, datum: Datum, amounts: list[float], lines: Lines, lag_s: float
    ) -> tuple[Datum, Place, float, float]:
        """(datum where the curve is looked at, curve there, residual, variance) on the branch it is assigned to.

        Behind a corner the potential hardly rises, and its errors are the larger ones: looked at where it was read, the
        curve would seem the flatter the more it errs. So it is looked at where both errors together are least.
        """
        solids = self.layers.at(datum.volume_mL)
        read_mL = datum.volume_mL - datum.speed_mL_per_s * lag_s
        y_mV, reach_mV = datum.y_mV, FARTHEST * datum.sd_mV
        place = self.law.place(y_mV, amounts, *lines, solids=solids)
        variance, sd_mV = self._without_potential(datum, place.volume_mL, amounts)
        for _ in range(2):
            chord = sd_mV * place.slope_mL_per_mV
            straight = read_mL - place.volume_mL - place.slope_mL_per_mV * (datum.y_mV - y_mV)
            moved_mV = straight * sd_mV * chord / (variance + chord * chord)
            y_mV = datum.y_mV + min(max(moved_mV, -reach_mV), reach_mV)
            place = self.law.place(y_mV, amounts, *lines, solids=solids)
        chord = sd_mV * place.slope_mL_per_mV
        residual = read_mL - place.volume_mL - place.slope_mL_per_mV * (datum.y_mV - y_mV)
        return datum._replace(y_mV=y_mV), place, residual, variance + chord * chord

    # ------------------------------------------------------------------------------------------ the fit
    def fit(self, data: list[Datum]) -> None:
        """Find the unknowns anew from all `data`, starting where they are.

        ValueError where the data leave the unknowns open.
        """
        volumes = [each.volume_mL for each in data]
        if not self.layers.unassigned(volumes):
            self._descend(data)
            return
        self._choose(data, self.layers.with_newest())
        if self.cost(data) > SUSPECT * (2 + len(data)):
            self._choose(data, self.layers.moved(volumes))

    def _choose(self, data: list[Datum], partings: list[list[float]]) -> None:
        """Fit with the readings parted into layers in each of these ways, and keep what fits best."""
        start, least = list(self.x), math.inf
        best, kept = start, self.layers.corners_mL
        for each in partings:
            self.x, self.layers.corners_mL = list(start), each
            self._descend(data)
            cost = self.cost(data)
            if cost < least:
                least, best, kept = cost, list(self.x), each
        self.x, self.layers.corners_mL = best, kept
        self._descend(data)

    def _descend(self, data: list[Datum]) -> None:
        for _ in range(_ROUNDS):
            matrix, right = self._normal_equations(data)
            lower = decomposed(matrix)
            step = solved(lower, right)
            scale = self._shortened(step)
            size = 0.0
            for k, each in enumerate(step):
                self.x[k] += scale * each
                size += each * right[k]
            if scale == 1.0 and size < _SMALL * _SMALL:
                break
        matrix, _ = self._normal_equations(data)
        self.covariance = inverse(decomposed(matrix))

    def earliest_mL(self, number: int, data: list[Datum], from_mL: float, to_mL: float, worse: float) -> float:
        """The least value of an amount between two that the data allow: with all else fitted, the sum of squares is
        at most `worse` above the least one found. The unknowns are left at that one."""
        tried = []
        mean, sd = self.prior[number], self.prior_sd[number]
        value = from_mL
        while value < to_mL:
            self.prior[number], self.prior_sd[number], self.x[number] = math.log(value), _HELD, math.log(value)
            self.fit(data)
            away = (self.x[number] - mean) / sd
            tried.append((self.cost(data, number) + away * away, value, list(self.x)))
            value *= _GRID
        self.prior[number], self.prior_sd[number] = mean, sd
        if tried:  # none where `from_mL` lies beyond `to_mL`: then the fit itself is the answer
            self.x = min(tried)[2]
        self.fit(data)
        best, amount_mL = self.cost(data), self.amounts_mL()[number]
        # The root of a sum of squares is about straight in ln of the amount.
        falling = [(math.sqrt(max(cost - best, 0.0)), value) for cost, value, _ in tried if value < amount_mL]
        before, before_mL = math.inf, from_mL
        for rise, value in [*falling, (0.0, amount_mL)]:
            if rise * rise <= worse:
                share = 1.0 if before == math.inf else (before - math.sqrt(worse)) / (before - rise)
                return before_mL * math.exp(share * math.log(value / before_mL))
            before, before_mL = rise, value
        return amount_mL

    def cost(self, data: list[Datum], but: int = -1) -> float:
        """Sum of the squared residuals over their variances, priors among them (but that of one unknown)."""
        amounts, lines, lag_s = self.amounts_mL(), self.lines(), math.exp(self.x[-1])
        total = 0.0
        for k, each in enumerate(self.x):
            if k != but:
                total += ((each - self.prior[k]) / self.prior_sd[k]) ** 2
        for datum in data:
            if self.law.layered > 1:
                _, _, residual, variance = self._on_branch(datum, amounts, lines, lag_s)
            else:
                volume_mL = self.law.volume_mL(datum.y_mV, amounts, *lines)
                variance = self._own_variance(datum, volume_mL, amounts, lines)
                residual = datum.volume_mL - volume_mL - datum.speed_mL_per_s * lag_s
            total += residual * residual / variance
        return total

    def _normal_equations(self, data: list[Datum]) -> tuple[list[list[float]], list[float]]:
        size = len(self.x)
        amounts, lines = self.amounts_mL(), self.lines()
        matrix = [[0.0] * (i + 1) for i in range(size)]
        right = [0.0] * size
        for k in range(size):
            precision = self.prior_sd[k] ** -2
            matrix[k][k] = precision
            right[k] = precision * (self.prior[k] - self.x[k])
        self.misfit = 0.0
        lag_s = math.exp(self.x[-1])
        for datum in data:
            if self.law.layered > 1:
                seen, place, residual, variance = self._on_branch(datum, amounts, lines, lag_s)
            else:
                seen, place = datum, self.law.place(datum.y_mV, amounts, *lines)
                residual = datum.volume_mL - place.volume_mL - datum.speed_mL_per_s * lag_s
                variance = self._own_variance(datum, place.volume_mL, amounts, lines)
            weight = 1.0 / variance
            if not datum.speed_mL_per_s:
                self.misfit += residual * residual * weight
            gradient = self.gradient(seen, place, amounts, lines)
            for i, gi in enumerate(gradient):
                if gi:
                    weighted = weight * gi
                    right[i] += weighted * residual
                    matrix[i] = [each + weighted * gj for each, gj in zip(matrix[i], gradient, strict=False)]
        return matrix, right

    def _shortened(self, step: list[float]) -> float:
        """The share of a step that leaves no unknown too far from where it was."""
        scale, first = 1.0, self.law.amounts + 1
        for k, each in enumerate(step):
            most = 3.0 * self.prior_sd[k]
            if k < self.law.amounts:
                most = min(_LN_STEP, most)
            elif first <= k < first + len(self.law.branches):
                most = min(_EXPONENT_STEP * self.law.branches[k - first].slope_mV, most)
            if abs(each) * scale > most:
                scale = most / abs(each)
        return scale
