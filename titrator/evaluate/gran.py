"""Straight lines through the equivalence point, one from either branch: functions of the kind that G. Gran proposed.

With y the signal so turned that it rises through the jump, s its change for each factor e of a concentration, V0 mL in
the vessel and z electrons, these grow or fall in proportion to the distance from the equivalence point (mass balances
of textbooks; G. Gran, Analyst 77 (1952) 661, from memory):

    kind                         before, ~ (Ve - V)          behind, ~ (V - Ve)
    strong acid or base          (V0 + V) exp(-y/s)          (V0 + V) exp(y/s)
    weak acid or base            V exp(-y/s)                 (V0 + V) exp(y/s)
    redox, one couple each       V exp(-zA y/s)              exp(zT y/s)
    precipitation 1:1            (V0 + V) exp(-y/s)          (V0 + V) exp(y/s)
    complexation 1:1             (V0 + V) exp(-y/s)          exp(y/s)

An error of the signal is a relative error of the function; the weights follow from that and from the error of the
volume. The range is chosen, not taken for granted: see `_windows` and `_chosen`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from titrator.evaluate.curve import Curve, FloatArray
from titrator.evaluate.evaluation import Estimate
from titrator.evaluate.straight_line import StraightLine, is_straight, straight_lines
from titrator.evaluate.symmetric_model import natural_slope

GranKind = Literal["strong", "weak", "redox", "precipitation", "complexation"]
Side = Literal["before", "behind"]
Factor = Literal["diluted", "added", "none"]

FACTORS: dict[GranKind, tuple[Factor, Factor]] = {
    "strong": ("diluted", "diluted"),
    "weak": ("added", "diluted"),
    "redox": ("added", "none"),
    "precipitation": ("diluted", "diluted"),
    "complexation": ("diluted", "none"),
}
"""What stands before the exponential on either side."""

FEWEST = 4
"""Readings that a line needs: two parameters, one for the bend, one to judge by."""
NEAR_SHARES = (0.0, 0.02, 0.08, 0.2)
"""Readings nearer to the jump than this share of the branch may be left out: side reactions bend a line there."""
FAR_SHARES = (1.0, 0.7, 0.4)
"""Readings further from the jump than this share of the branch may be left out: slope and activities bend it there."""
ROUNDS = 4
"""Renewals of the weights, which follow the line itself; half as many while the slope is sought."""
U_SLOPE = 0.025 / math.sqrt(3.0)
"""Relative standard uncertainty of s where nobody states one: ±2.5 % rectangular (common practice, no source)."""
SLOPE_OFFSETS = (-2.0, -1.0, 0.0, 1.0, 2.0)
"""Slopes at which the line is drawn to find the best one, in standard deviations of what is known of it."""
SLOPE_REACH = 3.0
"""The best one lies within so many of them."""
WORST_MISFIT = 2.0
"""Readings that scatter by more than twice what is stated of them make no line."""
HELD = 2.5
"""Parts of a branch whose zeros differ by more standard deviations of their difference than that disagree."""
COMPARED = 3.0
"""Parts more than so many times as uncertain have nothing to say of another."""
AGREEMENT = 2.5
"""Lines further apart than this many times their combined standard uncertainty do not meet."""


@dataclass(frozen=True, slots=True)
class GranLine:
    """The line of one branch: where it crosses zero (mL) with its standard uncertainty, or the reason for none.

    `interval_95_mL` is Fieller's, widened by what slope and range leave open. `rows` count readings of the curve in
    order of volume. `misfit`: rms residual in standard deviations; `slope_found`: s of the signal, in its unit.
    """

    side: Side
    volume_mL: float | None = None
    u_mL: float | None = None
    interval_95_mL: tuple[float, float] | None = None
    dof: int = 0
    rows: tuple[int, ...] = ()
    misfit: float = math.nan
    slope_found: float = math.nan
    reason: str = ""


@dataclass(frozen=True, slots=True)
class GranSettings:
    """What is known beside the curve.

    `vessel_mL`: volume in the vessel before the titration, for the kinds that dilute; `start_mL`: reading of the
    burette then (or the equivalence point before this one). `slope`: s in the signal's unit (None: RT/F at 25 °C in
    mV, 1/ln 10 in pH or pX), `u_slope` its standard uncertainty (None: U_SLOPE of it; 0: exact; otherwise the slope
    is fitted, held by it). `electrons` of analyte and titrant (redox), or the charge of the ion followed.
    """

    vessel_mL: float | None = None
    start_mL: float = 0.0
    slope: float | None = None
    u_slope: float | None = None
    electrons: tuple[int, int] = (1, 1)
    sd_volume_mL: float = 0.0


@dataclass(frozen=True, slots=True)
class _Where:
    """Kind of reaction, where its jump stands and which way the signal runs through it."""

    kind: GranKind
    jump_mL: float
    sign: int


@dataclass(frozen=True, eq=False)
class _Branch:
    """One branch: volumes, rising signal and its sd (n,), the factor before the exponential, sign and electrons."""

    side: Side
    rows: np.ndarray
    volume_mL: FloatArray
    signal: FloatArray
    sd_signal: FloatArray
    factor: FloatArray
    electrons: int
    sd_volume_mL: float

    @property
    def towards(self) -> float:
        """-1 where the function falls to zero with the volume, 1 where it rises from there."""
        return -1.0 if self.side == "before" else 1.0

    def chosen(self, keep: np.ndarray) -> _Branch:
        """Return the branch of some of its readings."""
        return _Branch(
            self.side,
            self.rows[keep],
            self.volume_mL[keep],
            self.signal[keep],
            self.sd_signal[keep],
            self.factor[keep],
            self.electrons,
            self.sd_volume_mL,
        )

    def at_slopes(self, slope: FloatArray, kept: np.ndarray) -> tuple[FloatArray, FloatArray]:
        """Return chi-square and zero (mL) of lines through parts of the branch at slopes s: arrays (parts, slopes).

        `slope` (parts, slopes), `kept` (parts, n) the readings of each part. Not finite where there is no line.
        """
        signal = np.where(kept, self.signal, 0.0)
        middle = np.sum(signal, axis=1) / np.sum(kept, axis=1)
        exponent = self.towards * self.electrons * (self.signal - middle[:, None])[:, None, :] / slope[:, :, None]
        value = self.factor * np.exp(np.clip(exponent, -200.0, 200.0))
        relative = self.electrons * self.sd_signal / slope[:, :, None]
        inside = kept[:, None, :]
        floor = 1e-12 * np.max(np.where(inside, value, 0.0), axis=2, keepdims=True)
        expected, rate = value, np.zeros((*slope.shape, 1))
        for _ in range(ROUNDS // 2):
            sd = np.maximum(np.hypot(relative * expected, rate * self.sd_volume_mL), floor)
            weight = np.where(inside, sd**-2.0, 0.0)
            total = np.sum(weight, axis=2, keepdims=True)
            centre = np.sum(weight * self.volume_mL, axis=2, keepdims=True) / total
            x = self.volume_mL - centre
            height = np.sum(weight * value, axis=2, keepdims=True) / total
            rate = np.sum(weight * x * value, axis=2, keepdims=True) / np.sum(weight * x**2, axis=2, keepdims=True)
            on_line = height + rate * x
            expected = np.maximum(on_line, 0.2 * value)
        zero = (centre - height / rate)[:, :, 0]
        zero[rate[:, :, 0] * self.towards <= 0.0] = np.nan
        return np.sum(weight * (value - on_line) ** 2, axis=2), zero

    def lines(self, slope: FloatArray, kept: np.ndarray) -> list[StraightLine | None]:
        """Return the line through each part at its slope s; None where its zero is on the wrong side of the readings.

        `slope` (parts,), `kept` (parts, n).
        """
        count = np.sum(kept, axis=1)
        middle = np.sum(np.where(kept, self.signal, 0.0), axis=1) / count
        exponent = self.towards * self.electrons * (self.signal - middle[:, None]) / slope[:, None]
        value = self.factor * np.exp(np.clip(exponent, -200.0, 200.0))
        relative = self.electrons * self.sd_signal / slope[:, None]
        floor = 1e-12 * np.max(np.where(kept, value, 0.0), axis=1, keepdims=True)
        expected, drawn = value, None
        for _ in range(ROUNDS):
            rate = 0.0 if drawn is None else drawn.slope[:, None]
            sd = np.maximum(np.hypot(relative * expected, rate * self.sd_volume_mL), floor)
            drawn = straight_lines(self.volume_mL, value, np.where(kept, sd**-2.0, 0.0), count)
            expected = np.maximum(value - drawn.residual, 0.2 * value)
        assert drawn is not None
        runs = drawn.slope * self.towards > 0.0
        return [drawn.line(k) if runs[k] else None for k in range(len(kept))]


def _branch(ordered: Curve, sd_signal: FloatArray, side: Side, where: _Where, settings: GranSettings) -> _Branch | str:
    """Return one side of the curve with its factor, or the reason why there is none."""
    added = ordered.volume_mL - settings.start_mL
    which = 0 if side == "before" else 1
    factor = FACTORS[where.kind][which]
    if factor == "diluted" and settings.vessel_mL is None:
        return "the volume in the vessel before the titration is not known: this line needs it"
    multiplier = np.ones(len(ordered))
    if factor != "none":
        multiplier = added + (settings.vessel_mL or 0.0) if factor == "diluted" else added
    this_side = ordered.volume_mL < where.jump_mL if side == "before" else ordered.volume_mL > where.jump_mL
    rows = np.flatnonzero(this_side & (multiplier > 0.0))
    return _Branch(
        side,
        rows,
        ordered.volume_mL[rows],
        where.sign * ordered.signal[rows],
        sd_signal[rows],
        np.asarray(multiplier, dtype=np.float64)[rows],
        settings.electrons[which] if where.kind == "redox" else settings.electrons[0],
        settings.sd_volume_mL,
    )


def _windows(branch: _Branch, jump_mL: float) -> list[np.ndarray]:
    """Return the parts of a branch that lines are drawn through, the whole first, as masks, each of them once."""
    distance = np.abs(branch.volume_mL - jump_mL)
    furthest = float(np.max(distance))
    found: dict[bytes, np.ndarray] = {}
    for far in FAR_SHARES:
        for near in NEAR_SHARES:
            keep = (distance <= far * furthest * (1.0 + 1e-12)) & (distance >= near * furthest)
            if np.count_nonzero(keep) >= FEWEST:
                found.setdefault(keep.tobytes(), keep)
    return list(found.values())


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A line through one part of a branch with its best slope; `u_mL` holds what that slope leaves open of its zero."""

    part: _Branch
    line: StraightLine
    slope: float
    u_mL: float


def _drawn(branch: _Branch, jump_mL: float, slope: float, u_slope: float) -> list[_Drawn]:
    """Return the line of each part at the slope that makes chi-square and the square of its own deviation least."""
    parts = _windows(branch, jump_mL)
    if not parts:
        return []
    kept, at = np.stack(parts), np.full(len(parts), slope)
    u_by_slope = np.zeros(len(parts))
    if u_slope > 0.0:
        offsets = np.array(SLOPE_OFFSETS)
        square_sums, zeros = branch.at_slopes(slope + np.tile(offsets * u_slope, (len(parts), 1)), kept)
        for k, (square_sum, zero) in enumerate(zip(square_sums, zeros, strict=True)):
            known = np.isfinite(zero) & np.isfinite(square_sum)
            at[k], u_by_slope[k] = np.nan, np.nan
            if np.count_nonzero(known) >= 3:
                best, u_by_slope[k] = _best_offset(offsets[known], square_sum[known], zero[known])
                at[k] = slope + best * u_slope
    usable = np.flatnonzero(np.isfinite(at))
    if not len(usable):
        return []
    lines = branch.lines(at[usable], kept[usable])
    return [
        _Drawn(branch.chosen(parts[k]), line, float(at[k]), math.hypot(line.u_zero_mL, float(u_by_slope[k])))
        for k, line in zip(usable, lines, strict=True)
        if line is not None
    ]


@lru_cache(maxsize=64)
def _parabola_of(offset: tuple[float, ...]) -> FloatArray:
    """Return the matrix that turns values at the offsets into their parabola's coefficients, squared first."""
    powers = np.array(offset)[:, None] ** np.array([2.0, 1.0, 0.0])
    return np.asarray(np.linalg.pinv(powers), dtype=np.float64)


def _best_offset(offset: FloatArray, square_sum: FloatArray, zero_mL: FloatArray) -> tuple[float, float]:
    """Return the best deviation of the slope, in standard deviations, and what it leaves open of the zero (mL)."""
    square, linear, _ = _parabola_of(tuple(offset.tolist())) @ (square_sum + offset**2)
    best = float(np.clip(-linear / (2.0 * max(float(square), 1.0)), -SLOPE_REACH, SLOPE_REACH))
    change = float(np.interp(best + 0.5, offset, zero_mL) - np.interp(best - 0.5, offset, zero_mL))
    return best, abs(change) / math.sqrt(max(float(square), 1.0))


def _excess_mL(one: _Drawn, other: _Drawn) -> float:
    """Return by how much the zeros of two parts of a branch differ beyond one standard deviation of their difference.

    They share readings, so that the variance of the difference is the difference of their variances (J. A. Hausman
    1978, from memory).
    """
    own = math.sqrt(abs(other.u_mL**2 - one.u_mL**2))
    if other.u_mL > COMPARED * one.u_mL:
        return 0.0
    return max(0.0, abs(one.line.zero_mL - other.line.zero_mL) - own)


def _held(best: _Drawn, straight: list[_Drawn]) -> bool:
    """Return whether every less certain straight part agrees with this one within two standard deviations."""
    for other in straight:
        own = math.sqrt(max(0.0, other.u_mL**2 - best.u_mL**2))
        if 0.0 < own <= COMPARED * best.u_mL and abs(best.line.zero_mL - other.line.zero_mL) > HELD * own:
            return False
    return True


def _chosen(branch: _Branch, jump_mL: float, settings: GranSettings, slope: float) -> GranLine:
    """Return the line of a branch.

    A part of it is straight where a square term does not differ from zero (5 %) and the scatter is that stated. Of
    the straight parts that all less certain ones agree with, the most certain is taken: a bend too small for the test
    shows as a zero that moves when readings are left out. What the zeros differ by beyond their uncertainties joins
    the uncertainty.
    """
    if len(branch.rows) < FEWEST:
        return GranLine(branch.side, reason=f"{FEWEST} readings are needed on this side, {len(branch.rows)} are there")
    u_slope = U_SLOPE * slope if settings.u_slope is None else settings.u_slope
    lines = _drawn(branch, jump_mL, slope, u_slope)
    if not lines:
        return GranLine(branch.side, reason="the function does not run towards zero at the jump: another kind of curve")
    straight = [
        each
        for each in lines
        if is_straight(each.line) and each.line.misfit <= WORST_MISFIT and each.line.interval_mL() is not None
    ]
    if not straight:
        return GranLine(branch.side, reason="no part of this branch is straight: slope, kind or volume are not right")
    straight.sort(key=lambda each: each.u_mL)
    best = next((each for each in straight if _held(each, straight)), straight[0])
    u = math.hypot(best.u_mL, max(_excess_mL(best, each) for each in straight))
    zero, interval = best.line.zero_mL, best.line.interval_mL()
    assert interval is not None
    wider = u / best.line.u_zero_mL if best.line.u_zero_mL > 0.0 else 1.0
    return GranLine(
        branch.side,
        zero,
        u,
        (zero - wider * (zero - interval[0]), zero + wider * (interval[1] - zero)),
        best.line.dof,
        tuple(int(row) for row in best.part.rows),
        best.line.misfit,
        float(best.slope),
    )


def gran_lines(
    curve: Curve,
    kind: GranKind,
    settings: GranSettings | None = None,
    *,
    sd_signal: FloatArray,
    jump_mL: float | None = None,
    sign: int | None = None,
) -> list[GranLine]:
    """Return the lines of both branches, or of the one there is.

    `curve` at rising, distinct volumes (Curve.in_order); `sd_signal` (n,) as of noise.signal_sd. `jump_mL`: where the
    jump stands, None for a titration that was stopped before it (then only the line before). `sign`: 1 for a signal
    that rises through the jump, -1 for one that falls (None: as it runs from first to last reading).
    """
    known = settings or GranSettings()
    volume, count = curve.volume_mL, len(curve)
    if count < FEWEST:
        return [GranLine("before", reason=f"{FEWEST} readings are needed on this side, {count} are there")]
    turned = sign or (1 if curve.signal[-1] >= curve.signal[0] else -1)
    slope = known.slope or natural_slope(curve.signal_unit)
    at = float(volume[-1]) + float(np.ptp(volume)) / count if jump_mL is None else jump_mL
    where = _Where(kind, at, turned)
    sides: tuple[Side, ...] = ("before",) if jump_mL is None else ("before", "behind")
    lines = []
    for side in sides:
        branch = _branch(curve, sd_signal, side, where, known)
        lines.append(GranLine(side, reason=branch) if isinstance(branch, str) else _chosen(branch, at, known, slope))
    return lines


def meeting(lines: Sequence[GranLine]) -> tuple[float, float] | str:
    """Return volume and standard uncertainty in mL where the lines of both branches meet, or why they do not.

    Their weighted mean; what they differ by beyond their uncertainties widens it.
    """
    found = [each for each in lines if each.volume_mL is not None and each.u_mL]
    if len(found) < 2:
        return next((f"{each.side}: {each.reason}" for each in lines if each.reason), "only one branch has a line")
    volume = np.array([each.volume_mL for each in found])
    u = np.array([each.u_mL for each in found])
    if abs(volume[0] - volume[1]) > AGREEMENT * math.hypot(u[0], u[1]):
        return f"the lines before ({volume[0]:.4f} mL) and behind ({volume[1]:.4f} mL) do not meet"
    mean = float(np.sum(volume / u**2) / np.sum(u**-2.0))
    misfit = max(1.0, abs(float(volume[0] - volume[1])) / math.hypot(u[0], u[1]))
    return mean, misfit * float(np.sum(u**-2.0)) ** -0.5


def as_estimate(line: GranLine, why: str) -> Estimate | None:
    """Return the zero of one line as an estimate: nothing brackets it. `why` says why there is no point."""
    if line.volume_mL is None or line.u_mL is None or line.interval_95_mL is None:
        return None
    return Estimate(line.volume_mL, line.u_mL, line.interval_95_mL, f"gran-{line.side}", why)
