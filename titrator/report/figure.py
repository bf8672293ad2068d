"""The figure of a titration: curve above, first derivative below, equivalence points with their intervals.

Told apart by marker and line style as well as by colour; the colours are those of Okabe and Ito's palette, made for
colour-blind readers. The same data give the same SVG to the byte (fixed salt for its identifiers, no date).
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from titrator.evaluate.curve import SIGNAL_NAMES, Curve, FloatArray
from titrator.evaluate.derivative import first_derivative
from titrator.evaluate.evaluation import EquivalencePoint, Evaluation
from titrator.report.sentence import FORECAST_mV

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BLUE, VERMILION, GREEN, INK, FAINT = "#0072B2", "#D55E00", "#007A5E", "#22262B", "#C9CED6"
"""Okabe and Ito's blue and vermilion, their green darkened for thin lines; ink and a faint grey for the frame."""
GREY = "#6B727D"
"""For what is shown and not evaluated."""
ENDINGS = (".png", ".svg")
SIZE_INCHES = (7.2, 6.4)
PNG_DOTS_PER_INCH = 160
LEGEND_ROW = 4
"""More entries than these stand in two rows: in one they would be wider than the figure."""
CLOSE_UP_READINGS = 3
"""How many readings on either side of the equivalence point the close-up shows."""
CLOSE_UP_SHARE = 0.06
"""The close-up is drawn where it is narrower than this share of the whole volume: otherwise it shows nothing new."""

STYLE: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 9.5,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": FAINT,
    "grid.linewidth": 0.5,
    "axes.axisbelow": True,
    "legend.frameon": False,
    "svg.hashsalt": "titrator",
    "svg.fonttype": "path",
}


def _signal_label(curve: Curve) -> str:
    name = SIGNAL_NAMES[curve.signal_unit]
    return f"{name} / mV" if curve.signal_unit == "mV" else name


def _slope_label(curve: Curve) -> str:
    if curve.signal_unit == "mV":
        return "dE/dV  /  (mV/mL)"
    return f"d{curve.signal_unit}/dV  /  (1/mL)"


def _decimals(point: EquivalencePoint) -> int:
    """Return how many decimals of a volume its uncertainty supports: its first two figures, 1 to 4 decimals."""
    if not 0.0 < point.u_random_mL < 1e3:
        return 3
    return int(np.clip(1 - np.floor(np.log10(point.u_random_mL)), 1, 4))


def point_text(point: EquivalencePoint) -> str:
    """Return `18.3720 mL (95 %: 18.3696 to 18.3744)`, as many decimals as the uncertainty supports."""
    places = _decimals(point)
    low, high = point.interval_95_mL
    return f"{point.volume_mL:.{places}f} mL  (95 %: {low:.{places}f} to {high:.{places}f})"


def points_text(points: tuple[EquivalencePoint, ...]) -> str:
    """Return a line for each point, numbered as in the figure where there are several."""
    if len(points) == 1:
        return point_text(points[0])
    lines = [f"{number}:  {point_text(point)}" for number, point in enumerate(points, start=1)]
    return "\n".join(lines) or "no equivalence point found"


def _fitted_lines(evaluation: Evaluation) -> list[FloatArray]:
    """Return the fitted curves of the points that a fit placed, each of shape (n, 2): volume in mL and signal."""
    by_fit = {
        number for number, point in enumerate(evaluation.equivalence_points, start=1) if point.found_by == "model-fit"
    }
    return [np.array(fit.line) for fit in evaluation.fits if fit.point in by_fit and len(fit.line) > 1]


def _draw_points(axes: Axes, curve: Curve, lines: list[FloatArray], size: float, name: str = "reading") -> None:
    """Draw the readings, filled where settled, hollow where not, and the fitted curve; without one they are joined."""
    for number, line in enumerate(lines):
        axes.plot(
            line[:, 0], line[:, 1], "-", color=INK, linewidth=0.9, zorder=2, label="" if number else "fitted curve"
        )
    if not lines:
        ordered = curve.in_order()
        axes.plot(ordered.volume_mL, ordered.signal, "-", color=BLUE, linewidth=1.0, alpha=0.7, zorder=2)
    for hollow, rows in ((False, ~curve.not_settled), (True, curve.not_settled)):
        axes.plot(
            curve.volume_mL[rows],
            curve.signal[rows],
            "o",
            color=BLUE,
            markersize=size,
            markerfacecolor="white" if hollow else BLUE,
            markeredgewidth=1.1,
            zorder=4 if hollow else 3,
            label=("reading, not settled" if hollow else name) if bool(np.any(rows)) else "",
        )


def _draw_passing(axes: Axes, passing: Sequence[tuple[float, float]]) -> None:
    """Draw what was read while titrant ran in, (volume in mL, signal) each: small, thin and hollow, below the rest.

    It lags behind the burette, so it stands beside the curve.
    """
    if not passing:
        return
    axes.plot(
        [volume_mL for volume_mL, _ in passing],
        [signal for _, signal in passing],
        marker=">",
        linestyle="none",
        color=GREY,
        markersize=3.4,
        markerfacecolor="none",
        markeredgewidth=0.7,
        zorder=1.5,
        label="while titrant ran in, not evaluated",
    )


def _mark(axes: Axes, points: tuple[EquivalencePoint, ...], *, diamonds: bool) -> None:
    """Mark the equivalence points: the interval as a band, the value as a dash-dotted line, with a diamond on it.

    Several are numbered in order of volume.
    """
    for number, point in enumerate(points):
        axes.axvspan(*point.interval_95_mL, color=GREEN, alpha=0.16, linewidth=0, zorder=0)
        axes.axvline(point.volume_mL, color=GREEN, linestyle=(0, (6, 2, 1, 2)), linewidth=1.1, zorder=1)
        if diamonds:
            axes.plot(
                [point.volume_mL],
                [point.signal],
                "D",
                color=GREEN,
                markersize=6.5,
                markeredgecolor="white",
                markeredgewidth=0.9,
                zorder=5,
                label="" if number else "equivalence point, 95 % interval",
            )
            if len(points) > 1:
                axes.annotate(
                    f"{number + 1}",
                    (point.volume_mL, point.signal),
                    xytext=(9, 0),
                    textcoords="offset points",
                    color=GREEN,
                    fontsize=9.5,
                    fontweight="bold",
                    va="center",
                    bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": "none", "alpha": 0.85},
                    zorder=6,
                )


def _close_up_range(curve: Curve, point: EquivalencePoint) -> tuple[float, float] | None:
    """Return the volumes of a close-up around a point, or None where it would show no more than the whole."""
    distance = np.sort(np.abs(np.unique(curve.volume_mL) - point.volume_mL))
    if len(distance) < 2 * CLOSE_UP_READINGS:
        return None
    reach = float(distance[2 * CLOSE_UP_READINGS - 1]) * 1.05
    reach = max(reach, 1.5 * (point.interval_95_mL[1] - point.interval_95_mL[0]))
    if 2.0 * reach > CLOSE_UP_SHARE * float(np.ptp(curve.volume_mL)):
        return None
    return point.volume_mL - reach, point.volume_mL + reach


def _inset(axes: Axes, box: tuple[float, float, float, float], limits: tuple[float, float], title: str) -> Axes:
    inset = axes.inset_axes(box)
    inset.set_title(title, fontsize=7.8, loc="left", pad=3)
    inset.tick_params(labelsize=7.5, length=2.5)
    inset.set_facecolor("white")
    inset.set_xlim(*limits)
    for spine in inset.spines.values():
        spine.set_visible(True)
        spine.set_edgecolor(FAINT)
    return inset


def _close_up(
    panels: tuple[Axes, Axes],
    curve: Curve,
    lines: list[FloatArray],
    point: EquivalencePoint,
    limits: tuple[float, float],
) -> None:
    """Draw the neighbourhood of the equivalence point, in µL from it, where the curve leaves the panels empty."""

    def about(volume_mL: FloatArray | float) -> Any:
        return (volume_mL - point.volume_mL) * 1000.0

    ordered = curve.in_order()
    inside = np.flatnonzero((ordered.volume_mL >= limits[0]) & (ordered.volume_mL <= limits[1]))
    part = ordered.chosen(np.arange(inside[0], inside[-1] + 1))
    near = Curve(
        volume_mL=about(part.volume_mL), signal=part.signal, signal_unit=part.signal_unit, settled=part.settled
    )
    edges = (about(limits[0]), about(limits[1]))
    falling = _falls(curve)
    title = "close-up, µL from the equivalence point"
    curve_inset = _inset(panels[0], (0.085, 0.16 if falling else 0.50, 0.34, 0.36), edges, title)
    slope_inset = _inset(panels[1], (0.085, 0.20 if falling else 0.26, 0.34, 0.56), edges, title)
    moved_lines = [np.column_stack([about(line[:, 0]), line[:, 1]]) for line in lines]
    _draw_points(curve_inset, near, moved_lines, 3.6)
    margin = 0.08 * float(np.ptp(near.signal))
    curve_inset.set_ylim(float(np.min(near.signal)) - margin, float(np.max(near.signal)) + margin)
    _draw_derivative(slope_inset, near, per=1000.0)
    moved = EquivalencePoint(
        0.0,
        point.u_random_mL,
        point.dof,
        (about(point.interval_95_mL[0]), about(point.interval_95_mL[1])),
        point.signal,
        point.signal_unit,
        point.found_by,
    )
    for inset in (curve_inset, slope_inset):
        _mark(inset, (moved,), diamonds=inset is curve_inset)


def _falls(curve: Curve) -> bool:
    """Return whether the signal is lower at the largest volume than at the smallest."""
    if len(curve) < 2:
        return False
    return bool(curve.signal[np.argmax(curve.volume_mL)] < curve.signal[np.argmin(curve.volume_mL)])


def _draw_derivative(axes: Axes, curve: Curve, per: float = 1.0) -> None:
    """Draw the secants: a dashed line with open squares at the middles of the intervals; slopes times `per`."""
    ordered = curve.in_order()
    axes.axhline(0.0, color=INK, linewidth=0.6, zorder=1)
    if len(ordered) < 2:
        return
    derivative = first_derivative(ordered.volume_mL, ordered.signal)
    axes.plot(
        derivative.volume_mL,
        derivative.slope * per,
        linestyle=(0, (4, 1.5)),
        marker="s",
        color=VERMILION,
        linewidth=1.0,
        markersize=3.4,
        markerfacecolor="white",
        markeredgewidth=0.9,
        zorder=3,
        label="secant between readings",
    )


def _volume_limits(volume_mL: FloatArray) -> tuple[float, float]:
    low, high = (float(np.min(volume_mL)), float(np.max(volume_mL))) if len(volume_mL) else (0.0, 1.0)
    margin = 0.03 * (high - low) or 0.5
    return low - margin, high + margin


def _compose(
    figure: Figure,
    curve: Curve,
    evaluation: Evaluation,
    title: str,
    *,
    note: str = "",
    passing: Sequence[tuple[float, float]] = (),
) -> None:
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(1.75, 1.0))
    forecast = curve.lacking is not None and bool(np.any(np.abs(curve.lacking) > FORECAST_mV))
    curve = curve.at_rest()  # what the evaluation was made of
    points = evaluation.equivalence_points
    lines = _fitted_lines(evaluation)
    _draw_points(upper, curve, lines, 4.2, "reading, its end forecast" if forecast else "reading")
    _draw_passing(upper, passing)
    _mark(upper, points, diamonds=True)
    upper.set_ylabel(_signal_label(curve))
    heading = upper.set_title(title, loc="left", fontsize=12, fontweight="bold", pad=24 + 14 * max(0, len(points) - 1))
    heading.set_parse_math(False)  # a name may hold dollar signs
    told = points_text(points)
    upper.text(0.0, 1.025, told, transform=upper.transAxes, fontsize=9.5, color=GREEN if points else INK, va="bottom")
    noted = upper.text(1.0, 1.025, note, transform=upper.transAxes, fontsize=9.5, color=INK, ha="right", va="bottom")
    noted.set_parse_math(False)
    limits = _close_up_range(curve, points[0]) if len(points) == 1 else None
    _draw_derivative(lower, curve)
    _mark(lower, points, diamonds=False)
    if limits is not None:
        _close_up((upper, lower), curve, lines, points[0], limits)
    lower.set_ylabel(_slope_label(curve))
    lower.set_xlabel("Volume of titrant as the burette indicates / mL")
    lower.set_xlim(*_volume_limits(np.append(curve.volume_mL, [volume_mL for volume_mL, _ in passing])))
    handles = [*upper.get_legend_handles_labels()[0], *lower.get_legend_handles_labels()[0]]
    if handles:
        columns = len(handles) if len(handles) <= LEGEND_ROW else math.ceil(len(handles) / 2)
        figure.legend(
            handles=handles, loc="outside lower center", ncols=columns, fontsize=7.8, columnspacing=1.3,
            handletextpad=0.5,
        )  # fmt: skip
    figure.align_ylabels([upper, lower])


def draw_curve(
    curve: Curve,
    evaluation: Evaluation,
    title: str,
    path: Path | str,
    *,
    note: str = "",
    passing: Sequence[tuple[float, float]] = (),
) -> None:
    """Write the figure of a curve and what was found in it to `path`, as PNG or SVG by its ending.

    `note` stands at the right above the curve: "simulated, seed 7" where nothing was measured.
    `passing`: volumes in mL with what was read there while titrant ran in, in the signal's unit; not evaluated.

    Raises ValueError for another ending and OSError where the file cannot be written.
    """
    path = Path(path)
    if path.suffix.lower() not in ENDINGS:
        raise ValueError(f"{path}: a file ending in .png or .svg expected, {path.suffix or 'no ending'!r} came")
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with mpl.rc_context(STYLE), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from")  # a box in a title is no reason to stop
        figure = Figure(figsize=SIZE_INCHES, layout="constrained")
        FigureCanvasAgg(figure)
        _compose(figure, curve, evaluation, title, note=note, passing=passing)
        if path.suffix.lower() == ".svg":
            figure.savefig(path, format="svg", metadata={"Date": None})
        else:
            figure.savefig(path, format="png", dpi=PNG_DOTS_PER_INCH)
