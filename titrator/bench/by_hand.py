"""A rig by hand: move, fill, read, watch the link. Each use is a session of its own, with its own limits."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from random import SystemRandom
from typing import Any, Final

from titrator.bench.amplifier_check import Measured, measured
from titrator.bench.bench import Bench
from titrator.bench.errors import BuretteError, DoseError
from titrator.bench.events import MotionEnded, ReadingBlock
from titrator.bench.port import open_port
from titrator.bench.refill import Procedure, carry_out, refill
from titrator.bench.rig import Rig
from titrator.bench.transport import Transport

HUM_PERIOD_MS: Final = 9
"""111 readings a second see a hum of 50 Hz; no whole number of readings falls on its period, so it does not hide."""
HUM_BLOCK: Final = 7
_TICK_S: Final = 0.5
_GRACE_S: Final = 5.0


@contextmanager
def by_hand(rig: Rig, travel_mL: float, open_transport: Callable[[Rig], Transport] = open_port) -> Iterator[Bench]:
    """A bench in a new session that may deliver `travel_mL`. The motor rests afterwards.

    DoseError where that is more than a stroke; BenchError as of the bench.
    """
    if not 0.0 <= travel_mL <= rig.burette.stroke_mL:
        raise DoseError(
            f"expected at most the stroke of the burette, {rig.burette.stroke_mL:g} mL, got {travel_mL:g} mL. Next: "
            f"deliver it in parts"
        )
    session = SystemRandom().randrange(1, 1 << 32)
    transport = open_transport(rig)
    try:
        bench = Bench(transport, rig, first_number=session & 0xFFFF)
        bench.begin_run(session, travel_mL)
        try:
            yield bench
        finally:
            bench.halt()
    finally:
        transport.close()


def deliver(bench: Bench, volume_mL: float) -> MotionEnded:
    """Push so much towards the vessel. DoseError where a refill has to come first, or it does not fit."""
    check_left(bench, volume_mL)
    within_s = 1.5 * 60.0 * volume_mL / bench.rig.burette.top_speed_mL_per_min + _GRACE_S
    began_s = bench.now_s
    bench.move_to(bench.motions.dose + 1, min(volume_mL, bench.left_mL))
    while bench.now_s - began_s < within_s:
        for news in bench.wait(_TICK_S):
            if isinstance(news, MotionEnded):
                return news
    raise BuretteError(f"the motor should be done within {within_s:.0f} s, and was not: it stalled, or the link broke")


def hum_travel_mL(rig: Rig, seconds: float) -> float:
    """What the motor may push in so many seconds: half a stroke, or less where it is not faster."""
    return min(0.5 * rig.burette.stroke_mL, rig.burette.top_speed_mL_per_min * seconds / 60.0)


def run_motor(bench: Bench, seconds: float) -> None:
    """Let the motor run towards the vessel for all of `seconds`; `check_left` says whether it can."""
    volume_mL = hum_travel_mL(bench.rig, seconds)
    bench.move_to(bench.motions.dose + 1, min(volume_mL, bench.left_mL), speed_mL_per_min=60.0 * volume_mL / seconds)


def check_left(bench: Bench, volume_mL: float) -> None:
    """DoseError where so much may not be delivered before a refill."""
    if bench.left_mL < volume_mL - bench.rig.burette.step_mL:
        raise DoseError(
            f"expected at most the {bench.left_mL:g} mL that may be delivered before a refill, got {volume_mL:g} mL. "
            f"Next: `titrator rig home` fills the burette"
        )


def fill(bench: Bench, told: Callable[[Any], None]) -> None:
    """Fill the burette to its home switch, as a refill does. `told` hears of each step's outcome. BuretteError."""
    if not bench.rig.burette.refills:
        raise BuretteError(
            "expected a burette that refills itself (burette.refills in the rig file), got one that does not: fill it "
            "by hand"
        )
    procedure: Procedure = refill(bench, bench.motions.dose + 1)
    try:
        carry_out(bench, next(procedure))
        while True:
            for news in bench.wait(_TICK_S):
                if not isinstance(news, ReadingBlock):
                    told(news)
                    carry_out(bench, procedure.send(news))
    except StopIteration:
        return


def readings(bench: Bench, seconds: float, *, hum: bool = False) -> tuple[Measured, int, int]:
    """Readings of so many seconds of the board's: measured, how many went missing, how many at an end of the range.

    `hum`: as fast as it takes to see the mains. BuretteError when none comes.
    """
    if hum:
        bench.start_readings(HUM_PERIOD_MS, HUM_BLOCK)
    else:
        bench.start_readings()
    potentials_mV: list[float] = []
    missed = saturated = 0
    began_s = bench.now_s
    while bench.now_s - began_s < seconds:
        for news in bench.wait(_TICK_S):
            if isinstance(news, ReadingBlock):
                potentials_mV.extend(news.potential_mV)
                missed += news.missed
                saturated += news.saturated
    if len(potentials_mV) < 2:
        raise BuretteError(f"expected readings for {seconds:g} s, got {len(potentials_mV)}: is the amplifier there?")
    return measured(potentials_mV), missed, saturated


def counters(bench: Bench) -> dict[str, int]:
    """What happened on the link so far, with what the board dropped since it started."""
    return {**asdict(bench.counters), "damaged_at_the_board": bench.damaged_at_the_board()}
