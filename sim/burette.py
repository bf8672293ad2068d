"""A simulated syringe burette: what really leaves the tip while the motor counts its steps."""

from random import Random


class SimulatedBurette:
    """Steps in, delivered volume out, in virtual microseconds.

    At rest at an absolute target the delivered volume is `steps · step_mL · (1 + calibration)` plus one draw from
    N(0, random_error_mL) of this target's own: the error is about the target and does not add up from dose to dose.
    Between two rests the delivered volume goes in a straight line, so the error of one target fades into that of the
    next; it never goes back, so a draw that would withdraw liquid ends where the motion began. `calibration` is a
    fraction: 0.001 delivers 0.1 % more than the steps indicate.
    """

    def __init__(self, *, step_mL: float, calibration: float, random_error_mL: float, random: Random) -> None:
        self.step_mL = step_mL
        self.calibration = calibration
        self._random_error_mL = random_error_mL
        self._random = random
        self.steps = 0
        """True steps at rest, or where the motion under way began."""
        self._delivered_mL = 0.0
        self._began_us = 0
        self._step_us = 1
        self._going_steps = 0
        self._going_mL = 0.0

    @property
    def moving(self) -> bool:
        """Whether a motion is under way."""
        return self._going_steps > 0

    def start(self, now_us: int, steps: int, step_us: int) -> int:
        """Begin to push by `steps` (0 or more), each taking `step_us`; when it will end. At rest only."""
        assert not self.moving
        assert steps >= 0
        if steps == 0:
            return now_us
        target_mL = (self.steps + steps) * self.step_mL * (1.0 + self.calibration)
        target_mL += self._random.gauss(0.0, self._random_error_mL)
        self._began_us, self._step_us, self._going_steps = now_us, step_us, steps
        self._going_mL = max(0.0, target_mL - self._delivered_mL)
        return now_us + steps * step_us

    def stop(self, now_us: int) -> int:
        """End the motion, on time or before; the steps at rest. A step in hand is finished, so the count is exact."""
        if self.moving:
            done = min(-((self._began_us - now_us) // self._step_us), self._going_steps)
            self._delivered_mL += self._going_mL * done / self._going_steps
            self.steps += done
            self._going_steps = 0
        return self.steps

    def steps_at(self, now_us: int) -> int:
        """Whole steps made by now."""
        if not self.moving:
            return self.steps
        return self.steps + min((now_us - self._began_us) // self._step_us, self._going_steps)

    def delivered_mL(self, now_us: int) -> float:
        """Volume delivered by now, in mL."""
        if not self._going_steps:
            return self._delivered_mL
        part = (now_us - self._began_us) / (self._step_us * self._going_steps)
        return self._delivered_mL + self._going_mL * part if part < 1.0 else self._delivered_mL + self._going_mL

    def indicated_mL(self, delivered_mL: float) -> float:
        """What the burette would indicate for a delivered volume: only the systematic calibration is taken out."""
        return delivered_mL / (1.0 + self.calibration)
