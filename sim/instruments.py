"""Electrode, stirring and surroundings as a cell file describes them."""

import math
from random import Random

from sim.amplifier_input import AmplifierInput
from sim.cell_file import CellFile
from sim.electrode import Electrode
from sim.oxide import OxideLaw
from sim.response import ResponseLaw
from sim.stated import StatedValues
from sim.stirring import Stirring
from sim.surroundings import Surroundings
from titrator.chemistry.references import reference_potential_V
from titrator.files.problems import FileProblem, Problem


def electrode_of(cell: CellFile, stated: StatedValues, seed: int) -> Electrode:
    """The electrode with the amplifier's input; the hum's frequency and phase come from the seed.

    Raises FileProblem when the reference that is there has no potential at the temperature stated.
    """
    section, amplifier = cell.electrode, cell.amplifier
    oxide = section.oxide
    return Electrode(
        ResponseLaw(
            section.response_s,
            section.slowing_s,
            section.slowing_half_at,
            section.slowing_power,
            section.poised_at_mol_per_L,
        ),
        drift_mV_per_s=cell.drift_mV_per_s,
        amplifier=AmplifierInput.drawn(
            Random(f"{seed}/mains"),
            source_MOhm=section.resistance_MOhm,
            input_MOhm=math.inf if amplifier.input_MOhm is None else amplifier.input_MOhm,
            hum_mV=amplifier.hum_mV,
        ),
        oxide=None
        if oxide is None
        else OxideLaw(oxide.above_mV, oxide.full_mV, oxide.grows_s, oxide.reduced_s, oxide.slower),
        oxide_mV=0.0 if oxide is None else oxide.at_start_mV,
        coated=section.coated,
        cracked=section.cracked,
        offset_mV=section.offset_mV + _exchanged_mV(cell, stated),
    )


def _exchanged_mV(cell: CellFile, stated: StatedValues) -> float:
    """What every reading is too high by because another reference electrode is there than the method states.

    E against the reference is E against SHE less the potential of the reference: a higher one lowers the readings.
    """
    real = cell.electrode.reference
    if real is None:
        return 0.0
    try:
        real_V = reference_potential_V(real.electrode, real.filling, stated.temperature_C)
    except ValueError as error:
        raise FileProblem([Problem(1, 1, f"electrode.reference: {error}", cell.path)]) from None
    return 1000.0 * (stated.reference_potential_V - real_V)


def stirring_of(cell: CellFile) -> Stirring:
    """The stirring, with the tip where it is."""
    return Stirring(cell.mixing_s, dead_share=cell.tip.outside_stream, dead_s=cell.tip.lingers_s)


def surroundings_of(cell: CellFile, temperature_C: float) -> Surroundings:
    """The room, which is as warm as the solution at the start where the file says nothing else."""
    section = cell.surroundings
    return Surroundings(
        evaporation_mL_per_h=60.0 * section.evaporation_mL_per_min,
        room_C=temperature_C if section.room_C is None else section.room_C,
        exchange_s=math.inf if section.exchange_s is None else section.exchange_s,
        warming_C_per_min=section.warming_C_per_min,
        air=section.air,
    )
