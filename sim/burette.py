"""A simulated syringe burette: what really leaves the tip while the motor counts its steps."""

from random import Random


class SimulatedBurette:
    """Steps in, delivered volume out, in virtual microseconds.

    At rest at an absolute target the delivered volume is `pushed · step_mL · (1 + calibration)` plus one draw from
    N(0, random_error_mL) of this target's own, where `pushed` counts the steps that pushed liquid into the vessel: the
    error is about the target and does not add up from dose to dose. Between two rests the delivered volume goes in a
    straight line, so the error of one target fades into that of the next; it never goes back, so a draw that would
    withdraw liquid ends where the motion began. `calibration` is a fraction: 0.001 delivers 0.1 % more than the steps
    indicate.

    A spindle has play: after a reversal the plunger follows only when `backlash_steps` are taken up. Both ends of a
    refill lose them. `refill_error_mL` is the standard deviation of what each refill leaves wrong for good, in every
    later volume. `slip_next` is a fault: a motor that stalls counts steps that nothing makes.
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
    ) -> None:
        self.step_mL = step_mL
        self.calibration = calibration
        self._random_error_mL = random_error_mL
        self._random = random
        self._backlash_steps = backlash_steps
        self._refill_error_mL = refill_error_mL
        self._refill_random = refill_random or Random(0)
        self.steps = 0
        """Steps that the motor counts, at rest or where the motion under way began. A refill counts down."""
        self.pushed_steps = 0
        """Steps of the plunger that went into the vessel, alike at rest."""
        self.refills = 0
        self._slack_steps = backlash_steps  # to be taken up before a push moves the plunger: it stands at home
        self._slipped = 0  # counted, and made by nothing
        self._slip_next = 0
        self._shift_mL = 0.0
        self._delivered_mL = 0.0
        self._began_us = 0
        self._step_us = 1
        self._going_steps = 0  # negative: back
        self._idle_steps = 0  # of those going, the first so many move no liquid
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

    def slip_next(self, steps: int) -> None:
        """Fault: the next push loses its first `steps`, counted all the same."""
        self._slip_next = steps

    def start(self, now_us: int, steps: int, step_us: int, *, into_vessel: bool = True) -> int:
        """Begin to push by `steps`, or to draw where they are negative, each taking `step_us`; when it will end.

        At rest only; whoever draws has turned the valve away from the vessel.
        """
        assert not self.moving
        assert steps >= 0 or not into_vessel
        if steps == 0:
            return now_us
        self._began_us, self._step_us, self._going_steps = now_us, step_us, steps
        self._into_vessel, self._going_mL, self._idle_steps = into_vessel, 0.0, 0
        if steps > 0:
            self._idle_steps = min(steps, self._slack_steps + self._slip_next)
        if into_vessel and steps > self._idle_steps:
            target_mL = (self.pushed_steps + steps - self._idle_steps) * self.step_mL * (1.0 + self.calibration)
            target_mL += self._random.gauss(0.0, self._random_error_mL)
            self._going_mL = max(0.0, target_mL + self._shift_mL - self._delivered_mL)
        return now_us + abs(steps) * step_us

    def stop(self, now_us: int) -> int:
        """End the motion, on time or before; the steps at rest. A step in hand is finished, so the count is exact."""
        if not self.moving:
            return self.steps
        done = min(-((self._began_us - now_us) // self._step_us), abs(self._going_steps))
        if self._going_steps < 0:
            self._drawn(done)
        else:
            self._pushed(done)
        self._going_steps = 0
        return self.steps

    def _pushed(self, done: int) -> None:
        slipped = min(done, self._slip_next)
        self._slip_next -= slipped
        self._slipped += slipped
        self._slack_steps -= min(done - slipped, self._slack_steps)
        self.steps += done
        made = max(0, done - self._idle_steps)
        if self._into_vessel and made:
            self._delivered_mL += self._going_mL * made / (self._going_steps - self._idle_steps)
            self.pushed_steps += made

    def _drawn(self, done: int) -> None:
        if done > self._backlash_steps - self._slack_steps:  # the plunger itself went back
            self.refills += 1
            if self._refill_error_mL:
                self._shift_mL += self._refill_random.gauss(0.0, self._refill_error_mL)
        self._slack_steps = min(self._backlash_steps, self._slack_steps + done)
        self.steps -= done

    def steps_at(self, now_us: int) -> int:
        """Whole steps counted by now."""
        if not self.moving:
            return self.steps
        done = min((now_us - self._began_us) // self._step_us, abs(self._going_steps))
        return self.steps + (done if self._going_steps > 0 else -done)

    def delivered_mL(self, now_us: int) -> float:
        """Volume delivered into the vessel by now, in mL."""
        if not self._going_mL or not self._going_steps:
            return self._delivered_mL
        idle = self._idle_steps
        part = (now_us - self._began_us - idle * self._step_us) / (self._step_us * (self._going_steps - idle))
        if part < 0.0:
            return self._delivered_mL
        return self._delivered_mL + self._going_mL * part if part < 1.0 else self._delivered_mL + self._going_mL

    def indicated_mL(self, delivered_mL: float) -> float:
        """What the burette would indicate for a delivered volume: only the systematic calibration is taken out."""
        return delivered_mL / (1.0 + self.calibration)
