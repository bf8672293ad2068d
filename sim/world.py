"""The simulated world: cell, burette and board, behind the same few methods that a serial port offers."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from typing import Any

from sim.board import Cell, SimulatedBoard
from sim.burette import SimulatedBurette
from sim.cell_file import load_cell
from sim.contents import Contents
from sim.draw import CellTruth, StatedValues, draw_cell
from sim.faults.fault import PlannedFault
from sim.faults.faulted_cell import FaultedCell
from sim.faults.parts import Parts
from sim.faults.schedule import Schedule
from sim.motor import SIMULATED_IDENTITY, BoardSettings
from sim.valve import SimulatedValve, ValveFault

__all__ = ["Hardware", "StatedValues", "World", "build_world"]

_US = 1_000_000


@dataclass(frozen=True, slots=True)
class Hardware:
    """The simulated burette and amplifier. `calibration_half_width` is a fraction (rectangular limits).

    `backlash_mL` is lost at each reversal until it is taken up; `refill_error_mL` is the standard deviation of what a
    refill leaves wrong for good; a refill faster than `quiet_filling_mL_per_s` sucks gas. `valve_fault` begins with the
    turn of number `sound_turns`, counted from 0.
    """

    step_mL: float
    stroke_mL: float
    least_step_us: int
    random_error_mL: float
    calibration_half_width: float
    adc_step_mV: float
    range_mV: tuple[float, float]
    backlash_mL: float = 0.0
    refill_error_mL: float = 0.0
    quiet_filling_mL_per_s: float = 0.5
    valve: bool = True
    valve_turn_s: float = 1.0
    valve_fault: ValveFault | None = None
    sound_turns: int = 0
    home_switch: bool = True
    identity: int = SIMULATED_IDENTITY
    time_out_factor: int = 1


class World:
    """A transport in virtual time: `read` moves time on only as far as it must, so nothing ever waits."""

    def __init__(
        self,
        board: SimulatedBoard,
        truth: CellTruth | None = None,
        contents: Contents | None = None,
        schedule: Schedule | None = None,
    ) -> None:
        """`schedule` holds the faults, already at work in the board's cell and burette."""
        self.board = board
        self._truth = truth
        self._contents = contents
        self._schedule = schedule
        self._closed = False

    def write(self, data: bytes) -> None:
        """Bytes to the board; they arrive at once. OSError when closed."""
        self._check_open()
        self.board.receive(data)

    def read(self, timeout_s: float) -> bytes:
        """The next bytes from the board; empty when none came within `timeout_s` of virtual time."""
        self._check_open()
        board = self.board
        return board.run_until(board.now_us + max(0, math.ceil(timeout_s * _US)))

    def now_s(self) -> float:
        """Virtual time in seconds since the world began."""
        return self.board.now_us / _US

    def close(self) -> None:
        """No more bytes; the board itself goes on being what it is."""
        self._closed = True

    def _check_open(self) -> None:
        if self._closed:
            raise OSError("the simulated board was closed by this program")

    def truth(self) -> dict[str, Any]:
        """What the simulator knows and nobody on the other side of the wire may: for truth.json only.

        Volumes in mL, both as delivered and as this burette indicates them while sound; concentrations of the undiluted
        sample. `carriage_steps` is where the carriage truly is, as of the last motion that ended; `not_delivered` where
        the volume is that has left the syringe and is not in the vessel.
        """
        burette = self.board.burette
        told: dict[str, Any] = {
            "steps": burette.steps_at(self.board.now_us),
            "pushed_steps": burette.pushed_steps,
            "carriage_steps": burette.carriage_steps,
            "refills": burette.refills,
            "delivered_mL": burette.delivered_mL(self.board.now_us),
            "left_the_syringe_mL": burette.left_mL(self.board.now_us),
            "not_delivered": None if burette.outlet is None else burette.outlet.account(),
            "faults": [] if self._schedule is None else self._schedule.told(),
            "drawn": {"burette_calibration": burette.calibration},
        }
        if self._contents is not None:
            told["vessel_mL"], told["vessel_C"] = self._contents.volume_mL, self._contents.temperature_C
        if self._truth is not None:
            delivered = list(self._truth.equivalence_points_delivered_mL)
            told["equivalence_points_delivered_mL"] = delivered
            told["equivalence_points_mL"] = [burette.indicated_mL(volume_mL) for volume_mL in delivered]
            told["results"] = [
                {"name": name, "value": value, "unit": "mol/L"}
                for name, value in self._truth.concentrations_mol_per_L.items()
            ]
            told["drawn"] |= self._truth.drawn
        return told


def build_world(
    cell_path: Path, stated: StatedValues, hardware: Hardware, seed: int, faults: Sequence[PlannedFault] = ()
) -> World:
    """Draw cell and burette from the seed and put them behind a board. FileProblem when the cell file is wrong.

    `faults` change no draw: until the first one strikes, the world is the same as without them.
    """
    if stated.standardised_here:  # more was delivered than indicated, then too: the titrant is weaker
        share = 1.0 / (1.0 + drawn_calibration(hardware, seed))
        stated = replace(
            stated,
            titrant_mol_per_L=share * stated.titrant_mol_per_L,
            u_titrant_mol_per_L=share * stated.u_titrant_mol_per_L,
        )
    cell, truth = draw_cell(load_cell(cell_path), stated, seed)
    if not faults:
        return World(build_board(cell, hardware, seed), truth, cell.contents)
    faulted = FaultedCell(cell)
    board = build_board(faulted, hardware, seed)
    parts = Parts(cell, board.burette, seed)
    schedule = Schedule(faults, parts)
    faulted.obey(schedule, parts)
    return World(board, truth, cell.contents, schedule)


def drawn_calibration(hardware: Hardware, seed: int) -> float:
    """How far this burette is off, as a fraction: within its limits, all equally likely."""
    half_width = hardware.calibration_half_width
    return Random(f"{seed}/burette calibration").uniform(-half_width, half_width)


def build_board(cell: Cell, hardware: Hardware, seed: int) -> SimulatedBoard:
    """A board with a burette drawn from the seed, around any cell. Every draw has a stream of its own."""
    burette = SimulatedBurette(
        step_mL=hardware.step_mL,
        calibration=drawn_calibration(hardware, seed),
        random_error_mL=hardware.random_error_mL,
        random=Random(f"{seed}/burette targets"),
        backlash_steps=round(hardware.backlash_mL / hardware.step_mL),
        refill_error_mL=hardware.refill_error_mL,
        refill_random=Random(f"{seed}/burette refills"),
        quiet_filling_mL_per_s=hardware.quiet_filling_mL_per_s,
        drop_random=Random(f"{seed}/drops"),
    )
    valve = None
    if hardware.valve:
        turn_us = round(hardware.valve_turn_s * _US)
        valve = SimulatedValve(turn_us=turn_us, fault=hardware.valve_fault, sound_turns=hardware.sound_turns)
    settings = BoardSettings(
        # Whole steps in the stroke, as every host counts them: a step that ends beyond the stroke is none.
        stroke_steps=math.floor(hardware.stroke_mL / hardware.step_mL + 1e-9),
        least_step_us=hardware.least_step_us,
        range_low_uV=round(hardware.range_mV[0] * 1000),
        range_high_uV=round(hardware.range_mV[1] * 1000),
        adc_step_uV=round(hardware.adc_step_mV * 1000),
        home_switch=hardware.home_switch,
        identity=hardware.identity,
        time_out_factor=hardware.time_out_factor,
    )
    return SimulatedBoard(burette, cell, settings, boot=Random(f"{seed}/boot").getrandbits(32) or 1, valve=valve)
