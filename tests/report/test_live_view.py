"""The picture of a run on a terminal of 80 and of 40 columns, and in plain lines."""

import datetime
import io
import re

import pytest
from rich.console import Console

from titrator.control.forecast import Foreseen
from titrator.control.holds import Hold, HoldCause, Question
from titrator.control.point import Point
from titrator.control.states import State
from titrator.report.closing import show_closing
from titrator.report.live_view import LiveView
from titrator.report.plain_view import PlainView
from titrator.report.sentence import about, sentence
from titrator.run.standing import Standing

SETTLING = Standing(
    t_s=610.0, state=State.SETTLING, why="waiting for the potential to settle", since_s=598.0, hold=None, question=None,
    volume_mL=12.405, target_mL=12.405, potential_mV=512.34, drift_mV_per_s=0.0213, remaining_s=14.0, points=22,
    foreseen=Foreseen(17.02, 11, 372.0),
)  # fmt: skip
HELD = SETTLING._replace(state=State.HELD, hold=Hold(HoldCause.OPERATOR, State.SETTLING), remaining_s=None)
ASKED = HELD._replace(hold=Hold(HoldCause.QUESTION, State.PRIMING), question=Question(1, "Is the tip over waste?"))
POINT = Point(22, 598.0, 12.405, 512.3, 0.02, 0.0, 0.01, 0.1, 0.05, 0.01, True, 14.2, 142)
NOON = datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.UTC)
CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f]")


def terminal(width, **options):
    options = {"force_terminal": True, "color_system": None, "legacy_windows": False} | options
    return Console(file=io.StringIO(), width=width, height=24, highlight=False, **options)


def picture(standing, width, clock=None):
    """What a terminal of this width shows of a moment."""
    console = terminal(width)
    view = LiveView(console, 24.5, "12", clock)
    with console.capture() as captured:
        console.print(view.draw(standing))
    return captured.get()


@pytest.mark.parametrize("width", [80, 40])
def test_leads_with_a_sentence_then_volume_potential_state_and_forecast(width):
    lines = picture(SETTLING, width).splitlines()
    assert max(map(len, lines)) <= width
    text = " ".join(" ".join(lines).split())
    order = [
        "Waiting for the potential to settle: about 15 s more.",
        "12.4050 mL of at most 24.5 mL",
        "512.3 mV, drift +0.021 mV/s",
        "settling for 12 s, 22 points",
        "jump near 17.0 mL, end in about 6 min",
        "titrator hold 12",
        "titrator stop 12",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)


@pytest.mark.parametrize("width", [80, 40])
def test_the_bar_tells_how_far_it_is_and_where_the_jump_is_foreseen(width):
    bar = next(line for line in picture(SETTLING, width).splitlines() if "◇" in line).strip()
    assert bar.count("━") / len(bar) == pytest.approx(12.405 / 24.5, abs=1 / len(bar))
    assert bar.index("◇") / len(bar) == pytest.approx(17.02 / 24.5, abs=1 / len(bar))


def test_a_terminal_of_another_alphabet_gets_a_bar_that_it_can_show():
    console = terminal(80)
    console.file = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    with console.capture() as captured:
        console.print(LiveView(console, 24.5, "12", None).draw(SETTLING))
    assert "=====" in captured.get()
    assert "━" not in captured.get()


def test_a_bench_tells_the_end_by_the_clock_too_and_nothing_foreseen_is_unknown():
    assert "end in about 6 min (at 12:06)" in picture(SETTLING, 80, lambda: NOON)
    assert "unknown" in picture(SETTLING._replace(foreseen=None), 80)


def test_a_held_run_says_by_whom_and_how_to_go_on():
    text = " ".join(picture(HELD, 80).split())
    assert text.startswith("Held by the operator")
    assert "titrator continue 12" in text
    assert "held for 12 s, from settling" in text
    link = HELD._replace(hold=Hold(HoldCause.LINK, State.DOSING))
    assert "board did not answer" in sentence(link, "12")


@pytest.mark.parametrize("state", list(State))
def test_every_state_has_its_sentence(state):
    told = sentence(SETTLING._replace(state=state), "12")
    assert told.endswith(".")
    assert told[0].isupper()


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.4, "a moment"), (7.4, "about 7 s"), (43.0, "about 45 s"), (600.0, "about 10 min"), (9000.0, "about 2.5 h")],
)
def test_durations_are_told_no_finer_than_they_are_known(seconds, words):
    assert about(seconds) == words


def test_a_question_leaves_the_terminal_to_its_answer():
    console = terminal(80)
    view = LiveView(console, 24.5, "12", None)
    view.show(SETTLING)
    view.show(ASKED)
    asked = len(console.file.getvalue())
    view.show(ASKED)
    assert len(console.file.getvalue()) == asked  # nothing is drawn over what is being typed
    assert "Is the tip over waste?" in console.file.getvalue()
    view.show(SETTLING)
    assert len(console.file.getvalue()) > asked
    view.close()


class GoneTerminal(io.StringIO):
    """A terminal whose window was closed."""

    def write(self, _text):
        raise OSError(5, "Input/output error")


def test_a_terminal_that_is_gone_silences_the_view_and_nothing_else():
    console = Console(file=GoneTerminal(), force_terminal=True, width=80)
    view = LiveView(console, 24.5, "12", None)
    view.show(SETTLING)
    view.observe(State.DECIDING, "", POINT)
    view.close()
    plain = PlainView(GoneTerminal(), "12")
    plain.show(SETTLING)
    plain.observe(State.DECIDING, "", POINT)


@pytest.mark.parametrize("settled", [True, False])
@pytest.mark.parametrize("width", [80, 40])
def test_points_scroll_by_on_one_line_each(width, settled):
    console = terminal(width)
    LiveView(console, 24.5, "12", None).observe(State.DECIDING, "", POINT._replace(settled=settled))
    (line,) = console.file.getvalue().splitlines()
    assert len(line) <= width
    for words in ("22", "12.4050 mL", "512.3 mV"):
        assert words in line


@pytest.mark.parametrize(
    ("lacking_mV", "settled", "width", "told"),
    [
        (40.2, True, 80, "512.3 mV   end forecast at 552.5 mV in 14.2 s"),
        (-40.2, True, 40, "472.1 mV  14 s est."),
        (0.05, True, 80, "512.3 mV   settled in 14.2 s"),
        (40.2, False, 80, "512.3 mV   not settled in 14.2 s"),
    ],
)
def test_a_reading_whose_end_was_forecast_is_not_called_settled(lacking_mV, settled, width, told):
    point = POINT._replace(lacking_mV=lacking_mV, settled=settled)
    console = terminal(width)
    LiveView(console, 24.5, "12", None).observe(State.DECIDING, "", point)
    assert console.file.getvalue().rstrip().endswith(told)
    stream = io.StringIO()
    PlainView(stream, "12").observe(State.DECIDING, "", point)
    assert ("its end forecast at" in stream.getvalue()) is ("settled" not in told)
    assert ("settled" in stream.getvalue()) is ("settled" in told)


def test_without_colour_there_is_none(monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    console = terminal(80, color_system="truecolor")
    LiveView(console, 24.5, "12", None).show(SETTLING)
    assert not re.search(r"\x1b\[[0-9;]*3[0-7]m", console.file.getvalue())


def test_plain_lines_hold_no_control_characters_and_lead_with_the_time_of_the_run():
    stream = io.StringIO()
    view = PlainView(stream, "12")
    view.show(SETTLING._replace(foreseen=None))
    view.observe(State.DECIDING, "", POINT._replace(t_s=640.0))
    view.show(SETTLING._replace(t_s=650.0))
    view.show(SETTLING._replace(t_s=651.0))
    view.show(SETTLING._replace(t_s=760.0, remaining_s=30.0))
    view.show(ASKED._replace(t_s=761.0))
    lines = stream.getvalue().splitlines()
    assert not CONTROL.search(stream.getvalue())
    assert lines == [
        "   0:30  point 22: 12.4050 mL, 512.3 mV, settled after 14.2 s",
        "   0:40  jump foreseen near 17.0 mL, end in about 6 min",
        "   2:30  Waiting for the potential to settle: about 30 s more.",
        "   2:31  Held until you answer: Is the tip over waste? Answer with: titrator answer 12 yes|no",
    ]


@pytest.mark.parametrize("width", [80, 40])
def test_the_closing_table_keeps_to_the_width(width):
    point = {"volume_mL": 14.24668, "u_random_mL": 0.0005, "u_mL": 0.0165, "interval_95_mL": [14.2454, 14.2479],
             "potential_mV": 828.0, "found_by": "model-fit"}  # fmt: skip
    document = {
        "results": [{"name": "iron(II)", "value": 1.4247, "unit": "mol/L", "u": 0.0037, "U": 0.0072, "k": 1.96,
                     "interval_95": [1.4175, 1.4318], "interval_from": "GUM", "monte_carlo": None,
                     "from_estimate": False, "budget": []}],
        "equivalence_points": [point], "estimates": [], "by_method": [{"way": "model-fit", **point}],
        "state": "finished", "ended_because": "6 points logged past the jump", "duration_s": 870.0, "additions": 28,
        "points": 29, "readings_in_passing": 17, "delivered_mL": 14.861, "simulated": True, "seed": None,
        "warnings": ["a rather long warning that tells about the readings and is longer than a line of eighty columns"],
    }  # fmt: skip
    console = terminal(width)
    show_closing(console, document)
    shown = console.file.getvalue()
    assert max(len(line.rstrip()) for line in shown.splitlines()) <= width
    assert "1.4247 ± 0.0072" in shown
