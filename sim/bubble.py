"""A gas bubble between plunger and tip: squeezed while liquid is pushed, and missing volume once it leaves."""

import math
from typing import Final

SQUEEZED: Final = 0.1
"""Part of its size by which a bubble gives way at most: a tenth, as under some 10 kPa at a narrow tip. Invented."""

GIVES_BACK_S: Final = 10.0
"""Time constant with which it gives that back at rest, in s. Invented: slower than most waits between additions."""

WAY_ML: Final = 0.3
"""Volume pushed until it has gone through the tube to the tip, in mL. Invented."""


class Bubble:
    """The law: what is pushed first squeezes the bubble, by a tenth of its size; only then liquid comes out.

    At rest that comes back, first order. The bubble goes along with the liquid; when it has come to the tip, gas leaves
    in the place of liquid, as much as the bubble is large, and nothing is left of it.
    """

    def __init__(self, size_mL: float, way_mL: float = WAY_ML) -> None:
        """A bubble of `size_mL` that leaves after `way_mL` more."""
        self._gas_mL = size_mL
        self._way_mL = way_mL
        self.held_mL = 0.0
        """Liquid that the squeezed bubble has taken up and will give back."""
        self.lost_mL = 0.0
        """Gas that has left in the place of liquid."""

    def pass_on(self, volume_mL: float, passed_s: float) -> float:
        """What leaves towards the tip while `volume_mL` is pushed in, or in `passed_s` of rest if that is nothing."""
        if volume_mL <= 0.0:
            if not self.held_mL:
                return 0.0
            back_mL = self.held_mL * -math.expm1(-passed_s / GIVES_BACK_S)
            self.held_mL -= back_mL
            return back_mL
        taken_mL = min(volume_mL, max(0.0, SQUEEZED * self._gas_mL - self.held_mL))
        self.held_mL += taken_mL
        out_mL = volume_mL - taken_mL
        on_its_way_mL = min(out_mL, self._way_mL)
        self._way_mL -= on_its_way_mL
        gas_mL = min(out_mL - on_its_way_mL, self._gas_mL)
        self._gas_mL -= gas_mL
        self.lost_mL += gas_mL
        return out_mL - gas_mL
