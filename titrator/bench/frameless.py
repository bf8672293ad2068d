"""A bench without a wire: what `titrator.bench.bench` tells of a simulated board, at the same times.

For long studies. A run without refills only: whatever else a board can be asked goes over the wire.
"""

import math
from collections.abc import Sequence
from typing import Final, TypeAlias

from titrator.bench.board_clock import BoardClock
from titrator.bench.errors import DoseError
from titrator.bench.events import EndReason, MotionEnded, ReadingBlock
from titrator.bench.rig import Rig
from titrator.bench.simulated import UnframedBoard

_US: Final = 1_000_000
_NEVER_US: Final = 1 << 62
_CONNECTING: Final = 2
"""Requests before the one in which the board is asked where it stands: who it is, and that a session begins."""

FramelessEvent: TypeAlias = ReadingBlock | MotionEnded


class FramelessBench:
    """One burette and one electrode on one unframed board. Volumes are totals since the run began."""

    def __init__(self, board: UnframedBoard, rig: Rig, travel_mL: float) -> None:
        """Connect and begin a run of at most `travel_mL`. DoseError when the stroke is less or the burette refills."""
        self._board = board
        self._rig = rig
        self._burette = rig.burette.arithmetic
        self._clock = BoardClock(self)
        self._step_us = self._burette.step_us(self._burette.top_speed_mL_per_min)
        self._travel_steps = math.floor(travel_mL / self._burette.step_mL + 1e-9)
        if rig.burette.refills or self._travel_steps > self._burette.stroke_steps:
            refills = "on" if rig.burette.refills else "off"
            raise DoseError(
                f"a run without a wire should fit into one stroke of a burette that does not refill, "
                f"{rig.burette.stroke_mL:g} mL, got {travel_mL:g} mL and refills {refills}: rehearse it over the wire"
            )
        self._ready: list[FramelessEvent] = []
        self._at = 0
        self._dose = self._told_dose = 0
        self._answered_s = 0.0
        self._next_index = 0
        for _ in range(_CONNECTING):
            self._ask()
        began_ms = board.now_us // 1000
        self._ask()
        self._ask()  # the limits, which hold here without saying
        self._clock.hear(began_ms)

    # --------------------------------------------------------------------------------------------------- telling
    def now_s(self) -> float:
        """Time of what stands in the transport's place, in s."""
        return self._board.now_us / _US

    @property
    def board_s(self) -> float:
        """The board's time, as a bench on a wire reckons it."""
        return self._clock.now_s

    @property
    def left_mL(self) -> float:
        """What may be delivered."""
        return self._burette.volume_mL(self._travel_steps - self._at)

    # ---------------------------------------------------------------------------------------------------- asking
    def move_to(self, dose: int, volume_mL: float) -> None:
        """Start towards a total of `volume_mL` at top speed. DoseError beyond the travel or back."""
        target = self._burette.steps(volume_mL)
        if not self._at <= target <= self._travel_steps or self._moving:
            raise DoseError(
                f"dose {dose} should go on from {self._burette.volume_mL(self._at):g} mL, at rest, within "
                f"{self._burette.volume_mL(self._travel_steps):g} mL, got {volume_mL:g} mL"
            )
        self._board.move(target - self._at, self._step_us)
        self._at, self._dose = target, dose
        self._ask()

    def halt(self) -> float:
        """Stop the motor at once; the volume at rest."""
        self._board.halt()
        self._at = self._board.position
        self._ask()
        return self._burette.volume_mL(self._at)

    def start_readings(self) -> None:
        """Let readings stream."""
        amplifier = self._rig.amplifier
        self._board.stream(amplifier.period_ms * 1000, amplifier.readings_per_block)
        self._ask()

    def wait(self, timeout_s: float) -> Sequence[FramelessEvent]:
        """What happened, as soon as anything did; empty after `timeout_s`. Speaks to the board while the motor runs."""
        board = self._board
        deadline_s = self.now_s() + timeout_s
        while not self._ready:
            now_s = self.now_s()
            question_s = self._answered_s + self._rig.link.feed_every_s if self._moving else math.inf
            if now_s >= question_s:
                asked_ms = board.now_us // 1000
                self._ask()
                self._clock.hear(asked_ms)
                continue
            left_s = max(0.0, min(deadline_s, question_s) - now_s)
            self._take(board.news(board.now_us + math.ceil(left_s * _US)))
            if self.now_s() >= deadline_s:
                break
        ready, self._ready = self._ready, []
        return ready

    @property
    def _moving(self) -> bool:
        return self._dose > self._told_dose

    def _ask(self) -> None:
        """Wait for the answer, as long as the wire takes; what is told before it is kept."""
        self._answered_s = self.now_s()
        self._board.answer()
        while news := self._board.news(_NEVER_US):  # the answer itself holds nothing
            self._take(news)

    def _take(self, news: tuple[object, ...] | None) -> None:
        match news:
            case (tuple(times_ms), tuple(potentials_uV)):
                self._take_block(times_ms, potentials_uV)
            case (int(position), int(at_ms), bool(arrived)):
                self._at, self._told_dose = position, self._dose
                reason: EndReason = "arrived" if arrived else "halted"
                volume_mL = self._burette.volume_mL(position)
                self._ready.append(MotionEnded(at_ms / 1000, self._dose, volume_mL, position, reason))

    def _take_block(self, times_ms: tuple[int, ...], potentials_uV: tuple[int, ...]) -> None:
        self._clock.hear(times_ms[-1])
        times_s = tuple([time_ms / 1000 for time_ms in times_ms])
        potentials_mV = tuple([potential_uV / 1000 for potential_uV in potentials_uV])
        self._ready.append(ReadingBlock(self._next_index, times_s, potentials_mV, 0))
        self._next_index += len(times_ms)
