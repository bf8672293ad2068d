"""Stirring: how titrant gets from the tip of the burette into the solution, well or badly."""

import math

from sim.lag import lagged

STILL_S = 1200.0
"""Time constant of mixing without stirring, by diffusion and the eddies that an addition makes: invented, minutes."""


class Stirring:
    """Delivered titrant in, mixed titrant out, in mL. Nothing is lost: what is not mixed waits.

    A share `dead_share` of each addition first lingers in a pocket at the tip, outside the stirrer's stream, and leaves
    it with the time constant `dead_s`; the rest, and what leaves the pocket, mixes first order with `mixing_s`. Both
    are exact for a volume that went in a straight line between calls. While the stirrer stands still, `STILL_S` takes
    the place of `mixing_s`.
    """

    def __init__(self, mixing_s: float, *, dead_share: float = 0.0, dead_s: float = 60.0) -> None:
        """Start with everything mixed. Raises ValueError for figures that no stirring has."""
        if not (mixing_s >= 0.0 and 0.0 <= dead_share <= 1.0 and dead_s > 0.0):
            raise ValueError(
                "times of 0 or more and a share from 0 to 1 were expected, "
                f"{mixing_s!r} s, {dead_share!r} and {dead_s!r} s came"
            )
        self._mixing_s = mixing_s
        self.dead_share = dead_share
        self.dead_s = dead_s
        self.stopped = False
        self.delivered_mL = 0.0
        self.mixed_mL = 0.0
        """Titrant in the mixed solution."""
        self.pocket_mL = 0.0

    @property
    def mixing_s(self) -> float:
        """Time constant of mixing as it is now."""
        return max(self._mixing_s, STILL_S) if self.stopped else self._mixing_s

    @property
    def waiting_mL(self) -> float:
        """What was delivered and is not mixed yet, the pocket included."""
        return self.delivered_mL - self.mixed_mL

    def stop(self) -> None:
        """The stirrer stands still."""
        self.stopped = True

    def start(self) -> None:
        """The stirrer turns again."""
        self.stopped = False

    def mix(self, passed_s: float, delivered_mL: float) -> float:
        """Let time pass while the delivered volume went straight to `delivered_mL`; mL newly in the mixed solution."""
        before_mL, was_mL = self.delivered_mL, self.mixed_mL
        mixing_s = self.mixing_s if self.stopped else self._mixing_s
        ratio = passed_s / mixing_s if mixing_s > 0.0 else math.inf
        if not self.dead_share and not self.pocket_mL:
            self.mixed_mL = lagged(was_mL, before_mL, delivered_mL, ratio)
        else:
            self._through_the_pocket(passed_s, delivered_mL, ratio)
        self.delivered_mL = delivered_mL
        return self.mixed_mL - was_mL

    def finish(self) -> float:
        """Count what still waits as mixed (too little to matter); mL newly in the mixed solution."""
        waiting_mL = self.waiting_mL
        self.mixed_mL, self.pocket_mL = self.delivered_mL, 0.0
        return waiting_mL

    def _through_the_pocket(self, passed_s: float, delivered_mL: float, ratio: float) -> None:
        """Pocket P and stream W: dP/dt = d·q − P/τd, dW/dt = (1 − d)·q + P/τd − W/τm, q the steady delivery."""
        dead_s = self.dead_s
        if passed_s <= 1e-9 * dead_s:  # at once: it is there, and nothing has moved yet
            self.pocket_mL += self.dead_share * (delivered_mL - self.delivered_mL)
            if ratio == math.inf:
                self.mixed_mL = max(self.mixed_mL, delivered_mL - self.pocket_mL)
            return
        rate = (delivered_mL - self.delivered_mL) / passed_s
        stream_mL = self.waiting_mL - self.pocket_mL
        level_mL = self.dead_share * rate * dead_s  # of the pocket, in the end
        faded = math.exp(-passed_s / dead_s)
        excess_mL = self.pocket_mL - level_mL
        if ratio == math.inf:
            stream_after_mL = 0.0
        else:
            mixing_s = passed_s / ratio
            if math.isclose(mixing_s, dead_s, rel_tol=1e-6):
                mixing_s *= 1.0 + 2e-6  # the two modes must differ; a change of two in a million
            gone = math.exp(-passed_s / mixing_s)
            # The source is (1 − d)·q + d·q + excess·e^(−t/τd)/τd.
            steady_mL = rate * mixing_s
            passing_mL = excess_mL * mixing_s / (dead_s - mixing_s)
            stream_after_mL = steady_mL + passing_mL * faded + (stream_mL - steady_mL - passing_mL) * gone
        self.pocket_mL = level_mL + excess_mL * faded
        mixed_mL = delivered_mL - self.pocket_mL - max(stream_after_mL, 0.0)
        self.mixed_mL = min(max(self.mixed_mL, mixed_mL), delivered_mL)
