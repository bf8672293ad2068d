"""Which way's value is reported for an equivalence point, and how wide the readings let its interval be."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from titrator.evaluate.artefact import artefact_of
from titrator.evaluate.competing import GOOD_MISFIT, GOOD_MISFIT_COMPETING, Fitted
from titrator.evaluate.curve import SignalUnit
from titrator.evaluate.doubt import held, why_doubted
from titrator.evaluate.evaluation import FoundBy
from titrator.evaluate.jump import Jump
from titrator.evaluate.model_fit import PASSED_OVER, FitData
from titrator.evaluate.second_derivative import Zero

GAP_SHARE = 0.8
"""The intervals that hold this share of a jump's rise are its gap; with one reading or none in it, it is coarse."""

RESTS_SHARE = 0.4
"""Where the two readings about the point hold less of the jump's rise than this, readings resolve the jump there."""

FINER, MUCH_FINER = 8.0, 20.0
"""A model's interval so many times narrower than the distance of the two readings about the point rests on the model;
the first where hardly a reading lies on the jump, the second wherever that distance holds much of it.

Common practice, no source. Simulated: fits of iron(II) with a reading each 0.02 mL tell a fifteenth of that, as they
should; with steps of 0.5 mL a hundredth."""

SMALL_SHARE = 0.5
"""A jump of less than this share of its curve's rise that nothing resolves and no model describes may be a step of the
electrode (common practice, no source)."""

BETTER_BY = 0.75
"""A disturbance with residuals below this share of a titration's describes the readings better. Of 60 true curves the
least share was 1.4, of ramps with two kinks that a titration describes too 0.4 and 0.5 (computed by us)."""

FAMILIES = {
    "redox": "that of a redox reaction with one electron each",
    "symmetric": "that of a strong acid with a strong base, or of one ion that precipitates",
    "acid": "that of a weak acid or base with a strong one",
}
RAN_OUT = "ran to the end of the curve"
SEVERAL_OFF = 4
"""So many readings off a stated model, one at the steepest place among them, are no stray ones."""
WORST_MISFIT, LEAST_SHARE, MOST_SHARE = 5.0, 0.6, 1.4
"""A stated model with residuals so many times as large as stated, and a slope beyond these shares of what is expected,
is not that of the curve."""


@dataclass(frozen=True, eq=False)
class Stretch:
    """The part of a curve that belongs to one jump: rising signal at rising volumes (arrays of shape (n,)).

    `jump` counts its readings within the stretch, `number` is that of the equivalence point, from 1.
    """

    data: FitData
    jump: Jump
    number: int
    sign: int
    unit: SignalUnit
    bare: int
    """How many readings at its beginning stand at zero titrant: without weight in a fit."""


@dataclass(frozen=True, slots=True)
class Gap:
    """The volumes in mL between which most of a jump's rise lies, and how many readings stand inside."""

    low_mL: float
    high_mL: float
    inside: int

    @property
    def width_mL(self) -> float:
        """Its width in mL."""
        return self.high_mL - self.low_mL

    @property
    def coarse(self) -> bool:
        """Whether no reading or only one lies on the jump."""
        return self.inside <= 1

    def holds(self, volume_mL: float, beyond: float = 0.0) -> bool:
        """Whether a volume lies within, or beyond it by no more than a share of its width."""
        reach = beyond * self.width_mL
        return self.low_mL - reach <= volume_mL <= self.high_mL + reach


@dataclass(frozen=True, slots=True)
class Choice:
    """The value to report: way, volume, standard uncertainty, degrees of freedom and 95 % interval (mL), warnings.

    `doubt` says why it is only an estimate, empty where it is a point.
    """

    way: FoundBy
    volume_mL: float
    u_mL: float
    dof: float
    interval_95_mL: tuple[float, float]
    warnings: tuple[str, ...] = ()
    doubt: str = ""


def gap_of(stretch: Stretch) -> Gap:
    """Return the gap of a jump: intervals are added to the steepest one until they hold GAP_SHARE of the rise."""
    signal, volume, jump = stretch.data.signal, stretch.data.volume_mL, stretch.jump
    left, right = jump.steepest, jump.steepest + 1
    whole = signal[jump.behind] - signal[jump.before]
    while signal[right] - signal[left] < GAP_SHARE * whole and (left > jump.before or right < jump.behind):
        below = signal[left] - signal[left - 1] if left > jump.before else -np.inf
        above = signal[right + 1] - signal[right] if right < jump.behind else -np.inf
        left, right = (left - 1, right) if below >= above else (left, right + 1)
    return Gap(float(volume[left]), float(volume[right]), right - left - 1)


def _by_fit(fitted: Fitted) -> Choice:
    """Return the fit's value; what the choice among models leaves open widens its interval."""
    assert fitted.fit is not None
    value, u = fitted.fit.equivalence_volume_mL, math.hypot(fitted.fit.u_mL, fitted.u_choice_mL)
    half = fitted.fit.half_interval_mL * u / fitted.fit.u_mL
    return Choice("model-fit", value, u, fitted.fit.dof, (value - half, value + half))


def _by_two_sigma(way: FoundBy, value: float, u: float) -> Choice:
    return Choice(way, value, u, math.inf, (value - 2.0 * u, value + 2.0 * u))


def choose(
    stretch: Stretch,
    fitted: Fitted,
    zero: Zero | str,
    steep: tuple[float, float],
    *,
    stated: bool,
    before_at_least: float | None = None,
) -> Choice:
    """Return the value to report of one jump.

    The fit is taken where its model describes the curve; else the zero of the second derivative, else the steepest
    secant, else the middle of the gap. `stated`: whether the method stated the model. On a coarse jump only a stated
    model may say more than the gap.
    """
    gap = gap_of(stretch)
    worst = GOOD_MISFIT if stated else GOOD_MISFIT_COMPETING
    fit = fitted.fit
    good = fit is not None and fitted.misfit <= worst and gap.holds(fit.equivalence_volume_mL, beyond=0.5)
    good = good and not _passes_over(stretch, fitted, stated=stated)
    if good and (stated or not gap.coarse):
        found = _by_fit(fitted)
    elif fit is not None and good and gap.holds(fit.equivalence_volume_mL):
        found = _by_two_sigma("model-fit", fit.equivalence_volume_mL, fit.u_mL)
    elif isinstance(zero, Zero) and gap.holds(zero.volume_mL):
        found = _by_two_sigma("second-derivative", zero.volume_mL, zero.u_mL)
    elif gap.holds(steep[0]):
        found = _by_two_sigma("first-derivative", *steep)
    else:
        found = _by_two_sigma("bracket", (gap.low_mL + gap.high_mL) / 2.0, gap.width_mL / math.sqrt(12.0))
    u, interval = found.u_mL, found.interval_95_mL
    if gap.coarse and not (good and stated):
        u = max(u, gap.width_mL / math.sqrt(12.0))
        interval = (min(gap.low_mL, found.volume_mL), max(gap.high_mL, found.volume_mL))
    coarse = _rests_on_model(stretch, gap, found) if good and stated else _coarse(gap)
    warnings = (*coarse, *_warnings(gap, fitted, stated, good))
    doubt = _doubt(stretch, gap, fitted, stated, before_at_least) if not good else ""
    if good and not stated:
        doubt = _looks_like_less(stretch, gap, fitted)
    if not stated and not doubt and held(stretch.data.signal):
        doubt = "the readings come in rows of the very same value: a logger that repeats its last one; log each once"
    return Choice(found.way, found.volume_mL, u, found.dof, interval, warnings, doubt)


def _passes_over(stretch: Stretch, fitted: Fitted, *, stated: bool) -> bool:
    """Return whether a fit describes the curve only by giving less weight to a reading at the steepest place.

    That may be a stray reading where the method states the model; with several more it is another reaction.
    """
    assert fitted.fit is not None
    row = stretch.jump.steepest - stretch.bare
    weight = fitted.fit.weight
    if stated and np.count_nonzero(weight < PASSED_OVER) < SEVERAL_OFF:
        return False
    return bool(np.any(weight[max(row, 0) : row + 2] < PASSED_OVER))


def _looks_like_less(stretch: Stretch, gap: Gap, fitted: Fitted) -> str:
    """Return why a jump is in doubt though a model that nobody stated describes it: a disturbance does so better."""
    found = artefact_of(stretch.data.volume_mL, stretch.data.signal, stretch.data.sd_signal)
    if found is None or found.misfit >= BETTER_BY * fitted.misfit:
        return ""
    few = "few readings lie on it, and " if gap.coarse else ""
    return f"{few}{found.name} describes them better than a titration does: a disturbance"


def _far_from_stated(fitted: Fitted, gap: Gap) -> str:
    """Return what of the stated model contradicts the jump: no point there, or a slope that no electrode has."""
    if fitted.fit is None and gap.coarse and RAN_OUT in fitted.reason:
        return f"the method's model finds no point there ({fitted.reason})"
    if fitted.fit is None or fitted.start is None or fitted.misfit <= WORST_MISFIT:
        return ""
    for k, name in enumerate(fitted.fit.model.parameters):
        sd, mean = float(fitted.start.prior_sd[k]), float(fitted.start.prior_mean[k])
        share = fitted.fit.x[k] / mean if mean else 1.0
        if "slope" in name and np.isfinite(sd) and not LEAST_SHARE < share < MOST_SHARE:
            return (
                f"the method's model does not describe it (residuals {fitted.misfit:.0f} times as large as stated) "
                f"even with a slope of {fitted.fit.x[k]:.3g} where {mean:.3g} is expected: not the method's "
                "reaction, or a disturbance"
            )
    return ""


def _doubt(stretch: Stretch, gap: Gap, fitted: Fitted, stated: bool, before_at_least: float | None) -> str:
    """Return why a jump that no model describes may be none, or nothing where its readings speak for themselves."""
    data = stretch.data
    doubted = why_doubted(
        data.volume_mL,
        data.signal,
        data.sd_signal,
        stretch.jump,
        stretch.unit,
        gap_mL=(gap.low_mL, gap.high_mL),
        resolved=not gap.coarse,
        before_at_least=before_at_least,
        model_misfit=fitted.misfit,
    )
    if doubted or stated:
        return doubted or _far_from_stated(fitted, gap)
    if fitted.fit is not None and not gap.holds(fitted.fit.equivalence_volume_mL, beyond=0.5):
        return (
            f"no model describes it and the nearest one places its point elsewhere, at "
            f"{fitted.fit.equivalence_volume_mL:.4g} mL"
        )
    signal, jump = stretch.data.signal, stretch.jump
    share = float(signal[jump.behind] - signal[jump.before]) / float(np.ptp(signal))
    if gap.coarse and share < SMALL_SHARE:
        return f"no model describes it, no readings resolve it, and it is only {share:.0%} of the whole rise"
    return ""


def _named(model: str, stated: bool) -> str:
    """Name a model by its family: that a rival is nearest does not say that the reaction is of its kind."""
    if stated:
        return f"the method's model ({model})"
    return f"the nearest of the models tried ({FAMILIES.get(model, model)}; that says nothing of the reaction)"


def _coarse(gap: Gap) -> list[str]:
    """Return a sentence where the gap is what tells the point, and no model that the method stated."""
    if not gap.coarse:
        return []
    lying = "one reading lies" if gap.inside else "no reading lies"
    told = f"coarse: {lying} on the jump between {gap.low_mL:g} and {gap.high_mL:g} mL"
    return [f"{told}; smaller additions there would place the equivalence point better"]


def _rests_on_model(stretch: Stretch, gap: Gap, found: Choice) -> list[str]:
    """Return a sentence where the stated model tells the point far more narrowly than the readings about it stand.

    A gap elsewhere on the jump says nothing: what counts is the interval of readings that holds the point.
    """
    volume, signal, jump = stretch.data.volume_mL, stretch.data.signal, stretch.jump
    above = int(np.clip(np.searchsorted(volume, found.volume_mL), 1, len(volume) - 1))
    low_mL, high_mL = float(volume[above - 1]), float(volume[above])
    share = float((signal[above] - signal[above - 1]) / (signal[jump.behind] - signal[jump.before]))
    times = (high_mL - low_mL) / max(found.interval_95_mL[1] - found.interval_95_mL[0], 1e-9)
    if share < RESTS_SHARE or times <= (FINER if gap.coarse else MUCH_FINER):
        return []
    told = f"coarse: no reading between {low_mL:g} and {high_mL:g} mL, where {min(share, 1.0):.0%} of the jump lies"
    rests = f"the interval is {times:.0f} times narrower and rests on the method's model"
    return [f"{told}; {rests}; smaller additions there would place the equivalence point better"]


def _warnings(gap: Gap, fitted: Fitted, stated: bool, good: bool) -> tuple[str, ...]:
    warnings = []
    if fitted.fit is None:
        if stated:
            warnings.append(
                f"the method's model gave no estimate ({fitted.reason}); the point is placed by derivatives"
            )
    elif not good and (stated or not gap.coarse):
        why = (
            f"its residuals are {fitted.misfit:.1f} times as large as the readings' own uncertainty"
            if fitted.misfit > (GOOD_MISFIT if stated else GOOD_MISFIT_COMPETING)
            else "it passes over readings on the jump or beside it"
        )
        warnings.append(
            f"{_named(fitted.fit.model.name, stated)} does not describe the curve: {why}, its equivalence point "
            f"{fitted.fit.equivalence_volume_mL:.4g} mL; the point is placed by derivatives"
        )
    return tuple(warnings)
