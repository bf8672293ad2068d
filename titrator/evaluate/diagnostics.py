"""What a curve says of electrode, medium and titrant beside its point: sentences that a chemist can act on.

Each names causes in the order in which they are likely, and what to do next (common practice, no source). Nothing is
said where all is well.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from titrator.evaluate.choice import Gap, Stretch
from titrator.evaluate.competing import GOOD_MISFIT, Fitted
from titrator.evaluate.curve import Curve
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.model_fit import FitData, fit, standard_deviation_mL

Kind = Literal["slope", "potential", "residuals", "drift", "not settled"]
Electrode = Literal["platinum", "glass", "silver", "ion"]

SURE = 4.0
"""A value found this many standard deviations from what is expected (its own and the prior's) is off."""
SLOPE_OFF = 0.06
"""And a slope that differs by this share."""
POTENTIAL_OFF_mV = 40.0
"""And a potential that differs by this much."""
ALIKE_mV = 25.0
"""Potentials that are off by the same within so much are off for one reason: the reference."""
LOOSER = 30.0
"""Priors are so many times wider where the readings alone are asked."""
FEWEST_RUNS, FEW_RUNS = 12, -4.0
"""A test of runs takes so many residuals; so many standard deviations below the mean they run in rows."""
NOT_SETTLED_SHARE = 0.3
GOES_BACK = 3
"""Readings behind a jump that go back, each surely, are a drift and no chance."""


@dataclass(frozen=True, slots=True)
class Diagnostic:
    """One finding: of which kind, at which point (from 1), and the sentence."""

    kind: Kind
    point: int
    sentence: str

    def to_json(self) -> dict[str, Any]:
        """Return the finding as JSON."""
        return {"kind": self.kind, "point": self.point, "sentence": self.sentence}


@dataclass(frozen=True, slots=True)
class _Found:
    """A parameter as the readings alone give it, beside what was expected; standard deviations with it."""

    value: float
    u: float
    expected: float
    sd: float

    @property
    def off(self) -> float:
        return self.value - self.expected

    @property
    def sure(self) -> bool:
        return abs(self.off) > SURE * math.hypot(self.u, self.sd)


def electrode_of(expectation: Expectation, unit: str) -> Electrode:
    """Return the indicator electrode that the method's reaction asks for."""
    if expectation.model == "redox":
        return "platinum"
    if unit == "pH" or expectation.model == "acid" or expectation.neutral_mV is not None:
        return "glass"
    return "silver" if expectation.model == "symmetric" else "ion"


def _by_readings_alone(fitted: Fitted, used: FitData, sign: int) -> dict[str, _Found]:
    """Return slopes and potentials (signal as read) with priors so wide that the readings decide."""
    assert fitted.fit is not None
    assert fitted.start is not None
    start, found = fitted.start, fitted.fit
    model = start.model
    watched = [
        k
        for k, name in enumerate(model.parameters)
        if np.isfinite(start.prior_sd[k]) and (name == "slope" or name in model.signal_parameters)
    ]
    far = any(abs(found.x[k] - start.prior_mean[k]) > 2.0 * start.prior_sd[k] for k in watched)
    if not watched or not (far or fitted.misfit > GOOD_MISFIT):
        return {}
    wide = start.prior_sd.copy()
    wide[watched] *= LOOSER
    begin = replace(start, x=np.clip(found.x, start.lower + 1e-12, start.upper - 1e-12), prior_sd=wide)
    free = fit(begin, used, standard_deviation_mL(model, found.x, used))
    if isinstance(free, str):
        return {}
    told = {}
    for k in watched:
        name = model.parameters[k]
        turn = sign if name in model.signal_parameters else 1
        u = max(1.0, free.scale) * math.sqrt(max(0.0, float(free.covariance[k, k])))
        told[name] = _Found(turn * float(free.x[k]), u, turn * float(start.prior_mean[k]), float(start.prior_sd[k]))
    return told


SLOPE_CAUSES: dict[Electrode, str] = {
    "platinum": (
        "in likely order, readings not settled on the jump (lengthen longest_wait, look at the drift), a wrong number "
        "of electrons in the method, a fouled platinum (clean it, rinse, repeat), a mixed potential (keep air out, "
        "look for a second couple)"
    ),
    "glass": (
        "in likely order, a tired or dry glass electrode, readings not settled, another temperature than the method's; "
        "calibrate in two buffers, and replace the electrode where its slope stays below 95 %"
    ),
    "silver": (
        "in likely order, a coated silver electrode (polish it), readings not settled, protein or sulfide in the "
        "sample; repeat with a clean electrode"
    ),
    "ion": (
        "in likely order, a tired membrane, readings not settled, another ion that disturbs; calibrate the electrode "
        "in two solutions ten times apart"
    ),
}


def _slope(each: _Found, electrode: Electrode, unit: str, point: int) -> list[Diagnostic]:
    if not each.sure or abs(each.off) < SLOPE_OFF * each.expected:
        return []
    decade = math.log(10.0)
    told = f"{each.value * decade:.3g} {unit} per decade where {each.expected * decade:.3g} is expected"
    high = "" if each.off < 0.0 else "; too steep, it points to the number of electrons or the temperature first"
    return [Diagnostic("slope", point, f"the slope found is {told}: {SLOPE_CAUSES[electrode]}{high}")]


def _potentials(found: dict[str, _Found], electrode: Electrode, unit: str, point: int) -> list[Diagnostic]:
    least = POTENTIAL_OFF_mV if unit == "mV" else POTENTIAL_OFF_mV / 59.0
    shifts = {name: each for name, each in found.items() if name != "slope"}
    off = {name: each for name, each in shifts.items() if each.sure and abs(each.off) > least}
    if not off:
        return []
    if electrode != "platinum":
        each = next(iter(off.values()))
        causes = {
            "glass": "calibrate it; then look at the junction and at the buffers",
            "silver": "another reference electrode or filling than the method's, a clogged junction",
            "ion": "calibrate it; then look at the reference electrode and its junction",
        }[electrode]
        return [
            Diagnostic(
                "potential", point, f"the {electrode} electrode's scale lies {each.off:+.3g} {unit} off: {causes}"
            )
        ]
    values = [each.off for each in shifts.values()]
    if len(shifts) > 1 and max(values) - min(values) < ALIKE_mV:
        told = (
            f"all formal potentials lie {sum(values) / len(values):+.0f} mV from those expected, alike: in likely "
            "order, another reference electrode or filling than the method's, a clogged junction, another medium; "
            "measure the reference electrode against a second one"
        )
        return [Diagnostic("potential", point, told)]
    return [
        Diagnostic(
            "potential",
            point,
            f"{name.replace('_', ' ')} found {each.value:.0f} mV where {each.expected:.0f} mV is expected "
            f"({each.off:+.0f} mV): in likely order, a wrong medium or missing acid, something that binds one form of "
            "the couple, another reference electrode; look up the method's medium and what was poured in",
        )
        for name, each in off.items()
    ]


def _residuals(fitted: Fitted, used: FitData, point: int) -> list[Diagnostic]:
    """Return a sentence where residuals of the fit in use follow one another on one side in long rows."""
    assert fitted.fit is not None
    residual = fitted.fit.residual
    if len(residual) < FEWEST_RUNS or fitted.misfit < 1.0 or len(residual) != len(used.volume_mL):
        return []
    above = residual > 0.0
    many, few = float(np.count_nonzero(above)), float(np.count_nonzero(~above))
    runs = 1 + int(np.count_nonzero(np.diff(above.astype(int))))
    mean = 1.0 + 2.0 * many * few / (many + few)
    variance = (mean - 1.0) * (mean - 2.0) / (many + few - 1.0)
    if variance <= 0.0 or (runs - mean) / math.sqrt(variance) > FEW_RUNS:
        return []
    worst = int(np.argmax(np.abs(residual)))
    told = (
        f"the residuals of the model run in rows ({runs} of them where {mean:.0f} are expected of chance; the largest, "
        f"{residual[worst]:+.1f} standard deviations, at {used.volume_mL[worst]:g} mL): something beside the model's "
        "reaction, a drifting electrode or a slow one; look at the curve there and at the drift of its readings"
    )
    return [Diagnostic("residuals", point, told)]


def of_fit(
    stretch: Stretch, fitted: Fitted, used: FitData, expectation: Expectation, *, by_fit: bool
) -> tuple[Diagnostic, ...]:
    """Return what the fit of one point says of the electrode and the medium, and its residuals of the model.

    Potentials and slope are judged only where the method states the model; `used` are the readings with titrant.
    """
    if fitted.fit is None or fitted.start is None:
        return ()
    told: list[Diagnostic] = []
    if expectation.model is not None:
        found = _by_readings_alone(fitted, used, stretch.sign)
        electrode = electrode_of(expectation, stretch.unit)
        slope = found.pop("slope", None)
        told += [] if slope is None else _slope(slope, electrode, stretch.unit, stretch.number)
        told += _potentials(found, electrode, stretch.unit, stretch.number)
    return (*told, *(_residuals(fitted, used, stretch.number) if by_fit else ()))


def of_readings(ordered: Curve, stretch: Stretch, gap: Gap, point_mL: float) -> tuple[Diagnostic, ...]:
    """Return what the readings themselves say: not settled on the jump, or going back behind it.

    `ordered`: the curve before what its readings lacked was added, as the drift shows in that.
    """
    number, volume, waiting = stretch.number, ordered.volume_mL, ordered.not_settled
    own = (volume >= stretch.data.volume_mL[0]) & (volume <= stretch.data.volume_mL[-1])
    told = []
    behind = own & (volume > max(gap.high_mL, point_mL))
    back = np.zeros(len(volume), bool)
    if ordered.lacking is not None and ordered.sd_lacking is not None:
        back = stretch.sign * ordered.lacking < -np.maximum(3.0 * ordered.sd_lacking, _noise(ordered))
    falling = _falls(ordered, behind, stretch)
    drifting = int(np.count_nonzero(back & behind))
    if max(drifting, falling) >= GOES_BACK:
        told.append(
            Diagnostic(
                "drift",
                number,
                f"behind the jump the signal goes back ({max(drifting, falling)} readings): something consumes titrant "
                "there; in likely order, a slow side reaction of the sample, the titrant attacking medium or chloride, "
                "air; place the point by the jump alone, and repeat with fewer readings behind it or in another medium",
            )
        )
    on = own & (volume >= gap.low_mL) & (volume <= gap.high_mL)
    count, all_of_it = int(np.count_nonzero(waiting & on)), int(np.count_nonzero(on))
    if count >= 2 and count > NOT_SETTLED_SHARE * all_of_it:
        told.append(
            Diagnostic(
                "not settled",
                number,
                f"{count} of {all_of_it} readings on the jump had not settled at the longest wait: they place the "
                "point too late; lengthen longest_wait, stir faster, or clean the electrode",
            )
        )
    return tuple(told)


def _noise(ordered: Curve) -> float:
    return 0.0 if ordered.sd_signal is None else 4.0 * float(np.median(ordered.sd_signal))


def _falls(ordered: Curve, behind: np.ndarray, stretch: Stretch) -> int:
    """Return how many readings in a row at the curve's end lie surely below the highest of the branch behind."""
    signal = stretch.sign * ordered.signal[behind]
    inside = (stretch.data.volume_mL >= ordered.volume_mL[behind][0]) if len(signal) else np.zeros(0, bool)
    if len(signal) < GOES_BACK + 1:
        return 0
    sd = float(np.median(stretch.data.sd_signal[inside])) if np.any(inside) else 0.0
    top = int(np.argmax(signal))
    below = signal[top + 1 :] < signal[top] - 6.0 * sd
    if not len(below) or not below[-1]:
        return 0
    row = int(np.argmin(below[::-1])) if not np.all(below) else len(below)
    return row if np.all(np.diff(signal[len(signal) - row :]) < 3.0 * sd) else 0
