"""Random and damaged frames through reader and codec: what breaks it, what passes the CRC by chance.

Run: python benchmarks/codec_fuzz.py > benchmarks/codec_fuzz.md (some minutes; `--frames N` for another number a class,
`--seed N` for another seed). Every frame goes through `FrameReader.feed` in one or two pieces and, where it passes, through
`decode` for the side that would receive it. What is raised besides the wire's own errors ends the run.
"""

import argparse
import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from random import Random
from typing import Final

from firmware_protocol.errors import PeerProtocolError
from firmware_protocol.frames import CRC_SIZE, MOST_CONTENT, FrameReader, frame, stuff, unstuff
from firmware_protocol.messages import (
    DoseReport,
    DoseState,
    Move,
    Packet,
    Readings,
    Role,
    SetLimits,
    Status,
    ValvePosition,
    ValveState,
    decode,
    encode,
)

CHANCE: Final = 1 / 65536
"""Of rubbish to bear the right CRC of 16 bits."""
VESSEL = ValvePosition.VESSEL


def messages() -> list[tuple[Role, bytes]]:
    """Who sends, and a content: long and short ones of both sides."""
    status = Status(
        70_000,
        0xBEEF,
        1234,
        0xBEEF,
        1,
        1600,
        VESSEL,
        DoseState.MOVING,
        0,
        690,
        100,
        VESSEL,
        ValveState.CONFIRMED,
        1,
        0,
        0,
    )
    offsets, potentials = (0, 100, 200, 300, 400), (455_200, 455_300, 455_300, 455_100, 455_000)
    told = [
        (Role.HOST, Move(1, 1600, 3750)),
        (Role.HOST, SetLimits(32_000, 32_000, 3750, 7500, 2000)),
        (Role.BOARD, DoseReport(1, 1600, 800, DoseState.MOVING, 70_000)),
        (Role.BOARD, status),
        (Role.BOARD, Readings(1500, 150_000, offsets, potentials)),
    ]
    return [(role, encode(role, Packet(7, 0xC0FFEE01, message))) for role, message in told]


SENT = messages()
FRAMES = [(role, frame(content)) for role, content in SENT]


def rubbish(random: Random) -> tuple[Role, bytes]:
    """Bytes of any value, as from a line at the wrong speed."""
    return Role.BOARD, random.randbytes(random.randint(3, 65)) + b"\0"


def stuffed_rubbish(random: Random) -> tuple[Role, bytes]:
    """Random contents that are rightly stuffed: nothing but the CRC stands before the codec."""
    return Role.BOARD, stuff(random.randbytes(random.randint(8, MOST_CONTENT + CRC_SIZE))) + b"\0"


def flipped(random: Random) -> tuple[Role, bytes]:
    """One to three bits of a frame flipped, before it was stuffed: the CRC must find all of them (its distance is 4)."""
    role, encoded = random.choice(FRAMES)
    raw = int.from_bytes(unstuff(encoded[:-1]), "big")
    size = len(encoded) - 2
    for bit in random.sample(range(8 * size), random.randint(1, 3)):
        raw ^= 1 << bit
    return role, stuff(raw.to_bytes(size, "big")) + b"\0"


def flipped_on_the_line(random: Random) -> tuple[Role, bytes]:
    """One to eight bits flipped anywhere on the line, codes of COBS and delimiter included."""
    role, encoded = random.choice(FRAMES)
    line = int.from_bytes(encoded, "big")
    for bit in random.sample(range(8 * len(encoded)), random.randint(1, 8)):
        line ^= 1 << bit
    return role, line.to_bytes(len(encoded), "big") + b"\0"


def burst(random: Random) -> tuple[Role, bytes]:
    """Some bytes in a row replaced by others."""
    role, encoded = random.choice(FRAMES)
    at, many = random.randrange(len(encoded) - 1), random.randint(1, 8)
    return role, encoded[:at] + random.randbytes(many) + encoded[at + many :] + b"\0"


def lost(random: Random) -> tuple[Role, bytes]:
    """Some bytes in a row lost, as by a buffer that ran over."""
    role, encoded = random.choice(FRAMES)
    at = random.randrange(len(encoded) - 1)
    return role, encoded[:at] + encoded[at + random.randint(1, 8) :] + b"\0"


def doubled(random: Random) -> tuple[Role, bytes]:
    """Some bytes in a row told twice."""
    role, encoded = random.choice(FRAMES)
    at, many = random.randrange(len(encoded) - 1), random.randint(1, 8)
    return role, encoded[: at + many] + encoded[at:] + b"\0"


def merged(random: Random) -> tuple[Role, bytes]:
    """The end of one frame and the beginning of the next lost between them."""
    role, encoded = random.choice(FRAMES)
    _, behind = random.choice(FRAMES)
    first, second = random.randrange(1, len(encoded)), random.randrange(1, len(behind))
    return role, encoded[:first] + behind[second:] + b"\0"


CLASSES: Final[tuple[Callable[[Random], tuple[Role, bytes]], ...]] = (
    rubbish,
    stuffed_rubbish,
    flipped,
    flipped_on_the_line,
    burst,
    lost,
    doubled,
    merged,
)


@dataclass(slots=True)
class Tally:
    """What became of the frames of one class."""

    frames: int = 0
    dropped: int = 0
    as_sent: int = 0
    accepted: int = 0
    decoded: int = 0


def fuzz(make: Callable[[Random], tuple[Role, bytes]], frames: int, seed: int) -> Tally:
    """Send so many frames of a class. `accepted`: sound by the CRC, and none of those that are sent at all."""
    random = Random(f"{seed}/{make.__name__}")
    reader, tally = FrameReader(), Tally()
    contents = {content for _, content in SENT}
    for _ in range(frames):
        role, data = make(random)
        cut = random.randrange(len(data))
        tally.frames += 1
        for found in (*reader.feed(data[:cut]), *reader.feed(data[cut:])):
            if isinstance(found, PeerProtocolError):
                tally.dropped += 1
            elif found in contents:
                tally.as_sent += 1
            else:
                tally.accepted += 1
                try:
                    decode(Role(1 - role), found)
                except PeerProtocolError:
                    continue
                tally.decoded += 1
    assert reader.feed(b"\0" + FRAMES[0][1])[-1:] == [SENT[0][1]], "a sound frame must be found behind all of it"
    return tally


def fuzz_decode(contents: int, seed: int) -> int:
    """Contents past the CRC, half of them of a known kind and length; how many were messages. Each encodes back to itself."""
    random, messages_found = Random(f"{seed}/decode"), 0
    for at in range(contents):
        role, known = SENT[at % len(SENT)]
        content = random.randbytes(len(known) if at % 2 else random.randint(1, MOST_CONTENT))
        if at % 2:
            content = known[:1] + content[1:]
        try:
            packet = decode(Role(1 - role), content)
        except PeerProtocolError:
            continue
        messages_found += 1
        assert encode(role, packet) == content, f"{packet} encodes to other bytes than it came in"
    return messages_found


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    print("# The codec, fuzzed\n")
    print(f"`python benchmarks/codec_fuzz.py --frames {asked.frames} --seed {asked.seed} > benchmarks/codec_fuzz.md`\n")
    print("| class | frames | told as damaged | as sent all the same | accepted by chance | a message by chance |")
    print("| --- | --- | --- | --- | --- | --- |")
    begun_s, total = time.process_time(), Tally()
    for make in CLASSES:
        tally = fuzz(make, asked.frames, asked.seed)
        print(
            f"| {make.__name__.replace('_', ' ')} | {tally.frames:,} | {tally.dropped:,} | {tally.as_sent:,} | "
            f"{tally.accepted} | {tally.decoded} |"
        )
        for name in Tally.__slots__:
            setattr(total, name, getattr(total, name) + getattr(tally, name))
        if make is stuffed_rubbish:
            rightly = tally
    sound = fuzz_decode(asked.frames, asked.seed)
    total.frames += asked.frames
    expected = rightly.frames * CHANCE
    print(
        f"\n{total.frames:,} executions in {time.process_time() - begun_s:.0f} s of processor time; none raised anything but the "
        f"wire's own errors, and a sound frame was found behind each class. {asked.frames:,} of them are contents that go straight to "
        f"the codec, as if behind a right CRC: {sound:,} were messages, and each encodes back to the bytes it came in.\n"
    )
    print(
        f"Of *stuffed rubbish* {rightly.accepted} were accepted by chance; 1 in 65 536 would be {expected:.1f} ± "
        f"{math.sqrt(expected):.1f} (one standard deviation, Poisson). Of *rubbish* most is no COBS and never gets to the CRC. Of "
        f"*flipped* none may be: the CRC's Hamming distance is 4 (Koopman's tables). *As sent all the same*: a frame that "
        f"is sent came out whole, because the damage was behind it, before it, or put back what had stood there."
    )
    print("\n" + " ".join(line.strip() for line in _classes()))


def _classes() -> list[str]:
    return [f"*{make.__name__.replace('_', ' ')}*: {(make.__doc__ or '').strip()}" for make in CLASSES]


if __name__ == "__main__":
    main()
