"""Runs that refill in the middle, against runs that need not: volumes, steps, and what goes wrong (all simulated)."""

import dataclasses
import math

import pytest
from demonstration import CELL, CONFIGS, METHOD, NOW, setup

from titrator.bench.bench import Bench
from titrator.bench.rig import load_rig
from titrator.bench.simulated import open_simulated
from titrator.control.events import Word
from titrator.control.priming import IN_PLACE, OVER_WASTE
from titrator.record.journal import Journal, JournalError
from titrator.record.journal_reader import read_journal
from titrator.run import course, rehearsal
from titrator.run.attendance import Attendance
from titrator.run.errand_times import priming_settings
from titrator.run.evaluation import evaluate_run
from titrator.run.plan import plan_for
from titrator.run.rehearsal import Setup, rehearse
from titrator.run.standing import Reply

SMALL = CONFIGS / "rigs" / "simulated_small_burette.yaml"
SEEDS = range(1, 11)
"""Fixed before the first of these runs was looked at."""


@pytest.fixture(scope="module")
def small_rig():
    return load_rig(SMALL)


def small(seed, runs, rig=None, **attendance):
    made = setup(seed)
    wanted = Setup(made.method, METHOD, rig or load_rig(SMALL), SMALL, CELL, seed)
    return rehearse(wanted, runs, NOW, Attendance(**attendance))


def lines_of(done):
    return read_journal(done.folder.journal)


def steps_by_the_journal(contents):
    """Steps into the vessel and where the plunger rests, from nothing but the outcomes in the order of the record."""
    position = pushed = 0
    state = "ready"
    for line in contents.lines:
        if line["kind"] == "state" and line["state"] != "halting":
            state = line["state"]
        if "steps" not in line or line["kind"] not in {"outcome", "refill_outcome", "home_outcome", "halt"}:
            continue
        if line["kind"] == "outcome" or (line["kind"] == "halt" and state == "dosing"):
            pushed += line["steps"] - position
        position = line["steps"]
    return pushed, position


@pytest.fixture(scope="module", params=SEEDS)
def pair(request, tmp_path_factory):
    runs = tmp_path_factory.mktemp("runs")
    return rehearse(setup(request.param), runs, NOW), small(request.param, runs)


def test_three_refills_or_more_change_the_equivalence_volume_by_no_more_than_chance(pair):
    large, refilled = pair
    assert large.truth["refills"] == 0
    assert refilled.truth["refills"] >= 3
    assert refilled.truth["equivalence_points_mL"] == large.truth["equivalence_points_mL"]  # same seed, same sample
    (one,) = evaluate_run(large.folder).evaluation.equivalence_points
    (other,) = evaluate_run(refilled.folder).evaluation.equivalence_points
    u_mL = math.hypot(one.u_random_mL, other.u_random_mL)
    assert u_mL < 0.003  # the test has teeth: a hundredth of what one lost filling of the tube would be
    assert abs(one.volume_mL - other.volume_mL) <= 3 * u_mL


def test_the_true_step_count_is_the_journals_over_all_fillings(pair):
    for done in pair:
        contents = lines_of(done)
        pushed, position = steps_by_the_journal(contents)
        assert (pushed, position) == (done.truth["pushed_steps"], done.truth["steps"])
        end = contents.of_kind("end")[-1]
        assert round(end["volume_mL"] / contents.lines[0]["burette"]["step_mL"]) == pushed


def test_every_refill_is_in_the_record_step_by_step_intent_before_and_outcome_after(pair):
    _, refilled = pair
    contents = lines_of(refilled)
    intents, outcomes = contents.of_kind("refill_intent"), contents.of_kind("refill_outcome")
    assert len(intents) == len(outcomes)
    assert all(
        intent["n"] < outcome["n"] < following["n"]
        for intent, outcome, following in zip(intents, outcomes, intents[1:], strict=False)
    )
    does = [intent["does"] for intent in intents]
    one = ["turn the valve", "draw", "rest", "push aside", "turn the valve"]
    assert does == one * (len(does) // 5)
    assert [intent.get("to") for intent in intents[::5]] == ["the reservoir"] * (len(does) // 5)
    assert all(outcome["confirmed"] for outcome in outcomes if "valve" in outcome)
    # The first refill begins at home, where only the backlash is to be taken up.
    # One more than those in the record of refills is the look at the home switch behind the end.
    assert len(does) // 5 + 1 == refilled.truth["refills"] + 1
    (home,) = contents.of_kind("home")
    assert home["what"] == "the home switch closed where it was expected"
    doses = [line["dose"] for line in contents.lines if line["kind"].endswith("intent") and "dose" in line]
    assert doses == sorted(set(doses))


def test_no_point_lies_within_an_addition_that_a_refill_cut_and_it_counts_once(pair):
    _, refilled = pair
    contents = lines_of(refilled)
    cut = [intent for intent in contents.of_kind("intent") if intent.get("more")]
    assert len(cut) >= 2
    points = {round(point["volume_mL"], 6) for point in contents.of_kind("point")}
    assert not points & {round(intent["volume_mL"], 6) for intent in cut}
    evaluated = evaluate_run(refilled.folder)
    assert evaluated.additions == len(points) - 1


def test_the_same_seed_gives_the_same_journal_to_the_byte(pair, tmp_path):
    _, refilled = pair
    seed = lines_of(refilled).lines[0]["seed"]
    assert small(seed, tmp_path).folder.journal.read_bytes() == refilled.folder.journal.read_bytes()


def test_backlash_that_nobody_takes_up_would_be_found_by_the_comparison(tmp_path, small_rig, monkeypatch):
    careless = small_rig.model_copy(update={"burette": small_rig.burette.model_copy(update={"backlash_mL": 0.0})})
    sound = rehearse(setup(1), tmp_path, NOW)
    monkeypatch.setattr(rehearsal, "open_simulated", lambda _rig, *rest: open_simulated(small_rig, *rest))
    lost = small(1, tmp_path, careless)
    (one,) = evaluate_run(sound.folder).evaluation.equivalence_points
    (other,) = evaluate_run(lost.folder).evaluation.equivalence_points
    assert other.volume_mL - one.volume_mL > 10 * math.hypot(one.u_random_mL, other.u_random_mL)


# ------------------------------------------------------------------------------------------- what goes wrong


@pytest.fixture
def disturbed(monkeypatch):
    """Lets a test lay hands on the simulated board before the run begins."""

    def disturb(hand):
        def opened(*rest):
            world = open_simulated(*rest)
            hand(world.board)
            return world

        monkeypatch.setattr(rehearsal, "open_simulated", opened)

    return disturb


@pytest.mark.parametrize("fault", ["stuck", "slow", "wrong report"])
@pytest.mark.parametrize("sound_turns", range(4))
def test_a_valve_fault_ends_faulted_with_the_volume_known(tmp_path, disturbed, fault, sound_turns):
    def hand(board):
        board._valve._valve._fault, board._valve._valve._sound_turns = fault, sound_turns

    disturbed(hand)
    ended = small(3, tmp_path)
    contents = lines_of(ended)
    end = contents.of_kind("end")[-1]
    assert (end["state"], end["cause"]) == ("faulted", "burette")
    assert "the valve should be at" in end["why"]
    assert steps_by_the_journal(contents) == (ended.truth["pushed_steps"], ended.truth["steps"])
    assert round(end["volume_mL"] / 0.000625) == ended.truth["pushed_steps"]


def test_steps_lost_behind_the_last_refill_are_found_at_the_end(tmp_path, small_rig):
    """Within an addition near the end, after which nothing is refilled but for the look at the switch."""
    made = setup(1, ("lost-steps@13.2 mL",))
    done = rehearse(Setup(made.method, METHOD, small_rig, SMALL, CELL, 1, made.faults), tmp_path, NOW)
    contents = lines_of(done)
    (uncertain,) = contents.of_kind("uncertain")
    assert uncertain["n"] > contents.of_kind("end")[-1]["n"]
    assert uncertain["low_steps"] <= done.truth["pushed_steps"] <= uncertain["high_steps"]
    assert any("uncertain" in warning for warning in evaluate_run(done.folder).warnings)


def test_lost_steps_are_found_at_the_next_refill_and_the_volume_is_called_uncertain(tmp_path, disturbed):
    disturbed(lambda board: board.burette.slip_next(50))
    # The slip strikes the first push, which takes up the backlash; the switch tells at the second refill.
    end = lines_of(small(3, tmp_path)).of_kind("end")[-1]
    assert (end["state"], end["cause"]) == ("faulted", "burette")
    assert "50 steps" in end["why"]
    assert "uncertain" in end["why"]


@pytest.fixture
def speaker(monkeypatch):
    """Says words when the record gets a line of a kind for the so-manieth time, a few events apart."""

    def speak(kind, count, *words):
        write, seen, waiting, asked = Journal.write, [], list(words), []

        def counted(self, what, t_s, fields, *, durable=False):
            write(self, what, t_s, fields, durable=durable)
            seen.extend([what] * (what == kind))

        def word():
            if not waiting or len(seen) < count:
                return None
            asked.append(1)
            return waiting.pop(0) if len(asked) % 4 == 1 else None

        monkeypatch.setattr(Journal, "write", counted)
        return word

    return speak


@pytest.mark.parametrize("count", range(6, 11))  # each step of the second refill
@pytest.mark.parametrize("goes_on", [True, False])
def test_a_hold_or_stop_within_any_step_of_a_refill_leaves_everything_accounted_for(tmp_path, speaker, count, goes_on):
    words = (Word.HOLD, Word.CONTINUE) if goes_on else (Word.STOP,)
    ended = small(4, tmp_path, word=speaker("refill_intent", count, *words))
    contents = lines_of(ended)
    end = contents.of_kind("end")[-1]
    assert end["state"] == ("finished" if goes_on else "stopped")
    assert steps_by_the_journal(contents) == (ended.truth["pushed_steps"], ended.truth["steps"])
    assert round(end["volume_mL"] / 0.000625) == ended.truth["pushed_steps"]
    if goes_on:
        (held,) = [line for line in contents.of_kind("state") if line["state"] == "held"]
        assert held["came_from"] == "refilling"
        (found,) = evaluate_run(ended.folder).evaluation.equivalence_points
        assert abs(found.volume_mL - ended.truth["equivalence_points_mL"][0]) < 4 * found.u_random_mL


def test_no_step_of_a_refill_is_taken_that_cannot_be_recorded(tmp_path, monkeypatch):
    write, draws = Journal.write, []
    draw = Bench.draw

    def failing(self, kind, t_s, fields, *, durable=False):
        if kind == "refill_intent" and fields["does"] == "draw":
            raise JournalError("expected to append to the journal, got: no space left on device")
        write(self, kind, t_s, fields, durable=durable)

    monkeypatch.setattr(Journal, "write", failing)
    monkeypatch.setattr(Bench, "draw", lambda *args: draws.append(args) or draw(*args))
    end = lines_of(small(4, tmp_path)).of_kind("end")[-1]
    assert end["state"] == "faulted"
    assert draws == []


# ------------------------------------------------------------------------------------------------- priming


@pytest.fixture
def primed(tmp_path, monkeypatch, small_rig):
    """A run that is primed first; `answers` by the text of the question, once each."""

    def run(answers, *, empty_first=False, hand=lambda _board: None):
        settings = priming_settings(small_rig.burette, 0.75, empty_first=empty_first)
        monkeypatch.setattr(course, "plan_for", lambda method, rig: plan_for(method, rig, priming=settings))
        begin_run = Bench.begin_run
        travel_mL = 0.75 + small_rig.burette.stroke_mL * empty_first
        monkeypatch.setattr(Bench, "begin_run", lambda self, *rest, **_: begin_run(self, *rest, priming_mL=travel_mL))
        worlds = []

        def opened(*rest):
            worlds.append(open_simulated(*rest))
            hand(worlds[-1].board)
            return worlds[-1]

        monkeypatch.setattr(rehearsal, "open_simulated", opened)
        standings, moved = [], []

        def word():
            question = standings[-1].question
            if question is None or not answers:
                return None
            if question.text == OVER_WASTE:
                moved.append(worlds[-1].truth()["steps"])
            text, yes = answers.pop(0)
            assert text == question.text
            return Reply(question.number, yes, by="operator", where="terminal")

        done = small(5, tmp_path, watch=standings.append, word=word)
        return done, moved

    return run


@pytest.mark.parametrize("empty_first", [False, True])
def test_priming_comes_behind_one_question_and_before_another_and_all_of_it_is_recorded(primed, empty_first):
    done, moved = primed([(OVER_WASTE, True), (IN_PLACE, True)], empty_first=empty_first)
    contents = lines_of(done)
    assert moved == [0]  # nothing had moved when the question stood
    assert contents.of_kind("end")[-1]["state"] == "finished"
    kinds = [line["kind"] for line in contents.lines]
    questions, answers = contents.of_kind("question"), contents.of_kind("answer")
    assert [line["text"] for line in questions] == [OVER_WASTE, IN_PLACE]
    assert [line["yes"] for line in answers] == [True, True]
    first, last = kinds.index("priming_intent"), len(kinds) - 1 - kinds[::-1].index("priming_outcome")
    assert questions[0]["n"] < answers[0]["n"] < first < last < questions[1]["n"] < answers[1]["n"]
    assert answers[1]["n"] < kinds.index("readings")
    states = [line["state"] for line in contents.of_kind("state")]
    assert states[:5] == ["held", "priming", "halting", "held", "initial"]
    purge = 1200 + empty_first * (6400 - 16)  # 0.75 mL and, for another titrant, all that the burette held
    delivered = round(contents.of_kind("end")[-1]["volume_mL"] / 0.000625)
    assert done.truth["pushed_steps"] == purge + delivered


def test_a_no_to_the_first_question_moves_nothing(primed):
    done, _ = primed([(OVER_WASTE, False)])
    contents = lines_of(done)
    assert contents.of_kind("end")[-1]["state"] == "stopped"
    assert (done.truth["pushed_steps"], done.truth["steps"]) == (0, 0)
    assert contents.of_kind("priming_intent") == []


def test_without_an_answer_nothing_moves_and_the_run_ends_by_its_time(primed):
    done, _ = primed([])
    assert done.truth["steps"] == 0
    assert lines_of(done).of_kind("end")[-1]["cause"] == "time"


def test_a_valve_fault_in_priming_ends_faulted(primed):
    def hand(board):
        board._valve._valve._fault = "stuck"

    done, _ = primed([(OVER_WASTE, True)], hand=hand)
    end = lines_of(done).of_kind("end")[-1]
    assert (end["state"], end["cause"]) == ("faulted", "burette")
    assert done.truth["pushed_steps"] == 0


def test_priming_waits_as_long_as_it_may_take_and_no_longer(small_rig):
    burette = small_rig.burette
    settings = priming_settings(burette, 0.75, empty_first=True)
    # By hand: three fillings of 4.01 mL and pushes of 4.75 mL at 5 mL/min, rests of 3 s, six turns of 2 s.
    assert settings.errand.takes_s == pytest.approx(3 * (60 * 4.01 / 5 + 3 + 4) + 60 * 4.75 / 5)
    assert settings.errand.within_s > 1.4 * settings.errand.takes_s
    with pytest.raises(ValueError, match="no sample in place"):
        dataclasses.replace(plan_for(setup(1).method, small_rig, priming=settings), sample_in_place=True)
