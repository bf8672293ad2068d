"""Bytes on the line for a reading and for an addition, against what a serial line carries.

Run: python benchmarks/line_use.py > benchmarks/line_use.md. The sizes come from the codec; the rest is counted on the
wire of one dry run of the demonstration method (simulated), frame by frame and in both directions.
"""

import tempfile
from collections import Counter, defaultdict
from dataclasses import fields
from pathlib import Path

from accuracy import CONFIGS, NOW

from firmware_protocol.frames import DELIMITER, FrameReader, frame
from firmware_protocol.messages import (
    AskStatus,
    DoseReport,
    DoseState,
    Message,
    MotionEnded,
    Move,
    Packet,
    Readings,
    Role,
    Status,
    ValvePosition,
    ValveState,
    decode,
    encode,
)
from sim.world import World
from titrator.bench.rig import load_rig
from titrator.method import load_method
from titrator.run.rehearsal import Setup, rehearse

BAUD = 115_200
BYTES_PER_S = BAUD / 10
"""8N1: ten bits for each byte, each way."""
METHOD = CONFIGS / "methods" / "iron_in_pickling_bath.yaml"
SEED = 1


def size(role: Role, message: Message) -> int:
    """Bytes on the line: leading delimiter, frame, delimiter. The same for all values of the fields."""
    return len(DELIMITER + frame(encode(role, Packet(1, 1, message))))


class Counted:
    """What one direction of the line carried."""

    def __init__(self, receiver: Role) -> None:
        self._receiver = receiver
        self._reader = FrameReader()
        self.bytes = 0
        self.frames: Counter[str] = Counter()
        self.readings = self.reading_bytes = 0
        self.seconds: defaultdict[int, int] = defaultdict(int)

    def carry(self, data: bytes, now_s: float) -> None:
        """Bytes that pass at a moment of bench time."""
        self.bytes += len(data)
        self.seconds[int(now_s)] += len(data)
        for content in self._reader.feed(data):
            assert isinstance(content, bytes)
            message = decode(self._receiver, content).message
            self.frames[type(message).__name__] += 1
            if isinstance(message, Readings):
                self.readings += len(message.potentials_uV)
                self.reading_bytes += len(DELIMITER + frame(content))


def counted_run() -> tuple[Counted, Counted, float]:
    """To the board, from the board, and the run's duration in seconds of bench time."""
    out, back, ended_s = Counted(Role.BOARD), Counted(Role.HOST), 0.0
    write, read = World.write, World.read

    def counting_write(world: World, data: bytes) -> None:
        out.carry(data, world.now_s())
        write(world, data)

    def counting_read(world: World, timeout_s: float) -> bytes:
        nonlocal ended_s
        data = read(world, timeout_s)
        ended_s = world.now_s()
        back.carry(data, ended_s)
        return data

    World.write, World.read = counting_write, counting_read  # type: ignore[method-assign]
    try:
        method = load_method(METHOD)
        rig = load_rig(method.rehearsal.rig)
        with tempfile.TemporaryDirectory() as runs:
            rehearse(Setup(method, METHOD, rig, method.rehearsal.rig, method.rehearsal.cell, SEED), Path(runs), NOW)
    finally:
        World.write, World.read = write, read  # type: ignore[method-assign]
    return out, back, ended_s


def share(bytes_per_s: float) -> str:
    """Of the line's capacity."""
    return f"{100 * bytes_per_s / BYTES_PER_S:.2g} %"


def main() -> None:
    """Print the tables."""
    vessel = ValvePosition.VESSEL
    status = Status(*[kind(0) for kind in _kinds(Status)])
    move, report = (
        size(Role.HOST, Move(1, 1600, 3750, vessel)),
        size(Role.BOARD, DoseReport(1, 1, 1, DoseState.MOVING, 1)),
    )
    ended = size(Role.BOARD, MotionEnded(1, 1, DoseState.ARRIVED, 1))
    question, answer = size(Role.HOST, AskStatus()), size(Role.BOARD, status)
    print("# Use of the line\n")
    print(
        f"`python benchmarks/line_use.py > benchmarks/line_use.md`. {BAUD} baud, 8N1: {BYTES_PER_S:g} bytes a second each way.\n"
    )
    print("## By the codec\n")
    print("Leading delimiter, frame and delimiter; COBS adds one byte whatever the values.\n")
    print("| what | to the board, bytes | from the board, bytes | time on the line, ms |")
    print("| --- | --- | --- | --- |")
    rows = [("an addition: Move, DoseReport, MotionEnded", move, report + ended)]
    rows += [("keeping the motor fed, each half second of motion: AskStatus, Status", question, answer)]
    for count in (1, 5, 7):
        block = size(Role.BOARD, Readings(0, 0, (0,) * count, (0,) * count))
        rows.append((f"a block of {count} reading{'s' * (count > 1)}: {block / count:.3g} bytes a reading", 0, block))
    for what, there, back_bytes in rows:
        print(f"| {what} | {there} | {back_bytes} | {1000 * (there + back_bytes) / BYTES_PER_S:.2f} |")
    ten = 2 * size(Role.BOARD, Readings(0, 0, (0,) * 5, (0,) * 5))
    print(
        f"\nTen readings a second in blocks of five take {ten} bytes a second, {share(ten)} of the line from the board; ",
        end="",
    )
    most = int(BYTES_PER_S / size(Role.BOARD, Readings(0, 0, (0,) * 7, (0,) * 7)) * 7)
    print(f"in blocks of seven a line could carry {most} readings a second.\n")

    out, back, run_s = counted_run()
    moves = out.frames["Move"]
    print("## Counted in a dry run (simulated)\n")
    print(f"`{METHOD.name}`, seed {SEED}: {run_s:.0f} s, {moves} additions, {back.readings} readings.\n")
    print("| | to the board | from the board |")
    print("| --- | --- | --- |")
    print(f"| bytes | {out.bytes:,} | {back.bytes:,} |")
    print(f"| frames | {_told(out.frames)} | {_told(back.frames)} |")
    print(
        f"| mean, bytes a second (part of the line) | {out.bytes / run_s:.1f} ({share(out.bytes / run_s)}) | {back.bytes / run_s:.1f} ({share(back.bytes / run_s)}) |"
    )
    print(
        f"| most in one second | {max(out.seconds.values())} ({share(max(out.seconds.values()))}) | {max(back.seconds.values())} ({share(max(back.seconds.values()))}) |"
    )
    print(f"| a reading, bytes | | {back.reading_bytes / back.readings:.1f} |")
    print(
        f"| an addition, all that is no reading, bytes | {out.bytes / moves:.0f} | {(back.bytes - back.reading_bytes) / moves:.0f} |"
    )


def _told(frames: Counter[str]) -> str:
    return ", ".join(f"{name} {count}" for name, count in frames.most_common())


def _kinds(cls: type[Status]) -> list[type]:
    enums = {"dose_valve": ValvePosition, "dose_state": DoseState, "valve": ValvePosition, "valve_state": ValveState}
    return [enums.get(field.name, int) for field in fields(cls)]


if __name__ == "__main__":
    main()
