"""Units in the header of a two-column file: `volume_mL`, `E (mV)`, `V/mL`, `pAg`, ..."""

from __future__ import annotations

import re
from dataclasses import dataclass

from titrator.evaluate.curve import SignalUnit

VOLUME_UNITS: dict[str, float] = {
    "mL": 1.0,
    "ml": 1.0,
    "cm3": 1.0,
    "cm³": 1.0,
    "cm^3": 1.0,
    "ccm": 1.0,
    "µL": 1e-3,  # the micro sign
    "μL": 1e-3,  # the Greek letter, which looks the same
    "uL": 1e-3,
    "µl": 1e-3,
    "μl": 1e-3,
    "ul": 1e-3,
    "L": 1e3,
    "l": 1e3,
    "dm3": 1e3,
    "dm³": 1e3,
}
"""Factor to mL of every unit of volume that is understood (the SI and its accepted units)."""

_P_SCALE = re.compile(r"^p[A-Z][A-Za-z]{0,3}$")
_TOKEN = re.compile(r"[A-Za-zµμ³0-9^]+")


@dataclass(frozen=True, slots=True)
class Unit:
    """What a column holds: a volume (`signal_unit` None) or a signal, with the factor to mL or mV (p scales: 1)."""

    factor: float
    signal_unit: SignalUnit | None

    @property
    def is_volume(self) -> bool:
        """Whether the column holds volumes."""
        return self.signal_unit is None


def unit_named(text: str) -> Unit | None:
    """Return the unit that a word names, or None. Case counts: mV is not MV."""
    if text in VOLUME_UNITS:
        return Unit(VOLUME_UNITS[text], None)
    if text == "mV":
        return Unit(1.0, "mV")
    if text == "V":
        return Unit(1000.0, "mV")
    if text == "pH":
        return Unit(1.0, "pH")
    if text == "pX" or _P_SCALE.match(text):
        return Unit(1.0, "pX")
    return None


def unit_in(cell: str) -> Unit | None:
    """Return the unit that a header cell carries in its last word, or None.

    Words end at an underscore, a slash, a bracket or a space (`volume_mL`, `V/mL`, `E (mV)`); a unit elsewhere counts
    where it is the only one and longer than a letter (`pH value`). A lone `V` may be the symbol of volume: not taken.
    """
    words = [word for part in _TOKEN.findall(cell) for word in part.split("_") if word]
    if not words:
        return None
    last = unit_named(words[-1])
    if last is not None and words != ["V"]:
        return last
    others = {unit_named(word) for word in words[1:] if len(word) > 1} | {
        unit_named(words[0]) if len(words[0]) > 1 else None
    }
    others.discard(None)
    return others.pop() if len(others) == 1 else None


def stated_volume_unit(text: str | None) -> Unit | None:
    """Return the unit given beside the file; raises ValueError where it is none of volume."""
    if text is None:
        return None
    unit = unit_named(text)
    if unit is None or not unit.is_volume:
        raise ValueError(f"volume unit: one of mL, µL (uL), L, cm3 expected, {text!r} came")
    return unit


def stated_signal_unit(text: str | None) -> Unit | None:
    """Return the unit given beside the file; raises ValueError where it is none of a signal."""
    if text is None:
        return None
    unit = unit_named(text)
    if unit is None or unit.is_volume:
        raise ValueError(f"signal unit: one of mV, V, pH, pX (such as pAg) expected, {text!r} came")
    return unit
