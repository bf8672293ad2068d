"""What may be behind an electrode that does not read as it should: likely causes, by kind of electrode.

The kind is a calling name that comes with the plan; a kind without an entry gets what holds for every electrode.
"""

from __future__ import annotations

from typing import NamedTuple


class Causes(NamedTuple):
    """Causes of a start `high` or `low` of the window beside those of every electrode, and of one that is `dead`."""

    high: str = ""
    low: str = ""
    dead: str = "electrode dead, coated or not covered by the liquid"


_COMMON_FAR = "another reference electrode or filling than the method states"
_USED_UP = "titrant left in the vessel from the run before"
_SWAPPED = "electrodes swapped at the amplifier"

_BY_KIND: dict[str, Causes] = {
    "platinum": Causes(
        high="electrode coated with oxide (clean it as the method says)",
        low="electrode dirty or poisoned",
        dead="electrode coated or poisoned, or not covered by the liquid",
    ),
    "glass": Causes(
        high="electrode not calibrated or its zero point shifted (check it in buffers)",
        low="electrode not calibrated or its zero point shifted (check it in buffers); membrane cracked (it then reads "
        "much the same in every buffer)",
        dead="membrane cracked, dried out or coated; electrode not covered by the liquid",
    ),
    "silver": Causes(
        high="halide lost or precipitated before; silver from the run before on the electrode",
        low="electrode coated with sulfide or halide (polish it)",
        dead="electrode coated (polish it) or not covered by the liquid",
    ),
    "calcium-ion": Causes(
        high="membrane not conditioned; other ions that it follows too",
        low="membrane not conditioned or used up; buffer without the metal, or of another pH",
        dead="membrane used up, coated or not conditioned; electrode not covered by the liquid",
    ),
    "copper-ion": Causes(
        high="membrane coated; more copper in the vessel than the method adds",
        low="membrane coated (polish it); the copper reagent forgotten, or buffer of another pH",
        dead="membrane coated (polish it) or not conditioned; electrode not covered by the liquid",
    ),
}


def of_start(indicator: str, direction: str, *, high: bool) -> str:
    """Causes of a first potential above (`high`) or below the window, where the curve goes in `direction`.

    A start that lies on the way of the curve looks like a titration that was begun before.
    """
    special = _BY_KIND.get(indicator, Causes())
    on_the_way = direction == ("rising" if high else "falling")
    used_up = "analyte absent or used up already"
    if indicator == "platinum":
        used_up = f"analyte already {'oxidised' if high else 'reduced'} or absent"
    told = [used_up, _USED_UP] if on_the_way else [_SWAPPED]
    told += [special.high if high else special.low, _COMMON_FAR]
    if not on_the_way:
        told += ["electrode not covered by the liquid", "wrong sample"]
    return "; ".join(part for part in told if part)


def of_silence(indicator: str) -> str:
    """Causes of a potential that titrant does not change."""
    return (
        f"{_BY_KIND.get(indicator, Causes()).dead}; input open or shorted; burette empty, its tip blocked or outside "
        "the vessel; stirrer standing still"
    )
