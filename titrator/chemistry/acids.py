"""Acids, bases and hydrolysing metals as data: pKa and hydrolysis constants with the source of each.

All constants are thermodynamic (infinite dilution, 25 °C). Where sources differ: phosphoric pK3 is 12.375 here (12.346
in another library, 12.35 in textbooks). Carbonic acid stands for dissolved CO2 and H2CO3 together.
"""

from dataclasses import dataclass
from typing import Literal

from titrator.chemistry.sourced import Mark, Sourced

_NIST46 = "NIST critical stability constants (database 46), as carried by minteq.v4.dat of USGS PHREEQC"
_LIBRARY: Literal["library"] = "library"


def _pK(
    value: float,
    association_kJ: float | None = None,
    by_temperature: tuple[float, float, float] | None = None,
    source: str = _NIST46,
    mark: Mark = _LIBRARY,
) -> Sourced:
    """A pKa = log10 of the constant of protonation, with that reaction's enthalpy."""
    return Sourced(value, "thermodynamic", "infinite dilution", source, mark, by_temperature, association_kJ)


@dataclass(frozen=True, slots=True)
class Acid:
    """Forms from the fully protonated to the bare one, the charge of the first, and the pKa between them."""

    name: str
    forms: tuple[str, ...]
    charge: int
    pKa: tuple[Sourced, ...]
    formal: bool = False

    def __post_init__(self) -> None:
        """Refuse a table that does not fit together."""
        if len(self.forms) != len(self.pKa) + 1:
            raise ValueError(f"{self.name}: one form more than pKa was expected, {len(self.forms)} came")

    @classmethod
    def of(cls, name: str, charge: int, *pKa: float, kind: Literal["thermodynamic", "formal"] = "formal") -> "Acid":
        """An acid with constants told by the user; its forms are called `name`, `name` −1H, `name` −2H …"""
        constants = tuple(Sourced(pK, kind, "told by the user", "told by the user", "computed by us") for pK in pKa)
        forms = (name, *(f"{name} -{i}H" for i in range(1, len(pKa) + 1)))
        return cls(name, forms, charge, constants, formal=kind == "formal")


# Terms in 1/T, 1 and T: Harned and Ehlers (acetic), Harned and Davis, Harned and Scholes (carbonic), Bates and Acree
# (phosphoric pK2), Hamer and others (phthalic pK2), Owen and King (boric): all from memory; only the change from
# 25 °C is used.
ACETIC = Acid("acetic acid", ("CH3COOH", "CH3COO-"), 0, (_pK(4.757, 0.41, (1170.48, -3.1649, 0.013399)),))
PHOSPHORIC = Acid(
    "phosphoric acid",
    ("H3PO4", "H2PO4-", "HPO4-2", "PO4-3"),
    0,
    (_pK(2.148, 7.9), _pK(7.198, -3.0, (1979.5, -5.3541, 0.01984)), _pK(12.375, -15.0)),
)
CARBONIC = Acid(
    "carbonic acid",
    ("H2CO3", "HCO3-", "CO3-2"),
    0,
    (_pK(6.352, None, (3404.71, -14.8435, 0.032786)), _pK(10.329, -14.6, (2902.39, -6.4980, 0.02379))),
)
CITRIC = Acid(
    "citric acid",
    ("H3Cit", "H2Cit-", "HCit-2", "Cit-3"),
    0,
    (_pK(3.128, -4.058), _pK(4.761, -2.050), _pK(6.396, 3.347)),
)
AMMONIUM = Acid("ammonium", ("NH4+", "NH3"), 1, (_pK(9.244, -52.0),))
BORIC = Acid("boric acid", ("B(OH)3", "B(OH)4-"), 0, (_pK(9.236, -13.0, (2237.94, -3.305, 0.016883)),))
HYDROGEN_SULFATE = Acid("hydrogen sulfate", ("HSO4-", "SO4-2"), -1, (_pK(1.99, 22.0),))
PHTHALIC = Acid(
    "phthalic acid",
    ("H2Pht", "HPht-", "Pht-2"),
    0,
    (_pK(2.950, 2.678), _pK(5.408, 2.176, (2175.83, -9.55095, 0.025694))),
)
OXALIC = Acid(
    "oxalic acid",
    ("H2C2O4", "HC2O4-", "C2O4-2"),
    0,
    (_pK(1.25, source="a textbook's table", mark="from memory"), _pK(4.266, source="as pK1", mark="from memory")),
)
ACIDS: tuple[Acid, ...] = (
    ACETIC, PHOSPHORIC, CARBONIC, CITRIC, AMMONIUM, BORIC, HYDROGEN_SULFATE, PHTHALIC, OXALIC,
)  # fmt: skip
"""Every acid of this version; strong acids and bases are spectator ions beside H+ and OH−."""
ABOVE_PH_7 = ("acetic acid", "citric acid", "dihydrogen phosphate")
"""Acids whose point lies where carbonate is there as hydrogen carbonate."""


@dataclass(frozen=True, slots=True)
class HydrolysingMetal:
    """A metal ion with log10 of M + k H2O = M(OH)k + k H+ for k = 1 …

    `hydroxide` is log10 of M(OH)z(s) + z H+ = M + z H2O.
    """

    name: str
    ion: str
    charge: int
    hydrolysis: tuple[Sourced, ...]
    hydroxide: Sourced | None


IRON_III = HydrolysingMetal(
    "iron(III)", "Fe+3", 3, (_pK(-2.187, 41.81), _pK(-4.594), _pK(-12.56, 103.8)), _pK(3.191, -73.374)
)
IRON_II = HydrolysingMetal(
    "iron(II)", "Fe+2", 2, (_pK(-9.397, 55.81), _pK(-20.494, 119.62), _pK(-28.991, 126.43)), _pK(13.564)
)
ZINC_II = HydrolysingMetal(
    "zinc(II)", "Zn+2", 2, (_pK(-8.997, 55.81), _pK(-17.794), _pK(-28.091), _pK(-40.488)), _pK(12.474, -80.62)
)
METALS: tuple[HydrolysingMetal, ...] = (IRON_III, IRON_II, ZINC_II)
"""Metals of a pickling bath. Left out: polynuclear ions such as Fe2(OH)2 4+ and complexes with the acid's anion."""
