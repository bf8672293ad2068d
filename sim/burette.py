"""A simulated syringe burette: what really leaves the tip while the motor counts its steps."""

import math
from collections.abc import Callable
from random import Random

from sim.bubble import Bubble
from sim.outlet import Outlet

SUCKED_GAS = 0.01
"""Part of a refill that is gas when it is drawn twice as fast as it may be, or faster. Invented."""


class SimulatedBurette:
    """Steps in, delivered volume out, in virtual microseconds.

    At rest at an absolute target the volume that has left the syringe is `pushed · step_mL · (1 + calibration)` plus
    one draw from N(0, random_error_mL) of this target's own, where `pushed` counts the steps that pushed liquid out:
    the error is about the target and does not add up from dose to dose. Between two rests the volume goes in a straight
    line, so the error of one target fades into that of the next; it never goes back, so a draw that would withdraw
    liquid ends where the motion began. `calibration` is a fraction: 0.001 delivers 0.1 % more than the steps indicate.
    What has left the syringe is delivered at once, unless bubbles or the tip are in its way (`outlet`).

    A spindle has play: after a reversal the plunger follows only when `backlash_steps` are taken up. Both ends of a
    refill lose them. `refill_error_mL` is the standard deviation of what each refill leaves wrong for good, in every
    later volume. A refill faster than `quiet_filling_mL_per_s` sucks gas: a hundredth of what it draws at twice that
    speed and above, in proportion below, as a bubble.

    Faults (the methods that say so) may come in the midst of a push, which goes on with them from the step in hand; in
    the midst of a refill they come as it ends.
    """

    def __init__(
        self,
        *,
        step_mL: float,
        calibration: float,
        random_error_mL: float,
        random: Random,
        backlash_steps: int = 0,
        refill_error_mL: float = 0.0,
        refill_random: Random | None = None,
        quiet_filling_mL_per_s: float = math.inf,
        drop_random: Random | None = None,
    ) -> None:
        self.step_mL = step_mL
        self.calibration = calibration
        self._random_error_mL = random_error_mL
        self._random = random
        self._backlash_steps = backlash_steps
        self._refill_error_mL = refill_error_mL
        self._refill_random = refill_random or Random(0)
        self._quiet_filling_mL_per_s = quiet_filling_mL_per_s
        self._drop_random = drop_random or Random(0)
        self.steps = 0
        """Steps that the motor counts, at rest or where the motion under way began. A refill counts down."""
        self.pushed_steps = 0
        """Steps of the plunger that went into the vessel, alike at rest."""
        self.refills = 0
        self.stalled = False
        self.outlet: Outlet | None = None
        """What is wrong between plunger and vessel; None while nothing is."""
        self.before_motion: Callable[[int], None] | None = None
        """Called with the time in microseconds before each motion: where faults come due."""
        self._slack_steps = backlash_steps  # to be taken up before a push moves the plunger: it stands at home
        self._slipped = 0  # counted, and made by nothing
        self._slip_next = 0
        self._now_delivering = 1.0 + calibration  # times step_mL
        self._shift_mL = 0.0
        self._left_mL = 0.0
        self._began_us = 0
        self._step_us = 1
        self._going_steps = 0  # negative: back
        self._idle_steps = 0  # of those going, the first so many move no liquid
        self._idle_slips = 0  # and of these, the first so many not even the carriage
        self._going_mL = 0.0
        self._into_vessel = True

    @property
    def moving(self) -> bool:
        """Whether a motion is under way."""
        return self._going_steps != 0

    @property
    def carriage_steps(self) -> int:
        """Where the carriage truly stands at rest, from the home switch on."""
        return self.steps - self._slipped

    def start(self, now_us: int, steps: int, step_us: int, *, into_vessel: bool = True) -> int:
        """Begin to push by `steps`, or to draw where they are negative, each taking `step_us`; when it will end.

        At rest only; whoever draws has turned the valve away from the vessel.
        """
        assert not self.moving
        assert steps >= 0 or not into_vessel
        if self.before_motion is not None:
            self.before_motion(now_us)
        if steps == 0:
            return now_us
        self.delivered_mL(now_us)
        self._began_us, self._step_us, self._going_steps = now_us, step_us, steps
        self._into_vessel, self._going_mL = into_vessel, 0.0
        self._plan_idle()
        if into_vessel and steps > self._idle_steps:
            target_mL = (self.pushed_steps + steps - self._idle_steps) * self.step_mL * self._now_delivering
            target_mL += self._random.gauss(0.0, self._random_error_mL)
            self._going_mL = max(0.0, target_mL + self._shift_mL - self._left_mL)
        return now_us + abs(steps) * step_us

    def _plan_idle(self) -> None:
        """Say how many of the steps going will move nothing."""
        steps = self._going_steps
        if steps < 0:
            self._idle_slips = self._idle_steps = 0
        else:
            self._idle_slips = steps if self.stalled else min(steps, self._slip_next)
            self._idle_steps = min(steps, self._idle_slips + self._slack_steps)

    def stop(self, now_us: int) -> int:
        """End the motion, on time or before; the steps at rest. A step in hand is finished, so the count is exact."""
        if not self.moving:
            return self.steps
        done = self._done(now_us)
        if self._going_steps < 0:
            self._drawn(done)
        else:
            self._pushed(done)
        self._going_steps = 0
        self.delivered_mL(now_us)
        return self.steps

    def _done(self, now_us: int) -> int:
        return min(-((self._began_us - now_us) // self._step_us), abs(self._going_steps))

    def _pushed(self, done: int) -> None:
        slipped = min(done, self._idle_slips)
        self._slip_next = max(0, self._slip_next - slipped)
        self._slipped += slipped
        self._slack_steps -= min(done - slipped, self._idle_steps - self._idle_slips)
        self.steps += done
        made = max(0, done - self._idle_steps)
        if self._into_vessel and made:
            part_mL = self._going_mL * made / (self._going_steps - self._idle_steps)
            self._left_mL += part_mL
            self._going_mL -= part_mL
            self.pushed_steps += made

    def _drawn(self, done: int) -> None:
        self.steps -= done
        if self.stalled:
            self._slipped -= done
            return
        drawn = done - (self._backlash_steps - self._slack_steps)
        if drawn > 0:  # the plunger itself went back
            self.refills += 1
            if self._refill_error_mL:
                self._shift_mL += self._refill_random.gauss(0.0, self._refill_error_mL)
            haste = self.step_mL / (self._step_us * 1e-6) / self._quiet_filling_mL_per_s - 1.0
            if haste > 0.0:
                self.bubble(self._began_us, SUCKED_GAS * min(1.0, haste) * drawn * self.step_mL)
        self._slack_steps = min(self._backlash_steps, self._slack_steps + done)

    # ----------------------------------------------------------------------------------------------- what is true
    def steps_at(self, now_us: int) -> int:
        """Whole steps counted by now."""
        if not self.moving:
            return self.steps
        done = min((now_us - self._began_us) // self._step_us, abs(self._going_steps))
        return self.steps + (done if self._going_steps > 0 else -done)

    def left_mL(self, now_us: int) -> float:
        """Volume that has left the syringe towards the vessel by now, in mL."""
        if not self._going_mL or not self._going_steps:
            return self._left_mL
        idle = self._idle_steps
        part = (now_us - self._began_us - idle * self._step_us) / (self._step_us * (self._going_steps - idle))
        if part < 0.0:
            return self._left_mL
        return self._left_mL + self._going_mL * part if part < 1.0 else self._left_mL + self._going_mL

    def delivered_mL(self, now_us: int) -> float:
        """Volume delivered into the vessel by now, in mL. Once something is wrong: for times that do not decrease."""
        if self.outlet is not None:
            return self.outlet.delivered_mL(now_us, self.left_mL(now_us))
        return self.left_mL(now_us) if self._going_mL else self._left_mL

    def indicated_mL(self, delivered_mL: float) -> float:
        """What the sound burette would indicate for a delivered volume: only the calibration drawn is taken out."""
        return delivered_mL / (1.0 + self.calibration)

    # ------------------------------------------------------------------------------------------------ the faults
    def snap(self, now_us: int, steps: int) -> None:
        """The carriage moves by so many steps without anybody asking: a stepper that lost its current. At rest only.

        Counted as steps of the motor. Forward they push liquid out where the newest push did; backward they take up
        play, and draw nothing back that has left the tip.
        """
        assert not self.moving
        if steps > 0:
            self.start(now_us, steps, 1, into_vessel=self._into_vessel)
            self.stop(now_us + steps)
        else:
            self.steps += steps
            self._slack_steps -= steps

    def slip_next(self, steps: int, now_us: int | None = None) -> None:
        """The next `steps` are counted and moved by nothing: of the motion under way too, if `now_us` is told."""
        goes_on = self._divide(now_us)
        self._slip_next += steps
        self._go_on(goes_on=goes_on)

    def stall(self, now_us: int) -> None:
        """From now on steps are counted and nothing moves."""
        goes_on = self._divide(now_us)
        self.stalled = True
        self._go_on(goes_on=goes_on)

    def loosen(self, now_us: int, play_steps: int) -> None:
        """So much more play in the spindle: lost once at once, and at every reversal."""
        goes_on = self._divide(now_us)
        self._backlash_steps += play_steps
        self._slack_steps += play_steps
        self._go_on(goes_on=goes_on)

    def shift_calibration(self, now_us: int, fraction: float) -> None:
        """From now on every step delivers so much more (or less) of what it would."""
        goes_on = self._divide(now_us)
        before = self._now_delivering
        self._now_delivering *= 1.0 + fraction
        # What is delivered already stays delivered, a last step in hand too: the new figure holds for those to come.
        in_hand = self._into_vessel and not goes_on and self._going_steps > 0
        steps = self.pushed_steps + (self._going_steps - self._idle_steps if in_hand else 0)
        self._shift_mL -= steps * self.step_mL * (self._now_delivering - before)
        if goes_on:
            self._going_mL *= 1.0 + fraction

    def bubble(self, now_us: int, size_mL: float) -> None:
        """A bubble of `size_mL` from now on between plunger and tip."""
        self.gone_wrong(now_us).bubbles.append(Bubble(size_mL))

    def hang_drops(self, now_us: int, drop_mL: float) -> None:
        """The tip is above the liquid from now on; what comes falls in drops of about `drop_mL`."""
        self.gone_wrong(now_us).tip.hang_drops(drop_mL)

    def block_tip(self, now_us: int) -> None:
        """Nothing gets out any more."""
        self.gone_wrong(now_us).tip.blocked = True

    def leak_by_diffusion(self, now_us: int, mL_per_s: float) -> None:
        """The immersed tip gives titrant to the vessel at rest."""
        self.gone_wrong(now_us).tip.diffusion_mL_per_s = mL_per_s

    def gone_wrong(self, now_us: int) -> Outlet:
        """The outlet, from now on a thing of its own."""
        left_mL = self.left_mL(now_us)
        if self.outlet is None:
            self.outlet = Outlet(now_us, left_mL, self._drop_random)
        self.outlet.delivered_mL(now_us, left_mL)
        return self.outlet

    def _divide(self, now_us: int | None) -> bool:
        """Book what a push under way has done, so that the rest of it can go on otherwise; whether there is a rest.

        The step in hand is finished as it was begun.
        """
        if now_us is None or self._going_steps <= 0:
            return False
        done = self._done(now_us)
        if done == self._going_steps:
            return False
        self._pushed(done)
        self._began_us += done * self._step_us
        self._going_steps -= done
        self._idle_steps, self._idle_slips = max(0, self._idle_steps - done), max(0, self._idle_slips - done)
        return True

    def _go_on(self, *, goes_on: bool) -> None:
        """Plan the rest of a push under way anew."""
        liquid = self._going_steps - self._idle_steps
        if goes_on and liquid:
            self._plan_idle()
            self._going_mL *= (self._going_steps - self._idle_steps) / liquid
