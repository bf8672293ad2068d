"""EDTA and its metals as data: formation constants, protonation sets, side reactions of the metals, with their sources.

The formation constants are *formal*: ionic strength 0.1 mol/L, 20 to 25 °C, as the trade tabulates them. They hold
activity effects and are used as they stand; the constants at infinite dilution are two units or so higher.
"""

from dataclasses import dataclass
from typing import Literal

from titrator.chemistry.sourced import Mark, Sourced

_MEDIUM = "ionic strength 0.1 mol/L"
_MEMORY: Literal["from memory"] = "from memory"
_NIST46 = "NIST critical stability constants (database 46), as carried by minteq.v4.dat of USGS PHREEQC"


def _formal(value: float, source: str = "textbooks' tables", mark: Mark = _MEMORY) -> Sourced:
    return Sourced(value, "formal", _MEDIUM, source, mark)


def _hydrolysis(*values: float) -> tuple[Sourced, ...]:
    return tuple(Sourced(value, "thermodynamic", "infinite dilution", _NIST46, "library") for value in values)


@dataclass(frozen=True, slots=True)
class Chelate:
    """A metal ion M2+ and its 1:1 complex with EDTA: log10 K(MY) and what else holds the metal in a buffer.

    `ammonia` are log10 of the cumulative constants with NH3; `hydrolysis` log10 of M + k H2O = M(OH)k + k H+.
    """

    metal: str
    ion: str
    log_K: Sourced
    ammonia: tuple[Sourced, ...] = ()
    hydrolysis: tuple[Sourced, ...] = ()


CALCIUM = Chelate(
    "calcium", "Ca+2", _formal(10.65, "a worked solution to Harris", "published"), (), _hydrolysis(-12.697)
)
MAGNESIUM = Chelate("magnesium", "Mg+2", _formal(8.79), (), _hydrolysis(-11.397))
ZINC = Chelate(
    "zinc",
    "Zn+2",
    _formal(16.50),
    (_formal(2.21), _formal(4.40), _formal(6.76), _formal(8.79)),
    _hydrolysis(-8.997, -17.794, -28.091, -40.488),
)
COPPER = Chelate(
    "copper",
    "Cu+2",
    _formal(18.78),
    (_formal(3.99), _formal(7.33), _formal(10.06), _formal(12.03)),
    _hydrolysis(-7.497, -16.194, -26.879, -39.98),
)
CADMIUM = Chelate(
    "cadmium",
    "Cd+2",
    # log10(2.9e16): the constant of the table that is checked.
    _formal(16.4624, "D. Harvey, Modern Analytical Chemistry (2000), Table 9.15", "published"),
    (_formal(2.51), _formal(4.47), _formal(5.77), _formal(6.56)),
    _hydrolysis(-10.097, -20.294, -32.505, -47.288),
)
CHELATES: tuple[Chelate, ...] = (CALCIUM, MAGNESIUM, ZINC, COPPER, CADMIUM)
"""Every metal of this version that is titrated with EDTA."""


def _edta(source: str, mark: Mark, *pKa: float) -> tuple[Sourced, ...]:
    return tuple(_formal(value, source, mark) for value in pKa)


EDTA_SETS: dict[str, tuple[Sourced, ...]] = {
    "six constants": _edta("a textbook's table", _MEMORY, 0.0, 1.5, 2.00, 2.69, 6.13, 10.37),
    "four constants": _edta("a textbook's table", "published", 2.0, 2.67, 6.16, 10.27),
    "four constants, another table": _edta("a second textbook's table", "published", 2.01, 2.68, 6.10, 10.18),
}
"""pKa of EDTA by set: α(Y4−) at pH 10 is 0.30 to 0.40, depending on the set, so the set is always named."""

DEFAULT_EDTA_SET = "six constants"
