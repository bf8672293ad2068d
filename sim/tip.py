"""The tip of a burette: below the liquid, above it with drops that hang and fall, blocked, or leaking by diffusion."""

from random import Random
from typing import Final

DROPS_WITHIN: Final = 0.25
"""Drops of a tip differ by up to this part of their size: 0.03 to 0.05 mL about 0.04 mL. From memory."""

TIP_MOST_ML: Final = 0.02
"""Volume at the end of a tip out of which titrant can be lost by diffusion, in mL. Invented."""


class Tip:
    """The law of each trouble; without any, all that comes is delivered at once.

    Drops: what comes hangs on the tip until it is a whole drop, which falls. Blocked: nothing gets out; what is pushed
    goes past the seal of the plunger and is lost. Diffusion: an immersed tip gives titrant to the vessel and takes as
    much of the solution, at a steady rate until the end of the tip is used up; the next push delivers that much of
    solution first, so nothing comes of it until the vessel has back what it had `ahead`.
    """

    def __init__(self, random: Random) -> None:
        """Below the liquid and open; `random` draws the sizes of drops."""
        self._random = random
        self._drop_mL = 0.0  # mean size; 0: the tip is below the liquid
        self._next_drop_mL = 0.0
        self.blocked = False
        self.diffusion_mL_per_s = 0.0
        self.hanging_mL = 0.0
        self.lost_mL = 0.0
        self.ahead_mL = 0.0

    def hang_drops(self, drop_mL: float) -> None:
        """From now on the tip is above the liquid, and its drops have this size on average."""
        self._drop_mL = drop_mL
        self._draw()

    def _draw(self) -> None:
        self._next_drop_mL = self._drop_mL * self._random.uniform(1.0 - DROPS_WITHIN, 1.0 + DROPS_WITHIN)

    def pass_on(self, volume_mL: float, passed_s: float) -> float:
        """What gets into the vessel while `volume_mL` comes to the tip in `passed_s`."""
        if self.blocked:
            self.lost_mL += volume_mL
            return 0.0
        back_mL = min(volume_mL, self.ahead_mL)
        self.ahead_mL -= back_mL
        out_mL = volume_mL - back_mL
        if not self._drop_mL:
            if self.diffusion_mL_per_s and volume_mL <= 0.0:
                more_mL = min(self.diffusion_mL_per_s * passed_s, TIP_MOST_ML - self.ahead_mL)
                self.ahead_mL += more_mL
                out_mL += more_mL
            return out_mL
        self.hanging_mL += out_mL
        fallen_mL = 0.0
        while self.hanging_mL >= self._next_drop_mL:
            fallen_mL += self._next_drop_mL
            self.hanging_mL -= self._next_drop_mL
            self._draw()
        return fallen_mL
