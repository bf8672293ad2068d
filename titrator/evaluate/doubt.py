"""Why a jump that no model describes may be none: what no titration does, whatever its reaction.

Three things are looked for. The signal *goes back* by much of the jump somewhere: no reaction does. The branches are
*flat* up to a jump that no reading resolves: a loose contact, an input at its rail. The rise is *no single bend*:
a curve through an equivalence point is convex up to its steepest place and concave behind it, noise apart; a
staircase or a random walk is not; the wider the rise, the smoother it must be.
"""

from __future__ import annotations

import numpy as np

from titrator.evaluate.artefact import DESCRIBED, artefact_of
from titrator.evaluate.curve import FloatArray, SignalUnit
from titrator.evaluate.jump import Jump, median_of_three
from titrator.evaluate.noise import decimal_step
from titrator.evaluate.symmetric_model import natural_slope

MOST_ELECTRONS = 6.0
"""No indicating reaction shares the slope RT/F among more electrons than dichromate."""
TAKEN_BACK = 0.35
"""Share of a jump's rise that may not be taken back (common practice, no source)."""
BENT_OFF = 0.15
"""Share of a jump's rise by which readings may stand off a single bend (common practice, no source)."""
SPREAD_SHARE = 0.5
"""A rise that takes more than this share of the volume from its foot to its shoulder is a wide one."""
EVEN_SHARE = 0.75
"""A straight ramp takes 0.8 of it (that share of the rise is looked at): beyond this no place of it is steep."""
BENT_OFF_WIDE = 0.02
"""The same as BENT_OFF for a wide rise: a wide one that is smooth is a small jump, a rough one is chance. Measured
curves of small jumps stand off by 0.002, random walks and sums of random steps by 0.03 (computed by us)."""
SURE = 3.0
"""A branch is called flat where its slope is below the least one by so many standard deviations."""
NEAREST = (4, 6, 9, 14)
"""Readings nearest to a jump that are looked at beside the whole branch: a titration steepens most of all there."""
LEFT_OUT = (0, 1, 2)
"""Of those the nearest may already stand on the jump."""
FAR_BETTER, MOST_MISFIT, MANY = 3.0, 2.0, 20
"""Of so many readings an artefact with residuals so many times as small as those of any titration curve describes them
too, as long as they are not more than so many standard deviations."""
GOES_BACK_STEPS, AT_AN_END_STEPS = 3, 2
"""A fall of so many readings in a row is no stray reading and no contact; at either end of the curve fewer tell as
much, for nothing comes back from there."""
ONE_STRAY_IN = 20
"""Of so many readings one may be a stray one (common practice), of fewer one altogether."""
FEWEST_HELD, HELD_SHARE, HELD_STEP = 8, 0.4, 5.0
"""Of so many readings, where this share shows the very value before it while the others move by that many of the last
digits written, a logger repeats itself."""
LEAST_TOLD = 10.0
"""A rise of fewer standard deviations tells no shapes apart."""


def taken_back(signal: FloatArray, jump: Jump) -> float:
    """Return by how much less than its rise a jump parts the readings before its foot from those behind its shoulder.

    Compared are their medians, in the signal's unit: what goes back for less than half of a branch is a disturbance of
    its own and says nothing of the jump.
    """
    rise = float(signal[jump.behind] - signal[jump.before])
    below, above = np.median(signal[: jump.before + 1]), np.median(signal[jump.behind :])
    return max(0.0, rise - float(above - below))


def goes_back(signal: FloatArray, sd_signal: FloatArray, jump: Jump, bare: int = 0) -> float:
    """Return by how much a rising signal falls, reading after reading, on either side of a jump.

    Each step counts that is surely one (SURE standard deviations of a difference); the largest fall in a row, in the
    signal's unit. The first `bare` readings stand before any titrant and do not count.
    """
    largest = 0.0
    for first, last in ((bare, jump.steepest), (jump.steepest + 1, len(signal) - 1)):
        start = first
        for k in range(first, last + 1):
            ends = k == last or signal[k + 1] - signal[k] >= -SURE * float(np.hypot(sd_signal[k], sd_signal[k + 1]))
            if not ends:
                continue
            fewest = AT_AN_END_STEPS if start == bare or k == len(signal) - 1 else GOES_BACK_STEPS
            if k - start >= fewest:
                largest = max(largest, float(signal[start] - signal[k]))
            start = k + 1
    return largest


def falls(signal: FloatArray, sd_signal: FloatArray, least: float) -> int:
    """Return how often a rising signal goes back by `least` or more from one reading to the next, each surely.

    Steps in a row count once; a single stray reading makes one such fall, whichever way it strays.
    """
    fall = -np.diff(signal)
    back = (fall >= least) & (fall > SURE * np.hypot(sd_signal[1:], sd_signal[:-1]))
    return int(np.count_nonzero(back[1:] & ~back[:-1])) + int(back[:1].any())


def contradiction(
    volume_mL: FloatArray, signal: FloatArray, sd_signal: FloatArray, gap_mL: tuple[float, float]
) -> tuple[int, float] | None:
    """Return the reading behind which a rising signal falls most on its way through a gap, and by how much; or None.

    Only what is surely a fall counts (SURE standard deviations of a difference).
    """
    rows = np.flatnonzero((volume_mL >= gap_mL[0]) & (volume_mL <= gap_mL[1]))
    if len(rows) < 3:
        return None
    fall = -np.diff(signal[rows])
    fall[fall <= SURE * np.hypot(sd_signal[rows][1:], sd_signal[rows][:-1])] = 0.0
    k = int(np.argmax(fall))
    return (int(rows[k]), float(fall[k])) if fall[k] > 0.0 else None


def held(signal: FloatArray) -> bool:
    """Return whether a logger shows its last value again and again instead of a reading of its own.

    A coarse display repeats values too, but moves by a few of its digits, or always by multiples of its step.
    """
    if len(signal) < FEWEST_HELD:
        return False
    step = np.abs(np.diff(signal))
    moved = step[step > 0.0]
    if len(moved) == 0 or len(step) - len(moved) < HELD_SHARE * len(step):
        return False
    times = moved / np.min(moved)
    by_its_step = bool(np.all(np.abs(times - np.round(times)) < 1e-6 * times))
    return not by_its_step and float(np.median(moved)) > HELD_STEP * decimal_step(signal)


def least_slope(unit: SignalUnit) -> float:
    """Return the least change of the signal for each e-fold of what is left of the analyte, or of titrant in excess."""
    return natural_slope(unit) / MOST_ELECTRONS


def flat_branch(
    distance_mL: FloatArray, signal: FloatArray, sd_signal: FloatArray, demanded: float
) -> tuple[float, float] | None:
    """Return slope found and slope demanded (signal's unit for each e-fold) where a branch is surely flatter, or None.

    `distance_mL` (n,): from the far side of the gap, which is the furthest that the equivalence point can be: the
    logarithm of what is left then changes least. The signal's change along that logarithm is a straight line's slope;
    turn the signal so that it falls towards the point. One that rises towards it is flat too.
    """
    rows = distance_mL > 0.0
    if np.count_nonzero(rows) < 3:
        return None
    x, y, sd = np.log(distance_mL[rows]), signal[rows], np.maximum(sd_signal[rows], 1e-9)
    weight = sd**-2.0
    middle = float(np.sum(weight * x) / np.sum(weight))
    spread = float(np.sum(weight * (x - middle) ** 2))
    if spread <= 0.0:
        return None
    slope = float(np.sum(weight * (x - middle) * y)) / spread
    residual = y - np.average(y, weights=weight) - slope * (x - middle)
    misfit = max(1.0, float(np.sum(weight * residual**2)) / (len(x) - 2))
    if slope + SURE * np.sqrt(misfit / spread) >= demanded:
        return None
    return slope, demanded


def flat_towards(
    distance_mL: FloatArray, signal: FloatArray, sd_signal: FloatArray, demanded: float
) -> tuple[float, float] | None:
    """Return the same of the whole branch or of the readings of it that lie nearest to the jump."""
    nearest = np.argsort(distance_mL, kind="stable")
    counts = (*(each for each in NEAREST if each < len(nearest)), len(nearest))
    for rows in (nearest[left_out : left_out + count] for left_out in LEFT_OUT for count in counts):
        flat = flat_branch(distance_mL[rows], signal[rows], sd_signal[rows], demanded)
        if flat is not None:
            return flat
    return None


def off_one_bend(volume_mL: FloatArray, signal: FloatArray, jump: Jump) -> float:
    """Return how far readings from a jump's foot to its shoulder stand off the nearest curve of one bend.

    Readings up to the steepest place are compared with their greatest convex minorant, those behind with their least
    concave majorant; half of the largest distance is what a curve in between would leave (the signal's unit).
    """
    pieces = ((slice(jump.before, jump.steepest + 1), 1.0), (slice(jump.steepest + 1, jump.behind + 1), -1.0))
    return max(_above_hull(volume_mL[rows], sign * signal[rows]) for rows, sign in pieces) / 2.0


def _above_hull(x: FloatArray, y: FloatArray) -> float:
    """Return how far points stand above their greatest convex minorant (the lower hull of points at rising x)."""
    if len(x) < 3:
        return 0.0
    hull: list[int] = []
    for k in range(len(x)):
        while len(hull) > 1:
            a, b = hull[-2], hull[-1]
            if (y[b] - y[a]) * (x[k] - x[a]) < (y[k] - y[a]) * (x[b] - x[a]):
                break
            hull.pop()
        hull.append(k)
    return float(np.max(y - np.interp(x, x[hull], y[hull])))


def _why_against(
    volume_mL: FloatArray,
    signal: FloatArray,
    sd_signal: FloatArray,
    jump: Jump,
    unit: SignalUnit,
    *,
    gap_mL: tuple[float, float],
) -> str:
    """Return what of a rising signal goes against its jump, or nothing."""
    rise = float(signal[jump.behind] - signal[jump.before])
    back = taken_back(signal, jump)
    if back >= TAKEN_BACK * rise:
        return f"{back:.3g} {unit} of its rise are taken back elsewhere, which no reaction does: a disturbance"
    bare = int(np.count_nonzero(volume_mL <= 0.0))
    fall = goes_back(signal, sd_signal, jump, bare)
    if fall >= TAKEN_BACK * rise:
        return (
            f"the signal goes back by {fall:.3g} {unit} beside it, reading after reading, which no reaction does: a "
            "disturbance"
        )
    against = contradiction(volume_mL, signal, sd_signal, gap_mL)
    if against is not None and against[1] >= TAKEN_BACK * rise:
        first, second = volume_mL[against[0] : against[0] + 2]
        return (
            f"two readings on it contradict each other, at {first:.4g} and {second:.4g} mL the signal goes back by "
            f"{against[1]:.3g} {unit}: one of them is wrong, or a contact works loose; log more readings there"
        )
    strays = falls(signal[bare:], sd_signal[bare:], BENT_OFF * rise)
    if strays > max(1, len(signal) // ONE_STRAY_IN):
        return (
            f"the signal goes back {strays} times from one reading to the next by {BENT_OFF:.0%} of its rise or more: "
            "as rough as this, a curve shows jumps by chance"
        )
    return ""


def why_doubted(
    volume_mL: FloatArray,
    signal: FloatArray,
    sd_signal: FloatArray,
    jump: Jump,
    unit: SignalUnit,
    *,
    gap_mL: tuple[float, float],
    resolved: bool,
    before_at_least: float | None = None,
    model_misfit: float = 0.0,
) -> str:
    """Return why a jump of a rising signal may be none, or nothing. Arrays (n,) at rising volumes.

    `gap_mL`: the volumes between which most of its rise lies; `resolved`: whether readings lie there.
    `before_at_least`: what the branch before it changes by at least for each e-fold, where a method tells.
    `model_misfit`: rms residual of the best titration curve, in standard deviations.
    """
    against = _why_against(volume_mL, signal, sd_signal, jump, unit, gap_mL=gap_mL)
    if against:
        return against
    rise = float(signal[jump.behind] - signal[jump.before])
    off = off_one_bend(volume_mL, median_of_three(signal), jump)
    spread = (gap_mL[1] - gap_mL[0]) / float(volume_mL[jump.behind] - volume_mL[jump.before])
    if resolved and spread > EVEN_SHARE:
        return (
            f"its rise is spread over {gap_mL[0]:.4g} to {gap_mL[1]:.4g} mL, nearly all the way from its foot to its "
            "shoulder: a drift between two levels"
        )
    if off >= (BENT_OFF_WIDE if resolved and spread > SPREAD_SHARE else BENT_OFF) * rise:
        return (
            f"readings beside it stand {off:.3g} {unit} off any curve of one bend: as rough as this, a curve shows "
            "jumps by chance"
        )
    before, behind = volume_mL <= gap_mL[0], volume_mL >= gap_mL[1]
    least = least_slope(unit)
    sides = [
        (before, gap_mL[1] - volume_mL, -signal, "before", before_at_least or least),
        (behind, volume_mL - gap_mL[0], signal, "behind", least),
    ]
    cut_off = resolved and unit != "pH"  # a second ion may cut the jump off; a pH never stops behind one
    for rows, distance, turned, where, demanded in sides[: 1 if cut_off else 2]:
        flat = flat_towards(distance[rows], turned[rows], sd_signal[rows], demanded)
        if flat is not None:
            lacking = "" if resolved else "no readings resolve it, and "
            return (
                f"{lacking}the curve {where} it is flatter than any titration leaves it "
                f"({flat[0]:.2g} {unit} for each e-fold of what is left, at least {flat[1]:.2g} expected): a contact, "
                "an amplifier at its limit or another disturbance"
            )
    if rise < LEAST_TOLD * float(np.median(sd_signal)):
        return ""  # readings that may lack so much agree with anything
    many = len(volume_mL) >= MANY and jump.clear  # a shallow jump bends hardly more than its branches
    within = min(max(DESCRIBED, model_misfit / FAR_BETTER), MOST_MISFIT) if many else DESCRIBED
    found = artefact_of(volume_mL, signal, sd_signal, within)
    if found is not None:
        return f"{found.name} on a plain branch describes the readings, and no titration curve does: a disturbance"
    return ""
