"""Opens the simulated rig, and the cell file: the one place where titrator knows the simulator."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Protocol

from titrator.bench.rig import Rig
from titrator.bench.transport import Transport
from titrator.files import StrictModel


class RehearsalTransport(Transport, Protocol):
    """A transport in virtual time that can say afterwards what was true."""

    def truth(self) -> dict[str, Any]:
        """For truth.json; never for control or evaluation."""
        ...


def open_simulated(rig: Rig, cell_path: Path, stated: Mapping[str, Any], seed: int) -> RehearsalTransport:
    """A simulated board around the cell of `cell_path`, everything uncertain drawn from the seed.

    `stated` holds the fields of sim.draw.StatedValues by name: what method and laboratory state and the truth varies
    about. FileProblem when the cell file is wrong. The simulator is loaded only here.
    """
    from sim.world import Hardware, StatedValues, build_world

    burette, amplifier = rig.burette, rig.amplifier
    hardware = Hardware(
        step_mL=burette.step_mL,
        stroke_mL=burette.stroke_mL,
        least_step_us=burette.arithmetic.least_step_us,
        random_error_mL=burette.random_error_mL,
        calibration_half_width=burette.calibration.half_width,
        adc_step_mV=amplifier.step_mV,
        range_mV=(amplifier.range.low_mV, amplifier.range.high_mV),
    )
    return build_world(cell_path, StatedValues(**stated), hardware, seed)


def cell_model() -> type[StrictModel]:
    """What a cell file may hold. Loads no numerical library."""
    from sim.cell_file import CellFile

    return CellFile


def check_cell(path: str | Path) -> str:
    """Read a cell file, without opening anything, and return its name. FileProblem for whatever is wrong in it."""
    from sim.cell_file import load_cell

    return load_cell(path).name
