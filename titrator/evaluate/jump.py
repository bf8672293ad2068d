"""Recognition of jumps: a stretch steeper than the branches on *both* sides of it, beyond what the scatter explains.

Secants over 1, 2, 3, 5, 8, ... intervals are compared: the lower limit of a steep one with the upper limits of the
flattest secants anywhere before and behind it. A curve that has not flattened again has no jump, only a beginning of
one; nor has a curve that only flattens (a blank). A single stray reading is passed over by a median of three, which
leaves every monotone curve as it is; a rise that is undone within a few readings is a disturbance. What readings may
still lack of their end value counts as a bound: a jump larger than the sum of the bounds at both its ends stands.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student_t

from titrator.evaluate.curve import FloatArray, SignalUnit

CLEAR_RATIO = 2.0
"""A jump is called clear where its slope is at least this many times that of either branch."""
SHALLOW_RATIO = 1.25
"""Least ratio of a shallow jump, taken where a method seeks more points than stand out clearly."""
FALSE_ALARM = 1e-4
"""Probability with which scatter alone may exceed the limits of one secant."""
LEAST_RISE: dict[SignalUnit, float] = {"mV": 25.0, "pH": 0.42, "pX": 0.42}
"""Less than one e-fold of a concentration (RT/F, or 1/ln 10) is no jump at any equivalence point."""
FEWEST_JUDGED = 6
"""From fewer readings the scatter cannot be estimated beside the curve."""
COARSE_SHARE = 0.35
"""Share of the whole rise that one interval must hold where too few readings are there to judge the scatter."""

UNDONE_WITHIN = 8
"""A rise of which half is taken back within so many readings is a disturbance: no reaction goes back."""


@dataclass(frozen=True, slots=True)
class Jump:
    """One jump of a rising signal: the steepest interval lies between readings `steepest` and `steepest + 1`.

    `before` and `behind` are the readings at which the flat branches end and begin; `spread` is the number of
    intervals over which its slope stands above the scatter; `clear` as above; `coarse` where too few readings told
    the scatter apart from the curve.
    """

    steepest: int
    before: int
    behind: int
    prominence: float
    spread: int = 1
    clear: bool = True
    coarse: bool = False


@dataclass(frozen=True, slots=True)
class Search:
    """The jumps found, in order of volume, of the signal times `sign`; or the reason why there is none."""

    sign: int
    jumps: tuple[Jump, ...]
    reason: str = ""


@dataclass(frozen=True, eq=False)
class _Secants:
    """All secants over `lag` intervals with their limits, arrays of shape (n - lag,)."""

    lag: int
    lower: FloatArray
    upper: FloatArray


@dataclass(frozen=True, eq=False)
class _Part:
    """The readings low..high of a curve, with the upper limit of the flattest secant before and behind each of them."""

    secants: list[_Secants]
    signal: FloatArray
    low: int
    high: int
    before: FloatArray
    behind: FloatArray

    def feet(self, start: int, end: int) -> tuple[int, int]:
        """Return the readings where the flattest secants before `start` and behind `end` end and begin."""
        left = self.low + int(np.argmax(self.before[self.low : start + 1] == self.before[start]))
        right = self.high - int(np.argmax(self.behind[end : self.high + 1][::-1] == self.behind[end]))
        return left, right


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A steep secant from reading `start` to `end`, and how far it stands above the flatter branch."""

    prominence: float
    start: int
    end: int
    ratio: float


def median_of_three(signal: FloatArray) -> FloatArray:
    """Return the signal with each inner reading replaced by the median of itself and its neighbours."""
    if len(signal) < 5:
        return signal
    inner = np.median(np.stack([signal[:-2], signal[1:-1], signal[2:]]), axis=0)
    return np.concatenate([signal[:1], inner, signal[-1:]])


def _secants(volume_mL: FloatArray, signal: FloatArray, sd: FloatArray, bound: FloatArray, z: float) -> list[_Secants]:
    lags, step = [1, 2], 3
    while step <= max(1, len(volume_mL) // 3):
        lags.append(step)
        step = max(step + 1, round(step * 1.6))
    found = []
    for lag in lags:
        if lag >= len(volume_mL):
            break
        width = volume_mL[lag:] - volume_mL[:-lag]
        slope = (signal[lag:] - signal[:-lag]) / width
        margin = (z * np.hypot(sd[lag:], sd[:-lag]) + bound[lag:] + bound[:-lag]) / width
        found.append(_Secants(lag, slope - margin, slope + margin))
    return found


def _part(secants: list[_Secants], signal: FloatArray, low: int, high: int) -> _Part:
    before, behind = np.full(high + 1, np.inf), np.full(high + 1, np.inf)
    for each in secants:
        starts = np.arange(low, high - each.lag + 1)
        if len(starts) == 0:
            continue
        upper = np.maximum(each.upper[starts], 0.0)
        before[starts + each.lag] = np.minimum(before[starts + each.lag], upper)
        behind[starts] = np.minimum(behind[starts], upper)
    before[low:] = np.minimum.accumulate(before[low:])
    behind[low:] = np.minimum.accumulate(behind[low:][::-1])[::-1]
    return _Part(secants, signal, low, high, before, behind)


def _taken_back(signal: FloatArray, rise: float) -> bool:
    """Return whether a signal falls by half of a rise just before its first value, and stays so for two readings."""
    near = signal[: UNDONE_WITHIN + 2]
    if len(near) < 3:
        return False
    return bool(np.any(near[:-2] - np.maximum(near[1:-1], near[2:]) >= rise / 2.0))


def _undone(signal: FloatArray, start: int, end: int) -> bool:
    """Return whether the rise from reading `start` to `end` is taken back soon, or itself takes back a fall."""
    rise = float(signal[end] - signal[start])
    return _taken_back(signal[end:], rise) or _taken_back(-signal[: start + 1][::-1], rise)


def _best(part: _Part, least_rise: float) -> _Candidate | None:
    """Return the most prominent steep secant of a part whose branches are flatter on both sides."""
    best: _Candidate | None = None
    for each in part.secants:
        starts = np.arange(part.low, part.high - each.lag + 1)
        if len(starts) == 0:
            continue
        branch = np.maximum(part.before[starts], part.behind[starts + each.lag])
        lower = each.lower[starts]
        steep = np.isfinite(branch) & (lower > SHALLOW_RATIO * branch)
        prominence = np.where(steep, lower - np.where(steep, branch, 0.0), -np.inf)
        for k in np.argsort(-prominence, kind="stable"):
            if not prominence[k] > (best.prominence if best else 0.0):
                break
            start, end = int(starts[k]), int(starts[k]) + each.lag
            left, right = part.feet(start, end)
            if part.signal[right] - part.signal[left] >= least_rise and not _undone(part.signal, start, end):
                ratio = float(lower[k] / branch[k]) if branch[k] > 0.0 else np.inf
                best = _Candidate(float(prominence[k]), start, end, ratio)
                break
    return best


def _collect(part: _Part, volume_mL: FloatArray, bound: FloatArray, least_rise: float) -> list[Jump]:
    """Return all jumps of a part: the most prominent, then those on either side of it."""
    if part.high - part.low < 3:
        return []
    best = _best(part, least_rise)
    if best is None:
        return []
    start, end = best.start, best.end
    rows = slice(start, end + 1)
    certain = np.diff(part.signal[rows]) - bound[rows][1:] - bound[rows][:-1]
    slopes = certain / np.diff(volume_mL[rows])
    left, right = part.feet(start, end)
    steepest = start + int(np.argmax(slopes))
    jump = Jump(steepest, left, right, best.prominence, end - start, best.ratio >= CLEAR_RATIO)
    lower_part = _part(part.secants, part.signal, part.low, start)
    upper_part = _part(part.secants, part.signal, end, part.high)
    below, above = (_collect(each, volume_mL, bound, least_rise) for each in (lower_part, upper_part))
    return [*below, jump, *above]


def _coarse_jump(volume_mL: FloatArray, signal: FloatArray, least_rise: float) -> Jump | None:
    """Return the jump of a curve of few, strictly monotone readings, whose scatter nobody can tell."""
    steps = np.diff(signal)
    if len(steps) < 3 or np.any(steps <= 0.0):
        return None
    slopes = steps / np.diff(volume_mL)
    k = int(np.argmax(slopes))
    if not 0 < k < len(slopes) - 1:
        return None
    flat_before, flat_behind = float(np.min(slopes[:k])), float(np.min(slopes[k + 1 :]))
    ratio = 3.0 if len(steps) < 5 else CLEAR_RATIO
    steep = slopes[k] >= ratio * max(flat_before, flat_behind)
    if not steep or steps[k] < COARSE_SHARE * np.sum(steps) or steps[k] < 2.0 * least_rise:
        return None
    left, right = int(np.argmin(slopes[:k])) + 1, k + 1 + int(np.argmin(slopes[k + 1 :]))
    return Jump(k, left, right, float(slopes[k] - max(flat_before, flat_behind)), coarse=True)


def _why_none(secants: list[_Secants], signal: FloatArray, least_rise: float) -> str:
    """Return the reason why a curve shows no jump that readings on both sides bracket."""
    last = len(signal) - 1
    if float(np.ptp(signal)) < least_rise:
        return "the signal hardly changes over the whole curve: no jump stands above the noise"
    part = _part(secants, signal, 0, last)
    steepest_before = max(float(np.max(each.lower / np.maximum(part.before[: -each.lag], 1e-300))) for each in secants)
    steepest_behind = max(float(np.max(each.lower / np.maximum(part.behind[each.lag :], 1e-300))) for each in secants)
    if steepest_before >= SHALLOW_RATIO and steepest_before >= steepest_behind:
        return (
            "the curve steepens towards its end and does not flatten again: the branch behind the jump is missing, "
            "so nothing brackets an equivalence point (add titrant until the curve is flat, at least three readings)"
        )
    if min(steepest_before, steepest_behind) >= SHALLOW_RATIO:
        return (
            "the curve steepens towards its end and does not flatten again, and its beginning is steep too: no jump "
            "has a flat branch on both sides (if the titration was stopped before its point, add titrant until the "
            "curve is flat, at least three readings; a steep beginning alone is that of a weak acid or of a blank)"
        )
    if steepest_behind >= SHALLOW_RATIO:
        return (
            "the curve is steepest at its beginning and flattens from there: the branch before a jump is missing, "
            "so nothing brackets an equivalence point (a blank looks like this; otherwise begin earlier)"
        )
    return "no jump stands above the noise: no stretch is steeper than the branches on both sides of it"


def find_jumps(
    volume_mL: FloatArray,
    signal: FloatArray,
    sd_signal: FloatArray,
    stated: bool,
    unit: SignalUnit,
    *,
    bound: FloatArray | None = None,
) -> tuple[Search, Search]:
    """Find the jumps of a curve at rising, distinct volumes, rising and falling; that of larger prominence first.

    `stated`: whether `sd_signal` was known beforehand; otherwise limits widen by Student's t for few readings.
    `bound` (n,): what each reading may lack of its end value beside its scatter.
    """
    count = len(volume_mL)
    if count < 4:
        none = f"{count} reading{'s' * (count != 1)} at distinct volumes: at least 4 are needed"
        return Search(1, (), none), Search(-1, (), none)
    least_rise = LEAST_RISE[unit]
    bound = np.zeros(count) if bound is None else bound
    z = float(student_t.isf(FALSE_ALARM, 1e6 if stated else max(2, count - 4)))
    searches = []
    for sign in (1, -1):
        smooth = median_of_three(sign * signal)
        secants = _secants(volume_mL, smooth, sd_signal, bound, z)
        judged = stated or count >= FEWEST_JUDGED
        whole = _part(secants, smooth, 0, count - 1)
        jumps = _collect(whole, volume_mL, bound, least_rise) if judged else []
        if not jumps and not stated:
            coarse = _coarse_jump(volume_mL, sign * signal, least_rise)
            jumps = [coarse] if coarse else []
        reason = "" if jumps else _why_none(secants, smooth, least_rise)
        searches.append(Search(sign, tuple(jumps), reason))
    rising = float(np.median(signal[-(count // 3 or 1) :])) >= float(np.median(signal[: count // 3 or 1]))
    searches.sort(key=lambda each: (-max((j.prominence for j in each.jumps), default=0.0), (each.sign > 0) != rising))
    return searches[0], searches[1]
