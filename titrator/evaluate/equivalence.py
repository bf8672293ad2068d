"""Equivalence points of any curve: recognition of the jumps, then every way of placing them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from titrator.evaluate.choice import Stretch, gap_of
from titrator.evaluate.competing import Fitted, for_rising
from titrator.evaluate.curve import Curve, FloatArray
from titrator.evaluate.diagnostics import Diagnostic, of_readings
from titrator.evaluate.evaluation import EquivalencePoint, Estimate, Evaluation
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.expected_jump import ExpectedJump
from titrator.evaluate.extrapolated import extrapolated
from titrator.evaluate.gran_way import gran_estimate_at
from titrator.evaluate.jump import Jump, Search, find_jumps
from titrator.evaluate.model_fit import PASSED_OVER, FitData
from titrator.evaluate.noise import decimal_step, signal_sd
from titrator.evaluate.volumes_said import volumes_said
from titrator.evaluate.ways import Placed, place
from titrator.evaluate.whole_place import whole_fits

LARGEST = 1e7
"""No volume in mL and no signal in mV, pH or pX is larger: beyond it, units are wrong."""
MOST_JUMPS = 4
"""Of so many jumps, the most prominent, the sought ones are chosen anew where no fit describes the first choice."""
FEWEST_ON_A_BRANCH = 4
"""Readings that a stretch between two jumps keeps on the side of the other jump."""


def volume_sd_mL(volume_mL: FloatArray) -> float:
    """Return the standard deviation of a volume where nobody stated it: by the last digit written, within reason.

    Not above a tenth of the smallest step, not below 0.02 % of the whole volume (common practice, no source).
    """
    digit = decimal_step(volume_mL) / np.sqrt(12.0)
    least_step = float(np.min(np.diff(volume_mL)))
    return max(2e-4 * float(np.ptp(volume_mL)), min(float(digit), 0.1 * least_step))


def _searched(ordered: Curve, expectation: Expectation) -> Search:
    """Return the jumps of the curve, rising or falling: as expected where something is expected, else the larger.

    Where the method knows the direction, the other one is taken only for want of any jump in the right one.
    """
    sd_noise, stated = signal_sd(replace(ordered, remainder_bound=None), expectation.sd_signal_floor)
    first, second = find_jumps(
        ordered.volume_mL,
        ordered.signal,
        _with_volume_error(ordered, sd_noise, expectation.sd_volume_mL),
        stated,
        ordered.signal_unit,
        bound=ordered.remainder_bound,
    )
    sign = _expected_sign(ordered, expectation)
    if sign:
        right, wrong = (first, second) if first.sign == sign else (second, first)
        return right if right.jumps or not wrong.jumps else wrong
    strange = len(_strange(ordered, first, expectation)) == len(first.jumps)
    return second if strange and len(_strange(ordered, second, expectation)) < len(second.jumps) else first


def _expected_sign(ordered: Curve, expectation: Expectation) -> int:
    """Return 1 where the signal is to rise, -1 where it is to fall, 0 where nobody knows. pH and pX go against mV."""
    if expectation.rising is None:
        return 0
    return 1 if expectation.rising == (ordered.signal_unit == "mV") else -1


def _strange(ordered: Curve, search: Search, expectation: Expectation) -> dict[Jump, str]:
    """Return the jumps that are not what the method's potentials lead to expect, each with its reason.

    A foot beyond a neighbouring jump is not this jump's own.
    """
    expected = ExpectedJump.of(for_rising(expectation, search.sign))
    if expected is None or ordered.signal_unit != "mV" or expectation.points_sought not in (None, 1):
        return {}
    found: dict[Jump, str] = {}
    for k, jump in enumerate(search.jumps):
        low = max(jump.before, search.jumps[k - 1].steepest + 1) if k else jump.before
        high = min(jump.behind, search.jumps[k + 1].steepest) if k + 1 < len(search.jumps) else jump.behind
        reason = expected.why_not(search.sign * float(ordered.signal[low]), search.sign * float(ordered.signal[high]))
        if reason:
            found[jump] = reason
    return found


def _set_aside(
    ordered: Curve,
    data: FitData,
    search: Search,
    expectation: Expectation,
    warnings: list[str],
) -> Evaluation:
    """Return no point, and the most prominent of the jumps that cannot be the method's as an estimate."""
    strange = _strange(ordered, search, expectation)
    jump = max(strange, key=lambda each: each.prominence)
    (stretch,) = _stretches(ordered, data, search, [jump], [jump])
    point = place(stretch, for_rising(_shared(expectation), search.sign)).point
    reason = strange[jump]
    estimate = _estimate(point, reason)
    advice = "look at the electrode, titrate on or again"
    told = f"no equivalence point: near {point.volume_mL:.4g} mL stands {reason} ({advice})"
    return Evaluation(estimates=(estimate,), warnings=(*warnings, told))


def _estimate(point: EquivalencePoint, reason: str) -> Estimate:
    return Estimate(point.volume_mL, point.u_random_mL, point.interval_95_mL, point.found_by, reason)


def _by_prominence(search: Search, strange: dict[Jump, str]) -> list[Jump]:
    """Return the jumps that may be the method's, the most prominent first."""
    return sorted((jump for jump in search.jumps if jump not in strange), key=lambda jump: -jump.prominence)


def _chosen(search: Search, sought: int | None, strange: dict[Jump, str]) -> tuple[list[Jump], list[Jump]]:
    """Return the jumps to report and those left out, each in order of volume."""
    by_prominence = _by_prominence(search, strange)
    clear = [jump for jump in by_prominence if jump.clear]
    taken = (clear or by_prominence[:1]) if sought is None else by_prominence[:sought]
    return (
        sorted(taken, key=lambda jump: jump.steepest),
        [jump for jump in search.jumps if jump not in taken],
    )


def _with_volume_error(ordered: Curve, sd_signal: FloatArray, sd_volume_mL: float | None) -> FloatArray:
    """Return what each reading's signal is uncertain by, a stated error of its volume included, shape (n,).

    The slope at a reading is taken from the flatter of its two secants: at the foot of a jump the other one belongs to
    the jump and not to the reading.
    """
    if len(ordered) < 3 or sd_volume_mL is None:
        return sd_signal
    slope = np.abs(np.diff(ordered.signal) / np.diff(ordered.volume_mL))
    flatter = np.minimum(np.append(slope[0], slope), np.append(slope, slope[-1]))
    return np.asarray(np.hypot(sd_signal, flatter * sd_volume_mL), dtype=np.float64)


def _data(ordered: Curve, sd_signal: FloatArray, sign: int, expectation: Expectation) -> FitData:
    sd_volume = expectation.sd_volume_mL or volume_sd_mL(ordered.volume_mL)
    bound = np.zeros(len(ordered)) if ordered.remainder_bound is None else ordered.remainder_bound
    return FitData(
        volume_mL=ordered.volume_mL,
        signal=sign * ordered.signal,
        sd_volume_mL=np.full(len(ordered), sd_volume),
        sd_signal=sd_signal,
        remainder_bound=bound,
    )


def _stretches(ordered: Curve, data: FitData, search: Search, taken: list[Jump], bounding: list[Jump]) -> list[Stretch]:
    """Return the part of the curve that each jump is fitted on: between the jumps of `bounding` beside it.

    It begins and ends where these have flattened, as long as that leaves readings enough on its own branches; else in
    their middle.
    """
    stretches = []
    for k, jump in enumerate(taken):
        below = [each for each in bounding if each.steepest < jump.steepest]
        above = [each for each in bounding if each.steepest > jump.steepest]
        low = _clear_of(below[-1].steepest + 1, below[-1].behind, jump.steepest) if below else 0
        high = _clear_of(above[0].steepest, above[0].before, jump.steepest + 1) if above else len(ordered) - 1
        rows = slice(low, high + 1)
        local = Jump(
            jump.steepest - low,
            max(jump.before - low, 0),
            min(jump.behind, high) - low,
            jump.prominence,
            jump.spread,
            jump.clear,
            jump.coarse,
        )
        part = FitData(*(getattr(data, name)[rows] for name in FitData.__dataclass_fields__))
        bare = int(np.count_nonzero(part.volume_mL <= 0.0))
        stretches.append(Stretch(part, local, k + 1, search.sign, ordered.signal_unit, bare))
    return stretches


def _clear_of(middle: int, flat: int, own: int) -> int:
    """Return the reading at which a stretch begins (ends) beside another jump: where that is flat, or in its middle."""
    return flat if abs(own - flat) >= FEWEST_ON_A_BRANCH and (flat - middle) * (own - flat) >= 0 else middle


def _left_out(ordered: Curve, others: list[Jump], sought: int | None) -> list[str]:
    sentences = []
    for jump in others:
        if sought is not None and not jump.clear:
            continue
        middle = float(np.mean(ordered.volume_mL[jump.steepest : jump.steepest + 2]))
        kind = "another jump" if jump.clear else "a shallow jump"
        wanted = "was not reported" if sought is None else f"is not among the {sought} sought"
        sentences.append(f"{kind} near {middle:g} mL {wanted}")
    return sentences


def find_equivalence_points(curve: Curve, expectation: Expectation | None = None) -> Evaluation:
    """Find the equivalence points of a curve; never raises for readings of any kind.

    Without an expectation the models compete and at least one point is sought. A point is reported only where readings
    bracket a jump that stands above the scatter; otherwise `equivalence_points` is empty and `warnings` says why.
    """
    expected = expectation or Expectation()
    with np.errstate(all="ignore"):
        return _evaluated(curve, expected)


def _evaluated(curve: Curve, expectation: Expectation) -> Evaluation:
    sought = expectation.points_sought
    largest = max((float(np.max(np.abs(each))) for each in (curve.volume_mL, curve.signal) if len(each)), default=0.0)
    if largest > LARGEST:
        return Evaluation(warnings=(f"a value of {largest:g} is no volume, potential or pH: check the units",))
    warnings = volumes_said(curve)
    as_read = curve.in_order()
    ordered = as_read.at_rest()
    if len(ordered) > 1 and float(np.min(np.diff(ordered.volume_mL))) < 1e-9 * max(1.0, largest):
        return Evaluation(warnings=(*warnings, "volumes lie closer together than numbers can tell: check the units"))
    sd_signal, _ = signal_sd(ordered, expectation.sd_signal_floor)
    search = _searched(ordered, expectation)
    if sought == 0:
        seen = [f"a blank was declared, but {each}" for each in _left_out(ordered, list(search.jumps), 0)]
        return Evaluation(warnings=(*warnings, *seen))
    if not search.jumps:
        estimates = extrapolated(ordered, sd_signal, expectation, search.reason)
        return Evaluation(estimates=estimates, warnings=(*warnings, f"no equivalence point: {search.reason}"))
    data = _data(ordered, sd_signal, search.sign, expectation)
    strange = _strange(ordered, search, expectation)
    if len(strange) == len(search.jumps):
        return _set_aside(ordered, data, search, expectation, warnings)
    taken, others = _chosen(search, sought, strange)
    bounding = sorted({*taken, *(jump for jump in others if jump.clear)}, key=lambda each: each.steepest)
    several = len(expectation.steps) > 1 or expectation.next_step
    stretches = _stretches(ordered, data, search, taken, bounding if several else taken)
    whole = whole_fits(expectation.known, data, stretches, search.sign).each
    if not whole and (instead := _described(ordered, data, search, expectation, strange)):
        taken, stretches, whole = instead
        others = []
    fits = whole or (None,) * len(stretches)
    placed, extrapolations, told = _placed(stretches, fits, expectation, search.sign)
    warnings += told
    placed = [
        replace(each, diagnostics=_told_once(each, stretch, as_read))
        for each, stretch in zip(placed, stretches, strict=True)
    ]
    rivals = [jump for jump in others if jump not in strange]
    placed = _with_the_others(placed, rivals, expectation, [jump.clear for jump in taken])
    warnings += _wrong_way(ordered, search, expectation)
    warnings += _left_out(ordered, others, sought)
    if sought is not None and len(placed) < sought:
        warnings.append(f"{sought} equivalence points were sought, {len(placed)} stand out from the noise")
    joined = _joined(placed, warnings)
    return replace(joined, estimates=(*extrapolations, *joined.estimates)) if expectation.by_extrapolation else joined


def _described(
    ordered: Curve, data: FitData, search: Search, expectation: Expectation, strange: dict[Jump, str]
) -> tuple[list[Jump], list[Stretch], tuple[Fitted, ...]] | None:
    """Return other jumps than the most prominent ones if with them one fit describes the whole curve, readings
    at the jumps left out among them; None where none does.

    Readings hardly farther apart than the burette errs may show two jumps on one, and both more prominent than a
    shallower one that is sought too.
    """
    sought = expectation.points_sought or 0
    likely = _by_prominence(search, strange)
    if not 2 <= sought < len(likely):
        return None
    for jumps in list(combinations(likely[:MOST_JUMPS], sought))[1:]:
        taken = sorted(jumps, key=lambda jump: jump.steepest)
        stretches = _stretches(ordered, data, search, taken, taken)
        fits = whole_fits(expectation.known, data, stretches, search.sign).each
        if fits and all(each.fit is not None and np.all(each.fit.weight >= PASSED_OVER) for each in fits):
            return taken, stretches, fits
    return None


def _placed(
    stretches: list[Stretch], fits: Sequence[Fitted | None], expectation: Expectation, sign: int
) -> tuple[list[Placed], list[Estimate], list[str]]:
    """Return the points placed in order, and where the method extrapolates: its estimates, and why one is missing."""
    placed: list[Placed] = []
    extrapolations, told = [], []
    for stretch, each, whole in zip(stretches, _of_each(expectation, len(stretches)), fits, strict=True):
        start_mL = placed[-1].point.volume_mL if placed else 0.0
        rising = replace(for_rising(each, sign), known=expectation.known)
        placed.append(place(stretch, rising, whole, start_mL))
        if expectation.by_extrapolation:
            found = gran_estimate_at(stretch, rising, start_mL, placed[-1].point.volume_mL)
            if isinstance(found, str):
                told.append(f"the method extrapolates, but there is no line for point {stretch.number}: {found}")
            else:
                extrapolations.append(found)
    return placed, extrapolations, told


def _told_once(each: Placed, stretch: Stretch, as_read: Curve) -> tuple[Diagnostic, ...]:
    """Return the diagnostics of a point, those of its readings with them."""
    return (*each.diagnostics, *of_readings(as_read, stretch, gap_of(stretch), each.point.volume_mL))


def _of_each(expectation: Expectation, count: int) -> list[Expectation]:
    """Return what is expected of each of `count` points; where it is not clear which are which, what all have."""
    steps = expectation.steps
    if count == len(steps):
        return list(steps)
    shared = _shared(expectation)
    return [shared] * count if len(steps) == 1 else [replace(shared, model=None)] * count


def _wrong_way(ordered: Curve, search: Search, expectation: Expectation) -> list[str]:
    """Return a sentence where the curve goes against the method's reaction."""
    if search.sign * _expected_sign(ordered, expectation) >= 0:
        return []
    way, other = ("rises", "falls") if search.sign > 0 else ("falls", "rises")
    advice = "check how the electrodes are connected, and the titrant"
    return [f"the curve {way} where that of the method's reaction {other}: {advice}"]


def _shared(expectation: Expectation) -> Expectation:
    """Return what is expected of each of several jumps: the potentials stated are those of one couple only."""
    return Expectation(
        points_sought=expectation.points_sought,
        model=expectation.model,
        slope_mV=expectation.slope_mV,
        slope_sd_mV=expectation.slope_sd_mV,
        sd_volume_mL=expectation.sd_volume_mL,
        calibration_half_width=expectation.calibration_half_width,
    )


def _with_the_others(
    placed: list[Placed], others: list[Jump], expectation: Expectation, clear: list[bool]
) -> list[Placed]:
    """Return the jumps, those that no model describes in doubt where another one of the curve is left over or none.

    With a method one more clear jump than sought leaves open which of them is the method's; without one a disturbance
    elsewhere, or a rise that is hardly steeper than its branches, leaves nothing to go by but chance.
    """
    told = ""
    if expectation.model is not None and any(each.clear for each in others):
        told = (
            "the method's model does not describe it, and another clear jump stands beside it: which one is the point?"
        )
    elif expectation.model is None and any(each.doubt for each in placed):
        told = "no model describes it, and another jump of this curve is none"
    shallow = "no model describes it, and it is hardly steeper than its branches"
    found = []
    for each, is_clear in zip(placed, clear, strict=True):
        why = shallow if expectation.points_sought is None and not is_clear else told
        found.append(each if each.doubt or each.point.found_by == "model-fit" else replace(each, doubt=why))
    return found


def _outnumbered(placed: list[Placed]) -> list[Placed]:
    """Return the jumps, all of them in doubt where two or more are and they outnumber the others."""
    doubtful = sum(bool(each.doubt) for each in placed)
    if doubtful < 2 or doubtful <= len(placed) - doubtful:
        return placed
    told = f"{doubtful} other jumps of this curve are none: as rough as this, it shows jumps by chance"
    return [each if each.doubt else replace(each, doubt=told) for each in placed]


def _joined(placed: list[Placed], warnings: list[str]) -> Evaluation:
    placed = _outnumbered(placed)
    doubtful = [each for each in placed if each.doubt]
    placed = [each.numbered(k) for k, each in enumerate((one for one in placed if not one.doubt), start=1)]
    estimates = tuple(_estimate(each.point, each.doubt) for each in doubtful)
    warnings += [f"the jump near {each.volume_mL:.4g} mL gives an estimate only: {each.reason}" for each in estimates]
    several = len(placed) > 1
    models = tuple(each.model for each in placed if each.model is not None)
    for number, each in enumerate(placed, start=1):
        where = f"point {number}: " if several else ""
        warnings += [where + text for text in each.warnings]
    return Evaluation(
        equivalence_points=tuple(each.point for each in placed),
        estimates=estimates,
        warnings=tuple(warnings),
        by_method=tuple(way for each in placed for way in each.ways),
        fits=models,
        diagnostics=_said_once(placed),
        inflections=tuple(each.inflection for each in placed if each.inflection is not None),
    )


def _said_once(placed: list[Placed]) -> tuple[Diagnostic, ...]:
    """Return the diagnostics of all points; what a fit of the whole curve says of several, at the first of them."""
    said: dict[str, Diagnostic] = {}
    for each in placed:
        for one in each.diagnostics:
            said.setdefault(one.sentence, one)
    return tuple(said.values())
