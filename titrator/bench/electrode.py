"""The electrode's amplifier: microvolts to millivolts, and what lies at the ends of its range."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Amplifier:
    """The range that the board states for itself, in µV. A reading at either end says only "there or beyond"."""

    range_low_uV: int
    range_high_uV: int

    def potentials_mV(self, potentials_uV: tuple[int, ...]) -> tuple[float, ...]:
        """Microvolts to millivolts."""
        return tuple([potential / 1000 for potential in potentials_uV])

    def saturated(self, potentials_uV: tuple[int, ...]) -> int:
        """How many of these stand at an end of the range: an open electrode, a wrong plug, a wrong reference."""
        low, high = self.range_low_uV, self.range_high_uV
        if min(potentials_uV) > low and max(potentials_uV) < high:
            return 0
        return sum(not low < potential < high for potential in potentials_uV)
