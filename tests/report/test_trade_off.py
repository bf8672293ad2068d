"""Table and figure of a sweep's trade-off: what must be seen in them, without colour and without a terminal."""

import io

import matplotlib as mpl
import pytest
from matplotlib.figure import Figure
from matplotlib.image import imread
from rich.console import Console

from titrator.report import trade_off_figure as module
from titrator.report.figure import STYLE
from titrator.report.trade_off import show_trade_off
from titrator.report.trade_off_figure import draw_trade_off


def figures(duration_s, rms_uL, failures=()):
    return {
        "runs": 20,
        "failures": list(failures),
        "duration_s": duration_s,
        "additions": 21.5,
        "rms_error_uL": rms_uL,
        "u_rms_error_uL": None if rms_uL is None else 0.1 * rms_uL,
        "bias_uL": None if rms_uL is None else 0.0,
        "intervals_that_hold": None if rms_uL is None else 0.95,
    }


def setting(number, rule, searched, confirmed=None, **marks):
    return {
        "setting": number,
        "own": number == 0,
        "rule": rule,
        "values": {"additions.aim": "25 mV"} if rule == "adaptive" else {"additions.step": "0.1 mL"},
        "searched": searched,
        "confirmed": confirmed,
        "unbeaten": False,
        "picked": False,
        **marks,
    }


def document(*, picked=3):
    settings = [
        setting(0, "adaptive", figures(900.0, 0.5), figures(950.0, 0.45), unbeaten=True),
        setting(1, "foreseeing", figures(250.0, 0.9), figures(260.0, 1.1, ["run 9: 0 of 1 points found"])),
        setting(2, "adaptive", figures(700.0, 0.8)),
        setting(3, "foreseeing", figures(300.0, 0.7), figures(310.0, 0.75), unbeaten=True, picked=picked == 3),
        setting(4, "fixed", figures(2500.0, 0.6, ["run 2: stopped: time"])),
        setting(5, "fixed", figures(2000.0, None, ["run 0: 0 of 1 points found"])),
        setting(6, "foreseeing", figures(290.0, 1.2)),
        setting(7, "fixed", figures(2200.0, 0.7), figures(2100.0, 0.65)),
        setting(8, "fixed", figures(2400.0, 0.75)),
    ]
    return {
        "name": "Iron(II) & $x_",
        "seed": 7,
        "runs": 240,
        "confirmed": {"runs_each": 20},
        "cells": "the method's own, varied",
        "preference": {"name": "balanced", "means": "what it means"},
        "settings": settings,
        "picked": picked,
    }


def composed(told):
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=module.SIZE_INCHES, layout="constrained")
        module.compose(figure, told)
    return figure


def entries(axes):
    """Label, shape and fill of everything in the legend."""
    handles, labels = axes.get_legend_handles_labels()
    lines = [handle[0] if isinstance(handle, tuple) else handle for handle in handles]
    return [
        (label, line.get_marker(), line.get_markerfacecolor() == "white")
        for label, line in zip(labels, lines, strict=True)
    ]


def test_png_and_svg_are_written_and_the_same_sweep_gives_the_same_bytes(tmp_path):
    for name in ("one.svg", "two.svg", "one.png"):
        draw_trade_off(document(), tmp_path / name)
    one = (tmp_path / "one.svg").read_bytes()
    assert one == (tmp_path / "two.svg").read_bytes()
    assert b"<dc:date>" not in one
    assert imread(tmp_path / "one.png").shape[:2] == (832, 1152)


def test_units_stand_on_both_axes_and_it_says_that_it_is_simulated():
    (axes,) = composed(document()).axes
    assert axes.get_xlabel().endswith("/ µL")
    assert axes.get_ylabel().endswith("/ s")
    assert any("simulated" in text.get_text() for text in axes.texts)


def test_rules_and_stages_are_told_apart_without_colour():
    (axes,) = composed(document()).axes
    told = entries(axes)
    styles = [(marker, hollow) for _, marker, hollow in told]
    assert len(told) == 8, told
    assert len(set(styles)) == len(styles)
    assert {marker for label, marker, _ in told if label.startswith("fixed")} == {"s"}


def test_every_setting_with_an_error_is_drawn_where_it_is():
    (axes,) = composed(document()).axes
    drawn = {
        (round(float(x), 6), round(float(y), 6))
        for line in axes.lines
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
    }
    wanted = {
        ((each["confirmed"] or each["searched"])["rms_error_uL"], (each["confirmed"] or each["searched"])["duration_s"])
        for each in document()["settings"]
    }
    assert wanted - {(None, 2000.0)} <= drawn


@pytest.mark.parametrize(("picked", "words"), [(3, ["picked", "as it stands"]), (None, ["as it stands"])])
def test_what_is_picked_and_what_was_there_are_named(picked, words):
    (axes,) = composed(document(picked=picked)).axes
    assert [text.get_text() for text in axes.texts if text.get_text() in {"picked", "as it stands"}] == words


def test_another_ending_is_refused(tmp_path):
    with pytest.raises(ValueError, match=r"\.png or \.svg expected"):
        draw_trade_off(document(), tmp_path / "figure.pdf")


def printed(told, *, terminal=False, width=400):
    out = io.StringIO()
    style = {"highlight": False, "color_system": None, "soft_wrap": True}
    console = Console(file=out, force_terminal=terminal, width=width, **style)
    show_trade_off(console, told)
    return out.getvalue()


def test_confirmed_settings_stand_in_the_table_by_duration():
    lines = printed(document()).splitlines()
    rows = [line.split() for line in lines if " µL" in line and " s " in line]
    assert [row[0] if row[0] != "→" else row[1] for row in rows] == ["1", "3", "as", "7"]
    assert "1 failed" in lines[2]
    assert lines[3].startswith("→  3")
    assert "unbeaten" in lines[3]
    assert all(line == line.rstrip() for line in lines)


def test_it_says_what_was_picked_and_what_that_is_worth():
    told = " ".join(printed(document()).split())
    assert "Preference balanced: what it means." in told
    assert "Picked: setting 3, rule foreseeing: step 0.1 mL." in told
    assert "0.33 times its duration, 1.67 times its rms error" in told
    assert "2 of 9 settings had a run that failed (setting 4, run 2: stopped: time) and cannot be picked." in told
    assert "Nothing can be picked" in printed(document(picked=None))


def test_a_narrow_terminal_keeps_every_row():
    told = printed(document(), terminal=True, width=80)
    assert max(map(len, told.splitlines())) <= 80
    assert "310 s" in told
