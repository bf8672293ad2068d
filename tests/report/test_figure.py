"""The figure: what must be seen in it, and that the same data give the same bytes."""

import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.image import imread

from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.evaluation import EquivalencePoint, Evaluation
from titrator.report import figure as module
from titrator.report.figure import draw_curve, point_text

VOLUME = np.concatenate([np.arange(0.0, 16.0, 1.0), np.arange(16.0, 17.2, 0.05), np.arange(17.5, 22.0, 0.5)])
SIGNAL = 800.0 + 26.0 * np.arcsinh((VOLUME - 16.6) / 0.05)
SETTLED = np.ones(len(VOLUME), bool)
SETTLED[[4, 20]] = False
CURVE = Curve(VOLUME, SIGNAL, "mV", np.full(len(VOLUME), 0.2), SETTLED)
POINT = EquivalencePoint(16.6, 0.004, 30.0, (16.592, 16.608), 800.0, "mV", "second-derivative")
FOUND = Evaluation((POINT,))


def composed(
    curve: Curve = CURVE,
    evaluation: Evaluation = FOUND,
    title: str = "Iron(II) in a pickling bath",
    passing: Sequence[tuple[float, float]] = (),
) -> Figure:
    with mpl.rc_context(module.STYLE):
        figure = Figure(figsize=module.SIZE_INCHES, layout="constrained")
        module._compose(figure, curve, evaluation, title, passing=passing)
    return figure


def test_png_and_svg_are_written(tmp_path):
    draw_curve(CURVE, FOUND, "Iron(II) in a pickling bath", tmp_path / "curve.png")
    draw_curve(CURVE, FOUND, "Iron(II) in a pickling bath", tmp_path / "curve.svg")
    height, width = imread(tmp_path / "curve.png").shape[:2]
    assert (width, height) == (1152, 1024)
    assert (tmp_path / "curve.svg").read_text().rstrip().endswith("</svg>")


def test_the_same_data_give_the_same_svg_to_the_byte(tmp_path):
    for name in ("one.svg", "two.svg"):
        draw_curve(CURVE, FOUND, "the same", tmp_path / name)
    one = (tmp_path / "one.svg").read_bytes()
    assert one == (tmp_path / "two.svg").read_bytes()
    assert b"<dc:date>" not in one


def test_two_panels_with_units_on_their_axes():
    upper, lower = composed().axes[:2]
    assert upper.get_ylabel() == "Potential / mV"
    assert lower.get_ylabel() == "dE/dV  /  (mV/mL)"
    assert lower.get_xlabel().endswith("/ mL")
    ph = composed(Curve(VOLUME, SIGNAL / 100.0, "pH"), Evaluation()).axes
    assert (ph[0].get_ylabel(), ph[1].get_ylabel()) == ("pH", "dpH/dV  /  (1/mL)")


def test_not_settled_readings_are_hollow_and_none_is_lost():
    lines = {line.get_label(): line for line in composed().axes[0].lines}
    filled, hollow = lines["reading"], lines["reading, not settled"]
    assert hollow.get_xdata().tolist() == VOLUME[~SETTLED].tolist()
    assert filled.get_xdata().tolist() == VOLUME[SETTLED].tolist()
    assert hollow.get_markerfacecolor() == "white"
    assert filled.get_markerfacecolor() != "white"


def test_readings_in_passing_are_thin_and_hollow_and_nothing_else_changes():
    """Each stands where it was read; points, curve and secants are those of a figure without them."""
    passing = [(0.4, 300.0), (2.6, 470.0), (23.5, 1100.0)]
    plain, figure = composed(), composed(passing=passing)
    lines = {line.get_label(): line for line in figure.axes[0].lines}
    shown = lines.pop("while titrant ran in, not evaluated")
    assert list(zip(shown.get_xdata(), shown.get_ydata(), strict=True)) == passing
    assert shown.get_markerfacecolor() == "none"
    assert shown.get_linestyle() == "None"
    reading = lines["reading"]
    assert shown.get_markeredgewidth() < reading.get_markeredgewidth()
    assert shown.get_markersize() < reading.get_markersize()
    assert shown.get_zorder() < reading.get_zorder()
    for axes, before in zip(figure.axes, plain.axes, strict=True):
        others = [line for line in axes.lines if line is not shown]
        assert [line.get_xydata().tolist() for line in others] == [line.get_xydata().tolist() for line in before.lines]
    low, high = figure.axes[0].get_xlim()
    assert low < 0.4
    assert high > 23.5, "what was read behind the last point is in sight"


def test_the_legend_is_no_wider_than_the_figure():
    fitted = find_equivalence_points(CURVE)
    for figure in (composed(), composed(CURVE, fitted, passing=[(1.0, 500.0)])):
        figure.draw_without_rendering()
        (legend,) = figure.legends
        extent = legend.get_window_extent()
        assert extent.x0 >= 0.0
        assert extent.x1 <= figure.bbox.width
    assert len(legend.get_texts()) == 6


def test_the_derivative_is_that_of_the_readings():
    (line,) = (line for line in composed().axes[1].lines if str(line.get_label()).startswith("secant"))
    assert line.get_ydata().tolist() == pytest.approx((np.diff(SIGNAL) / np.diff(VOLUME)).tolist())


def test_everything_is_told_apart_without_colour():
    """No two legend entries share marker, fill and line style."""
    figure = composed(passing=[(1.0, 500.0)])
    entries = [line for axes in figure.axes[:2] for line in axes.lines if not str(line.get_label()).startswith("_")]
    styles = {(str(e.get_marker()), e.get_markerfacecolor() in ("white", "none"), e._dash_pattern[1] is None,
               e.get_linestyle()) for e in entries}  # fmt: skip
    assert len(entries) >= 5
    assert len(styles) == len(entries)


def test_the_interval_is_drawn_where_it_is():
    """A band in each panel spans the 95 % interval; the close-ups show it in µL from the point."""
    for axes in composed().axes[:2]:
        spans = [patch.get_extents().transformed(axes.transData.inverted()) for patch in axes.patches]
        assert any(span.x0 == pytest.approx(16.592) and span.x1 == pytest.approx(16.608) for span in spans)


def test_the_fitted_curve_is_drawn_only_where_a_fit_placed_the_point():
    fitted = find_equivalence_points(CURVE)
    assert fitted.equivalence_points[0].found_by == "model-fit"
    labels = [line.get_label() for line in composed(CURVE, fitted).axes[0].lines]
    assert "fitted curve" in labels
    assert "fitted curve" not in [line.get_label() for line in composed().axes[0].lines]


@pytest.mark.parametrize(
    ("u_mL", "text"),
    [(0.0012, "16.6000 mL"), (0.03, "16.600 mL"), (0.4, "16.60 mL"), (3.0, "16.6 mL")],
)
def test_decimals_follow_the_uncertainty(u_mL, text):
    point = EquivalencePoint(16.6, u_mL, 9.0, (16.6 - u_mL, 16.6 + u_mL), 800.0, "mV", "model-fit")
    assert point_text(point).startswith(text + "  (95 %: ")


@pytest.mark.parametrize("count", [0, 1, 2])
def test_hardly_any_readings(tmp_path, count):
    curve = Curve(VOLUME[:count], SIGNAL[:count], "mV")
    draw_curve(curve, find_equivalence_points(curve), "nothing yet", tmp_path / "curve.png")
    assert (tmp_path / "curve.png").stat().st_size > 1000


@pytest.mark.parametrize("title", ["100 $ and $x_", "$\\broken{$", "Ø µ 酸", "a\nb", ""])
def test_any_title(tmp_path, title):
    draw_curve(CURVE, FOUND, title, tmp_path / "curve.svg")


def test_falling_and_several_points(tmp_path):
    falling = Curve(VOLUME, -SIGNAL / 100.0, "pH")
    two = Evaluation((POINT, EquivalencePoint(19.0, 0.3, 9.0, (18.4, 19.6), -9.0, "pH", "bracket")))
    draw_curve(falling, two, "two", tmp_path / "curve.svg")
    assert len(composed(falling, two).axes) == 2, "a close-up only for one point"


def test_another_ending_is_refused(tmp_path):
    with pytest.raises(ValueError, match=r"\.png or \.svg expected, '\.pdf' came"):
        draw_curve(CURVE, FOUND, "x", tmp_path / "curve.pdf")


def test_matplotlib_is_imported_only_when_a_figure_is_drawn():
    code = "import sys, titrator.report.figure; sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_rehearsal_says_that_it_is_simulated(tmp_path):
    draw_curve(CURVE, FOUND, "Iron(II) in a pickling bath", tmp_path / "curve.svg", note="simulated, seed 7")
    assert "simulated, seed 7" in (tmp_path / "curve.svg").read_text(encoding="utf-8")


def test_several_points_are_numbered_and_told_line_by_line():
    three = Evaluation(tuple(replace(POINT, volume_mL=each, interval_95_mL=(each - 0.01, each + 0.01))
                             for each in (8.0, 12.0, 16.6)))  # fmt: skip
    upper = composed(CURVE, three).axes[0]
    texts = [text.get_text() for text in upper.texts]
    assert [text for text in texts if text in {"1", "2", "3"}] == ["1", "2", "3"]
    (told,) = (text for text in texts if "95 %" in text)
    assert [line[:9] for line in told.splitlines()] == ["1:  8.000", "2:  12.00", "3:  16.60"]
    assert not any(text.get_text() == "1" for text in composed().axes[0].texts)
