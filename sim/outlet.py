"""The way from the plunger to the vessel, where something is wrong on it: bubbles, then the tip."""

from random import Random

from sim.bubble import Bubble
from sim.tip import Tip


class Outlet:
    """Turns the volume that has left the syringe into the volume that has come into the vessel.

    Asked with times that do not decrease, at least where a motion begins and ends, so that between two questions the
    plunger went steadily. No volume is made or forgotten: delivered + held + hanging + lost = left + ahead.
    """

    def __init__(self, now_us: int, left_mL: float, random: Random) -> None:
        """All is well until now: what has left is delivered."""
        self._now_us = now_us
        self._left_mL = self._delivered_mL = left_mL
        self.bubbles: list[Bubble] = []
        self.tip = Tip(random)

    def delivered_mL(self, now_us: int, left_mL: float) -> float:
        """Volume in the vessel by now, when `left_mL` has left the syringe."""
        volume_mL = max(0.0, left_mL - self._left_mL)
        passed_s = max(0.0, (now_us - self._now_us) * 1e-6)
        self._now_us, self._left_mL = max(now_us, self._now_us), max(left_mL, self._left_mL)
        for bubble in self.bubbles:
            volume_mL = bubble.pass_on(volume_mL, passed_s)
        self._delivered_mL += self.tip.pass_on(volume_mL, passed_s)
        return self._delivered_mL

    @property
    def held_mL(self) -> float:
        """Liquid that squeezed bubbles have taken up."""
        return sum(bubble.held_mL for bubble in self.bubbles)

    @property
    def lost_mL(self) -> float:
        """What has left the syringe and will never come: gas instead of liquid, and liquid past the seal."""
        return self.tip.lost_mL + sum(bubble.lost_mL for bubble in self.bubbles)

    def account(self) -> dict[str, float]:
        """Where the volume is that has left the syringe and is not in the vessel, in mL."""
        return {
            "in_bubbles_mL": self.held_mL,
            "hanging_mL": self.tip.hanging_mL,
            "lost_mL": self.lost_mL,
            "ahead_mL": self.tip.ahead_mL,
        }
