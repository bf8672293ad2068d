"""What a millilitre of titrant puts into the vessel."""

from dataclasses import dataclass

from sim.contents import Contents
from titrator.chemistry.water import HIGHEST_C, LOWEST_C, density_kg_per_m3

CALIBRATED_AT_C = 20.0
"""Temperature at which titrants are standardised and volumetric ware is calibrated."""


def expansion(temperature_C: float) -> float:
    """Concentration at `temperature_C` over the one at 20 °C: ρ(T)/ρ(20 °C), exactly 1 at 20 °C.

    The thermal expansion of water, taken for that of the titrant (a strong acid expands up to twice as much). Held
    outside 0 to 50 °C, where the density is not checked.
    """
    within_C = min(max(temperature_C, LOWEST_C), HIGHEST_C)
    return density_kg_per_m3(within_C) / density_kg_per_m3(CALIBRATED_AT_C)


@dataclass(frozen=True, slots=True)
class Titrant:
    """Changes of the contents by one mL: pools and total of the system, strong acid; `active` mol of titrant.

    All in mol per mL as delivered, at the titrant's own temperature.
    """

    amounts_mol: tuple[float, ...]
    total_mol: float
    acid_mol: float
    active_mol: float

    def add(self, contents: Contents, volume_mL: float) -> None:
        """Put `volume_mL` into the contents."""
        amounts = contents.amounts_mol
        for index, per_mL in enumerate(self.amounts_mol):
            if per_mL:
                amounts[index] += per_mL * volume_mL
        contents.total_mol += self.total_mol * volume_mL
        contents.acid_mol += self.acid_mol * volume_mL
        contents.volume_mL += volume_mL
