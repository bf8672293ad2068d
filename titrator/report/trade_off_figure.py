"""The figure of a trade-off: duration against error, a point a setting, told apart by shape and fill as by colour."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from titrator.report.figure import BLUE, ENDINGS, GREEN, INK, PNG_DOTS_PER_INCH, STYLE, VERMILION

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SIZE_INCHES: Final = (7.2, 5.2)
SHAPES: Final = {"adaptive": ("o", BLUE), "fixed": ("s", VERMILION), "foreseeing": ("^", GREEN)}
OTHER: Final = ("P", INK)
FAILED: Final = "x"


def draw_trade_off(document: dict[str, Any], path: Path | str) -> None:
    """Write the figure of a sweep's document to `path`, as PNG or SVG by its ending.

    Raises ValueError for another ending and OSError where the file cannot be written.
    """
    path = Path(path)
    if path.suffix.lower() not in ENDINGS:
        raise ValueError(f"{path}: a file ending in .png or .svg expected, {path.suffix or 'no ending'!r} came")
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with mpl.rc_context(STYLE):
        figure = Figure(figsize=SIZE_INCHES, layout="constrained")
        FigureCanvasAgg(figure)
        compose(figure, document)
        if path.suffix.lower() == ".svg":
            figure.savefig(path, format="svg", metadata={"Date": None})
        else:
            figure.savefig(path, format="png", dpi=PNG_DOTS_PER_INCH)


def compose(figure: Figure, document: dict[str, Any]) -> None:
    """Draw a sweep into a figure."""
    axes = figure.subplots()
    settings = document["settings"]
    for rule in dict.fromkeys(each["rule"] for each in settings):
        _draw_rule(axes, rule, [each for each in settings if each["rule"] == rule])
    _draw_failed(axes, settings)
    _draw_front(axes, settings)
    _mark(axes, settings)
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_xlabel("rms error of the equivalence volume / µL")
    axes.set_ylabel("Duration of a titration / s")
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(_plain)
        axis.set_minor_formatter(_plain_few)
        axis.set_tick_params(which="both", labelsize=8.5)
    heading = axes.set_title(document["name"], loc="left", fontsize=12, fontweight="bold", pad=24)
    heading.set_parse_math(False)
    said = f"{document['runs']} dry runs, seed {document['seed']}, simulated"
    axes.text(0.0, 1.025, said, transform=axes.transAxes, fontsize=9.5, va="bottom")
    figure.legend(loc="outside lower center", ncols=4, fontsize=7.8, columnspacing=1.3, handletextpad=0.5)


def _plain(value: float, _place: object) -> str:
    return f"{value:g}"


def _plain_few(value: float, _place: object) -> str:
    """Between the powers of ten: 2 and 5."""
    return f"{value:g}" if f"{value:e}"[0] in "235" else ""


def _figures(each: dict[str, Any]) -> dict[str, Any]:
    told: dict[str, Any] = each["confirmed"] or each["searched"]
    return told


def _draw_rule(axes: Axes, rule: str, settings: list[dict[str, Any]]) -> None:
    """Small and hollow: as the search saw it. Large and filled, with its standard error: confirmed."""
    shape, colour = SHAPES.get(rule, OTHER)
    sound = [each for each in settings if not _figures(each)["failures"] and _figures(each)["rms_error_uL"]]
    searched = [each["searched"] for each in sound if each["confirmed"] is None]
    axes.plot(
        [each["rms_error_uL"] for each in searched],
        [each["duration_s"] for each in searched],
        shape,
        color=colour,
        markersize=4.2,
        markerfacecolor="white",
        markeredgewidth=0.9,
        zorder=2,
        label=f"{rule}, searched" if searched else "",
    )
    confirmed = [each["confirmed"] for each in sound if each["confirmed"] is not None]
    if confirmed:
        axes.errorbar(
            [each["rms_error_uL"] for each in confirmed],
            [each["duration_s"] for each in confirmed],
            xerr=[each["u_rms_error_uL"] for each in confirmed],
            fmt=shape,
            color=colour,
            markersize=7.0,
            elinewidth=1.0,
            zorder=4,
            label=f"{rule}, confirmed",
        )


def _draw_failed(axes: Axes, settings: list[dict[str, Any]]) -> None:
    failed = [_figures(each) for each in settings if _figures(each)["failures"] and _figures(each)["rms_error_uL"]]
    if failed:
        axes.plot(
            [each["rms_error_uL"] for each in failed],
            [each["duration_s"] for each in failed],
            FAILED,
            color=INK,
            markersize=5.0,
            alpha=0.7,
            zorder=2,
            label="a run failed: left out",
        )


def _draw_front(axes: Axes, settings: list[dict[str, Any]]) -> None:
    front = sorted((each["confirmed"] for each in settings if each["unbeaten"]), key=lambda each: each["duration_s"])
    if len(front) > 1:
        axes.plot(
            [each["rms_error_uL"] for each in front],
            [each["duration_s"] for each in front],
            linestyle=(0, (5, 2)),
            color=INK,
            linewidth=0.9,
            zorder=1,
            label="unbeaten",
        )


def _mark(axes: Axes, settings: list[dict[str, Any]]) -> None:
    """A ring about what is picked, a diamond about the method as it stands, each with its words."""
    marks = (("picked", "picked", "o", (10, -14)), ("own", "as it stands", "D", (10, 8)))
    for key, words, shape, shift in marks:
        each = next((one for one in settings if one[key]), None)
        if each is None or not _figures(each)["rms_error_uL"] or (key == "own" and each["picked"]):
            continue
        at = (_figures(each)["rms_error_uL"], _figures(each)["duration_s"])
        axes.plot(
            [at[0]], [at[1]], shape, color=INK, markersize=14, markerfacecolor="none", markeredgewidth=1.3, zorder=5
        )
        axes.annotate(
            words,
            at,
            xytext=shift,
            textcoords="offset points",
            fontsize=9.0,
            fontweight="bold",
            bbox={"boxstyle": "round,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.8},
            zorder=6,
        )
