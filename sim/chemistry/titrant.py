"""What a millilitre of titrant puts into the vessel."""

from dataclasses import dataclass

from sim.contents import Contents


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
