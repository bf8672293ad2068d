"""The controller on a perfect bench: curve from the published hand formulas' exact balance, no wire and no lag."""

import math

import pytest
from bench_stub import PerfectBench
from plans import FixedSettings, plan

from titrator.control.actions import Enter, Finish, Halt, Log, MoveTo, Sample
from titrator.control.controller import Controller
from titrator.control.ends import Cause
from titrator.control.events import Begin, Halted, LinkLost, MoveDone, OperatorSaid, Reading, Tick, Trouble, Word
from titrator.control.states import State


def iron_with_cerium(equivalence_mL: float = 17.0):
    """E(V) against Ag/AgCl of the 1:1 balance V = Ve(1 + e2)/(1 + e1) (closed form; a trace of iron(III) at V = 0)."""
    slope_mV, analyte_mV, titrant_mV = 25.26, 470.0, 1230.0

    def potential_mV(volume_mL: float) -> float:
        low, high = -500.0, 2000.0
        for _ in range(80):
            middle = 0.5 * (low + high)
            e1 = math.exp(-(middle - analyte_mV) / slope_mV)
            e2 = math.exp((middle - titrant_mV) / slope_mV)
            low, high = (middle, high) if equivalence_mL * (1 + e2) / (1 + e1) < volume_mL + 0.005 else (low, middle)
        return 0.5 * (low + high)

    return potential_mV


def ran(potential_mV, **changes) -> PerfectBench:
    bench = PerfectBench(Controller(plan(**changes)), potential_mV)
    bench.run()
    return bench


def test_a_whole_titration_ends_with_enough_points_past_the_jump():
    bench = ran(iron_with_cerium())
    assert bench.finish.state is State.FINISHED
    assert bench.finish.ending.cause is Cause.POINTS
    volumes = [point.volume_mL for point in bench.points]
    assert volumes == sorted(volumes)
    assert sum(volume > 17.0 for volume in volumes) >= 6
    assert len(volumes) <= 45


def test_additions_shrink_towards_the_jump_and_grow_behind_it():
    bench = ran(iron_with_cerium())
    steps = [b.volume_mL - a.volume_mL for a, b in zip(bench.points, bench.points[1:], strict=False)]
    far = [step for step, point in zip(steps, bench.points, strict=False) if 4.0 < point.volume_mL < 10.0]
    near = [step for step, point in zip(steps, bench.points, strict=False) if 16.97 < point.volume_mL < 17.0]
    assert min(far) > 0.5
    assert max(near) <= 0.03
    assert steps[-1] > 5 * min(near)


@pytest.mark.parametrize("equivalence_mL", [3.0, 8.0, 12.3, 17.0, 21.9])
def test_the_jump_is_never_overshot_by_more_than_two_least_additions(equivalence_mL):
    # The exact curve lets the rule foresee the jump: the first point behind it lies within 0.04 mL (2 x least).
    bench = ran(iron_with_cerium(equivalence_mL))
    behind = min(point.volume_mL for point in bench.points if point.volume_mL > equivalence_mL)
    assert behind - equivalence_mL <= 0.04


def test_a_falling_curve_is_titrated_alike():
    rising = iron_with_cerium()
    bench = ran(lambda volume_mL: 700.0 - rising(volume_mL))
    assert bench.finish.ending.cause is Cause.POINTS
    assert len(bench.points) == len(ran(rising).points)


def test_fixed_additions_are_equal():
    bench = ran(iron_with_cerium(5.0), additions=FixedSettings(0.25))
    steps = {round(b.volume_mL - a.volume_mL, 9) for a, b in zip(bench.points, bench.points[1:], strict=False)}
    assert steps == {0.25}
    assert bench.finish.ending.cause is Cause.POINTS


def test_ends_at_the_volume_limit_and_never_delivers_more():
    bench = ran(iron_with_cerium(30.0))
    assert bench.finish.state is State.FINISHED
    assert bench.finish.ending.cause is Cause.VOLUME
    assert max(bench.moves) <= 24.5


def test_ends_beyond_the_potential():
    bench = ran(iron_with_cerium(), potential_beyond_mV=600.0)
    assert bench.finish.ending.cause is Cause.POTENTIAL
    assert bench.points[-1].potential_mV >= 600.0 > bench.points[-2].potential_mV


def test_ends_by_time():
    bench = ran(iron_with_cerium(), time_over_s=60.0)
    assert bench.finish.ending.cause is Cause.TIME
    assert bench.finish.state is State.FINISHED


@pytest.mark.parametrize(
    ("potential_mV", "cause_named"),
    [
        (lambda _v: 0.4, "shorted"),
        (lambda _v: 2000.0, "not connected"),
        (lambda _v: -2000.0, "not connected"),
        (lambda _v: 900.0, "already oxidised"),
        (lambda _v: 100.0, "swapped"),
    ],
)
def test_an_implausible_start_ends_before_the_first_drop(potential_mV, cause_named):
    bench = ran(potential_mV)
    assert bench.finish.state is State.FAULTED
    assert bench.finish.ending.cause is Cause.ELECTRODE
    assert cause_named in bench.finish.ending.sentence
    assert bench.moves == []


def test_a_dead_input_within_the_window_ends_soon_after_the_first_drops():
    bench = ran(lambda _v: 300.0)
    assert bench.finish.state is State.FAULTED
    assert "changed by only" in bench.finish.ending.sentence
    assert max(bench.moves) <= 1.0  # within twice the volume that the method states


def test_an_input_that_scatters_like_an_open_one_ends_before_the_first_drop():
    controller = Controller(plan())
    bench = PerfectBench(controller, lambda _v: 300.0)
    bench.tell(Begin(0.0))
    for index in range(2000):
        bench.t_s += 0.1
        bench.tell(Reading(bench.t_s, 300.0 + (40.0 if index % 2 else -40.0)))
        if bench.finish:
            break
    assert bench.finish is not None
    assert "scatter" in bench.finish.ending.sentence
    assert bench.moves == []


class TestWords:
    """Events fed by hand; the controller alone."""

    def begun(self) -> Controller:
        controller = Controller(plan())
        actions = controller.handle(Begin(10.0))
        assert [type(action) for action in actions] == [Enter, Sample]
        return controller

    def dosing(self) -> tuple[Controller, MoveTo, float]:
        controller = self.begun()
        t_s, ripple = 10.0, 0.1
        while True:
            t_s, ripple = t_s + 0.1, -ripple
            for action in controller.handle(Reading(t_s, 300.0 + ripple)):
                if isinstance(action, MoveTo):
                    return controller, action, t_s

    def test_hold_in_a_dose_halts_and_continue_plans_a_new_one(self):
        controller, move, t_s = self.dosing()
        actions = controller.handle(OperatorSaid(t_s + 0.2, Word.HOLD))
        assert any(isinstance(action, Halt) for action in actions)
        controller.handle(Halted(t_s + 0.3, move.volume_mL / 2))
        assert controller.state is State.HELD
        assert controller.handle(Reading(t_s + 0.4, 300.0)) == []
        controller.handle(OperatorSaid(t_s + 5.0, Word.CONTINUE))
        assert controller.state is State.SETTLING
        ripple = 0.1
        for index in range(600):
            ripple = -ripple
            moves = [a for a in controller.handle(Reading(t_s + 6 + 0.1 * index, 320.0 + ripple)) if type(a) is MoveTo]
            if moves:
                assert moves[0].dose > move.dose
                assert moves[0].volume_mL > move.volume_mL / 2
                return
        raise AssertionError("no new dose was planned")

    def test_hold_before_the_first_point_reads_the_initial_potential_again(self):
        controller = self.begun()
        controller.handle(OperatorSaid(11.0, Word.HOLD))
        controller.handle(Halted(11.1, 0.0))
        controller.handle(OperatorSaid(20.0, Word.CONTINUE))
        assert controller.state is State.INITIAL

    def test_stop_in_a_dose_halts_and_ends_stopped(self):
        controller, _, t_s = self.dosing()
        controller.handle(OperatorSaid(t_s + 0.2, Word.STOP))
        actions = controller.handle(Halted(t_s + 0.3, 0.05))
        assert isinstance(actions[-1], Finish)
        assert controller.state is State.STOPPED

    def test_a_graver_reason_replaces_a_lighter_one_while_halting(self):
        controller, _, t_s = self.dosing()
        controller.handle(OperatorSaid(t_s + 0.2, Word.HOLD))
        controller.handle(Trouble(t_s + 0.25, "the board restarted"))
        controller.handle(OperatorSaid(t_s + 0.27, Word.STOP))  # lighter than a fault: changes nothing
        controller.handle(Halted(t_s + 0.3, 0.05))
        assert controller.state is State.FAULTED
        assert controller.ending.sentence == "the board restarted"

    def test_a_halt_that_is_not_confirmed_ends_faulted_and_says_that_the_volume_is_uncertain(self):
        controller, _, t_s = self.dosing()
        controller.handle(LinkLost(t_s + 0.2, "no answer"))
        actions = controller.handle(Tick(t_s + 10.0))
        assert controller.state is State.FAULTED
        assert isinstance(actions[-1], Finish)
        assert "uncertain" in actions[-1].ending.sentence
        assert "no answer" in actions[-1].ending.sentence

    def test_a_move_that_is_never_reported_is_a_fault(self):
        controller, _, t_s = self.dosing()
        actions = controller.handle(Tick(t_s + 60.0))
        assert any(isinstance(action, Halt) for action in actions)
        controller.handle(Halted(t_s + 60.1, 0.1))
        assert controller.state is State.FAULTED

    def test_a_move_that_rests_elsewhere_is_a_fault(self):
        controller, move, t_s = self.dosing()
        controller.handle(MoveDone(t_s + 1.0, move.dose, move.volume_mL - 0.01, True))
        controller.handle(Halted(t_s + 1.1, move.volume_mL - 0.01))
        assert controller.state is State.FAULTED
        assert controller.ending.cause is Cause.BURETTE

    def test_silence_of_the_amplifier_is_a_fault(self):
        controller = self.begun()
        controller.handle(Tick(10.0 + 200.0))
        controller.handle(Halted(210.1, 0.0))
        assert controller.state is State.FAULTED
        assert "no reading" in controller.ending.sentence

    def test_readings_of_the_addition_in_a_late_block_are_not_taken_for_the_wait(self):
        controller, move, t_s = self.dosing()
        controller.handle(MoveDone(t_s + 1.0, move.dose, move.volume_mL, True))
        assert controller.state is State.SETTLING
        assert controller.handle(Reading(t_s + 0.9, 300.0)) == []

    def test_a_finished_run_takes_anything_and_does_nothing(self):
        controller, _, t_s = self.dosing()
        controller.handle(OperatorSaid(t_s, Word.STOP))
        controller.handle(Halted(t_s, 0.0))
        for event in (Begin(t_s), Reading(t_s, 1.0), Tick(t_s + 1e6), Trouble(t_s, "x"), MoveDone(t_s, 1, 0.1, True)):
            assert controller.handle(event) == []

    def test_no_point_is_logged_twice_to_the_rules_at_one_volume(self):
        controller, move, t_s = self.dosing()
        controller.handle(MoveDone(t_s + 1.0, move.dose, move.volume_mL, True))
        controller.handle(OperatorSaid(t_s + 2.0, Word.HOLD))
        controller.handle(Halted(t_s + 2.1, move.volume_mL))
        controller.handle(OperatorSaid(t_s + 3.0, Word.CONTINUE))
        ripple, logs = 0.1, 0
        for index in range(600):
            ripple = -ripple
            for action in controller.handle(Reading(t_s + 4 + 0.1 * index, 320.0 + ripple)):
                logs += isinstance(action, Log)
                if isinstance(action, MoveTo):
                    assert logs == 1
                    return
