"""Opens the simulated rig, and the cell file: the one place where titrator knows the simulator."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple, Protocol

from titrator.bench.rig import Rig
from titrator.bench.transport import Transport
from titrator.files import StrictModel


class RehearsalTransport(Transport, Protocol):
    """A transport in virtual time that can say afterwards what was true."""

    def truth(self) -> dict[str, Any]:
        """For truth.json; never for control or evaluation."""
        ...


class Place(NamedTuple):
    """Where a board is served: a TCP port of this computer (0: any free one), or, when None, a pty.

    `link` is the path of a symbolic link to the pty, whose own name changes from start to start.
    """

    tcp_port: int | None
    link: Path | None = None


class ServedBoard(Protocol):
    """A simulated board in real time on a line, with one host at a time."""

    address: str
    """What a host opens."""
    identity: int
    """What the board reports as its own."""

    def run(self, *, once: bool = False) -> None:
        """Serve until `stop` (`once`: until a host that had opened a session has gone), then give the place free."""
        ...

    def stop(self) -> None:
        """End `run` soon; from a signal handler or another thread."""
        ...

    def truth(self) -> dict[str, Any]:
        """As of a rehearsal."""
        ...


def open_simulated(
    rig: Rig, cell_path: Path, stated: Mapping[str, Any], seed: int, faults: Sequence[str] = ()
) -> RehearsalTransport:
    """A simulated board around the cell of `cell_path`, everything uncertain drawn from the seed.

    `stated` holds the fields of sim.draw.StatedValues by name: what method and laboratory state and the truth varies
    about. `faults` are words such as "stirrer-off@8 mL"; what they do and when they struck is told by the truth only.
    FileProblem when the cell file is wrong, InputProblem when a fault is. The simulator is loaded only here.
    """
    from sim.faults.words import parse_fault
    from sim.world import StatedValues, build_world

    planned = [parse_fault(words) for words in faults]
    return build_world(cell_path, StatedValues(**stated), _hardware(rig), seed, planned)


class UnframedBoard(Protocol):
    """The simulated board without its wire, in virtual time; as `sim.unframed` has it."""

    now_us: int

    def stream(self, period_us: int, per_block: int) -> None:
        """Let readings stream."""
        ...

    def move(self, steps: int, step_us: int) -> None:
        """Begin to push."""
        ...

    def halt(self) -> None:
        """End a motion under way."""
        ...

    @property
    def position(self) -> int:
        """Steps counted by now."""
        ...

    def answer(self) -> None:
        """Tell, in its turn, that what was asked is done."""
        ...

    def news(self, until_us: int) -> tuple[Any, ...] | None:
        """What is told next, by `until_us`: times and potentials of a block (ms, µV), position, time (ms) and arrival
        of a motion that ended, or nothing but that what was asked is done."""
        ...

    def truth(self) -> dict[str, Any]:
        """As of a rehearsal."""
        ...


def open_unframed(
    rig: Rig, cell_path: Path, stated: Mapping[str, Any], seed: int, faults: Sequence[str] = ()
) -> UnframedBoard:
    """As `open_simulated`, with the same draws, but without the wire."""
    from sim.faults.words import parse_fault
    from sim.unframed import UnframedBoard as Unframed
    from sim.world import StatedValues, build_world

    planned = [parse_fault(words) for words in faults]
    return Unframed(build_world(cell_path, StatedValues(**stated), _hardware(rig), seed, planned))


def open_recorded(rig: Rig, curve: Mapping[str, Any], seed: int) -> UnframedBoard:
    """A board, without its wire, around a curve that was recorded: `curve` holds the fields of `RecordedCurve`.

    Volumes of the curve are those that a burette indicates, so this burette is off by its random error only. Its truth
    knows no points.
    """
    from sim.recorded import RecordedCurve, recorded_world
    from sim.unframed import UnframedBoard as Unframed

    hardware = replace(_hardware(rig), calibration_half_width=0.0)
    return Unframed(recorded_world(RecordedCurve(**curve), hardware, seed))


def check_faults(faults: Sequence[str]) -> None:
    """Read the words of faults without opening anything. InputProblem for the first that is wrong."""
    from sim.faults.words import parse_fault

    for words in faults:
        parse_fault(words)


def list_faults() -> list[dict[str, Any]]:
    """All faults that can be asked for: name, where, unit and default of the size (None without one), what it does."""
    from sim.faults.catalogue import CATALOGUE

    return [fault.told() for fault in CATALOGUE.values()]


def serve_simulated(
    rig: Rig,
    cell_path: Path,
    stated: Mapping[str, Any],
    seed: int,
    *,
    place: Place,
    speed: int = 1,
    check_box_mV: float | None = None,
) -> ServedBoard:
    """The same board in real time (`speed` times as fast) at `place`, for any host; it serves once its `run` is called.

    It reports the identity of a rig of kind `serial`, so that the rig file of a real bench finds it. `check_box_mV`
    puts a box of known sources of this voltage in the place of the cell. FileProblem when the cell file is wrong,
    OSError when the place is taken.
    """
    from sim.serve import open_place
    from sim.world import StatedValues, build_world

    hardware = replace(_hardware(rig), time_out_factor=speed)
    if rig.board is not None:
        hardware = replace(hardware, identity=rig.board.identity)
    world = build_world(cell_path, StatedValues(**stated), hardware, seed)
    if check_box_mV is not None:
        from sim.check_box import CheckBox

        board = world.board
        board.cell = CheckBox(check_box_mV, lambda: board.session, seed)
    return open_place(world, tcp_port=place.tcp_port, link=place.link, speed=speed)


def _hardware(rig: Rig) -> Any:
    from sim.world import Hardware

    burette, amplifier = rig.burette, rig.amplifier
    return Hardware(
        step_mL=burette.step_mL,
        stroke_mL=burette.stroke_mL,
        least_step_us=burette.arithmetic.least_step_us,
        random_error_mL=burette.random_error_mL,
        calibration_half_width=burette.calibration.half_width,
        adc_step_mV=amplifier.step_mV,
        range_mV=(amplifier.range.low_mV, amplifier.range.high_mV),
        # Without refills nothing turns round: whoever fills it by hand takes the backlash up by hand.
        backlash_mL=burette.backlash_mL if burette.refills else 0.0,
    )


def cell_model() -> type[StrictModel]:
    """What a cell file may hold. Loads no numerical library."""
    from sim.cell_file import CellFile

    return CellFile


def check_cell(path: str | Path) -> str:
    """Read a cell file, without opening anything, and return its name. FileProblem for whatever is wrong in it."""
    from sim.cell_file import load_cell

    return load_cell(path).name
