"""Faults of the vessel: stirring, surroundings, and an acid that somebody forgot."""

from dataclasses import replace
from typing import Final

from sim.chemistry.iron_water import OXYGEN_ATM
from sim.chemistry.redox import RedoxChemistry
from sim.faults.fault import VOLUME_RATE, Fault, Size, percent
from sim.faults.parts import Parts
from titrator.files.quantities import WARMING, Quantity


def _stirrer_off(parts: Parts, _size: float) -> None:
    parts.cell.stirring.stop()


def _stirrer_on(parts: Parts, _size: float) -> None:
    parts.cell.stirring.start()


def _tip_outside_stream(parts: Parts, size_percent: float) -> None:
    parts.cell.stirring.dead_share = size_percent / 100.0


def _evaporation(parts: Parts, mL_per_h: float) -> None:
    parts.cell.surroundings.evaporation_mL_per_h = mL_per_h


def _warming(parts: Parts, C_per_min: float) -> None:
    parts.cell.surroundings.warming_C_per_min = C_per_min


def _air(parts: Parts, size_percent: float) -> None:
    parts.cell.surroundings.air = size_percent / 100.0
    chemistry = parts.cell.chemistry
    if isinstance(chemistry, RedoxChemistry):  # whatever inert gas was there
        chemistry.plan = replace(chemistry.plan, oxygen_atm=OXYGEN_ATM)


def _acid_missing(parts: Parts, size_percent: float) -> None:
    parts.cell.contents.acid_mol *= 1.0 - size_percent / 100.0
    parts.cell.disturbed()


VESSEL_FAULTS: Final = (
    Fault("stirrer-off", "vessel", None, "The stirrer stands still: titrant spreads by diffusion only.", _stirrer_off),
    Fault("stirrer-on", "vessel", None, "The stirrer turns again after stirrer-off.", _stirrer_on),
    Fault(
        "tip-outside-stream", "vessel", percent(30.0),
        "So much of each addition first lingers at the tip, outside the stirrer's stream.", _tip_outside_stream,
    ),
    Fault(
        "evaporation", "vessel", Size(Quantity(VOLUME_RATE, at_least=0), 5.0, 600.0),
        "Water evaporates at this rate.", _evaporation,
    ),
    Fault(
        "warming", "vessel", Size(Quantity(WARMING), 0.5, 20.0),
        "The solution warms at this rate (negative: cools), as beside a hot plate.", _warming,
    ),
    Fault(
        "air", "vessel", percent(100.0),
        "So much of what air can do reaches the solution: 100 % in an open vessel, as usual without inert gas.", _air,
    ),
    Fault(
        "acid-missing", "vessel", percent(100.0),
        "So much of the strong acid is not there. It matters where the reaction uses up acid "
        "and where iron hydrolyses.",
        _acid_missing,
    ),
)  # fmt: skip
