"""The motions of a run: the newest one sent, how it ended, and what is certain of the volume when its end is not known.

Knows no link. Whoever talks to the board tells it what was sent and what came back.
"""

import math
from typing import NamedTuple

from firmware_protocol.messages import DoseReport, DoseState, Move, Refill, Status, ValvePosition
from titrator.bench.bounds import Bounds
from titrator.bench.errors import DoseError, PositionLostError
from titrator.bench.events import END_REASONS, EndReason
from titrator.bench.plunger import Plunger


class Ended(NamedTuple):
    """The end of the newest motion, told for the first time."""

    dose: int
    position: int
    reason: EndReason
    aside: bool


class Motions:
    """Bookkeeping in the board's own count of steps.

    `dose` is the newest identifier sent, `told` the newest one of which it is known what became, `taken` the newest one
    of these that the board took. `sessions` are those of this run, and `baseline` is session and number of the board's
    newest dose before this run moved anything. `doubt`: what is certain once the position is lost; nothing moves then.
    """

    def __init__(self, plunger: Plunger) -> None:
        self.plunger = plunger
        self.dose = 0
        self.told = 0
        self.taken = 0
        self.doubt: Bounds | None = None
        self.moving = False
        self.aside: Move | Refill | None = None
        self.sessions: frozenset[int] = frozenset()
        self.baseline = (0, 0)
        self._rests = 0  # where the plunger was before the newest motion
        self._rested_total = 0

    # ------------------------------------------------------------------------------------------------ beginning
    def begin(self, status: Status, session: int) -> None:
        """A run begins in `session`, or goes on in it, with a motion under way perhaps."""
        own = status.dose_session == session
        self.sessions = frozenset((session,))
        self.baseline = (0, 0) if own else (status.dose_session, status.dose)
        self.moving = own and status.dose_state is DoseState.MOVING
        self.dose = status.dose if own else 0
        self.told = self.taken = self.dose - self.moving
        self.aside = None
        self.note_rest()
        if self.moving:
            if status.dose_valve is ValvePosition.VESSEL:
                self.plunger.at = status.dose_target
            else:
                kind = Refill if status.dose_target < status.position else Move
                self.aside = kind(status.dose, status.dose_target, 0)

    def recall(self, session: int, baseline: tuple[int, int]) -> None:
        """As `begin`, from a record."""
        self.sessions, self.baseline = frozenset((session,)), baseline
        self.note_rest()

    def note_rest(self) -> None:
        """The plunger rests where the bookkeeping says: what is delivered until now is certain."""
        self._rests, self._rested_total = self.plunger.at, self.plunger.total_steps

    # ------------------------------------------------------------------------------------------- before it is sent
    def checked_target(self, dose: int, volume_mL: float) -> int:
        """The count to send for a total of `volume_mL`. DoseError where it may not be sent."""
        plunger, burette = self.plunger, self.plunger.burette
        self.check_number(dose)
        if not math.isfinite(volume_mL):
            raise DoseError(f"a dose needs a volume, got {volume_mL}")
        total = burette.steps(volume_mL)
        target = plunger.filling.position_of(total)
        if target < plunger.at:
            raise DoseError(
                f"dose {dose} should be at or beyond {burette.volume_mL(plunger.total_steps):g} mL, where the plunger "
                f"is bound, got {volume_mL:g} mL: delivered titrant cannot be taken back"
            )
        if total > plunger.travel_steps:
            raise DoseError(
                f"dose {dose} should be within the travel of this run, "
                f"{burette.volume_mL(plunger.travel_steps):g} mL, got {volume_mL:g} mL: end the run or begin one "
                f"with more travel"
            )
        if target > plunger.at + plunger.left_steps:
            raise DoseError(
                f"dose {dose} should be within the {burette.volume_mL(plunger.left_steps):g} mL that may be delivered "
                f"before a refill, got {volume_mL - plunger.total_steps * burette.step_mL:g} mL: refill the burette "
                f"first"
            )
        return target

    def check_number(self, dose: int) -> None:
        """DoseError for an identifier that is none, and before a run has begun."""
        if not self.plunger.begun:
            raise DoseError("no run has begun: call begin_run() before the first dose")
        if self.doubt is not None:
            raise DoseError("the volume delivered is not certain any more: nothing moves in this run. Begin a new one")
        if not 0 < dose < 1 << 32:
            raise DoseError(f"a dose identifier is a whole number from 1 to 4294967295, got {dose}")

    def sending(self, motion: Move | Refill, *, aside: bool) -> None:
        """`motion` is about to be sent: from now on nobody knows where the plunger is until its end is told."""
        if motion.dose <= self.dose:
            return  # a repeat, or a slip that the board's answer brings to light
        if not self.unknown:
            self.note_rest()
        self.dose = motion.dose
        self.aside = motion if aside else None
        if not aside:
            self.plunger.at = motion.target

    def answered(self, motion: Move | Refill, report: DoseReport) -> None:
        """The board's answer to it. DoseError when it took another one."""
        dose, target = motion.dose, motion.target
        if report.dose != dose or report.target != target:
            raise DoseError(
                f"dose {dose} to step {target} was not taken: the board's newest is dose {report.dose} to step "
                f"{report.target}. Next: number doses upwards without using one twice; compare the record"
            )
        self.moving = dose > self.told

    def refused(self, motion: Move | Refill, dose_before: int) -> None:
        """The board refused it: nothing moved, and the plunger rests where it did."""
        if motion.dose == self.dose and motion.dose > dose_before:
            self.dose = dose_before
            self.plunger.at = self._rests
            self.aside = None

    # ---------------------------------------------------------------------------------------------------- the end
    def ended(self, dose: int, position: int, state: DoseState) -> Ended | None:
        """The end of a motion, whichever of its tellings comes first; None for every other telling."""
        if dose <= self.told or dose != self.dose or state not in END_REASONS:
            return None
        self.told = self.taken = dose
        self.moving = False
        plunger, aside = self.plunger, self.aside
        if aside is None:
            plunger.at = position
        else:
            plunger.moved_aside(position, drawn=isinstance(aside, Refill))
            if state is DoseState.HOME:
                plunger.found_home(position)
        self.note_rest()
        return Ended(dose, position, END_REASONS[state], aside is not None)

    @property
    def unknown(self) -> bool:
        """Whether a motion was sent whose end is not known yet."""
        return self.dose > self.told

    @property
    def bounds(self) -> Bounds:
        """What is certain of the volume now: all of it at rest; under way, between the last rest and the target."""
        total = self._rested_total
        if self.doubt is not None:
            return self.doubt
        if not self.unknown or self.aside is not None:
            return Bounds(total, total)
        return Bounds(total, max(total, self.plunger.total_steps))

    # --------------------------------------------------------------------------------------------------- going on
    def settle(self, status: Status, within: int) -> Ended | None:
        """Compare with the board, at rest behind a new session, what is on record; the end that was not known, if any.

        `within`: how many steps a reset may have put the count wrong. PositionLostError where the two do not agree.
        """
        own = status.dose_session in self.sessions
        if not own and (status.dose_session, status.dose) not in {(0, 0), self.baseline}:
            raise self._lost(
                f"another program moved the burette meanwhile: dose {status.dose} of session "
                f"{status.dose_session:08x} is none of this run"
            )
        dose = status.dose if own else 0
        if dose == self.dose and self.unknown:
            low, high = sorted((self._rests, status.dose_target))
            if not low - within <= status.position <= high + within:
                raise self._lost(
                    f"dose {dose} goes from step {self._rests} to {status.dose_target}, and the board counts "
                    f"{status.position}"
                )
            return self.ended(dose, status.position, status.dose_state)
        if dose != self.taken:
            raise self._lost(
                f"the board's newest dose is {dose}, and the record's newest is {self.taken}"
                + (f", with {self.dose} sent and not answered" if self.unknown else "")
            )
        if status.position != self._rests:
            raise self._lost(f"the plunger should rest at step {self._rests}, and the board counts {status.position}")
        self.never_taken()
        return None

    def lose(self, why: str, snap_steps: int) -> PositionLostError:
        """The board's count is gone; the motor may have snapped by `snap_steps` either way. The error that says so."""
        self.doubt = self.bounds.widened(snap_steps)
        return self._lost(why)

    def _lost(self, why: str) -> PositionLostError:
        self.doubt = bounds = self.bounds
        step_mL = self.plunger.burette.step_mL
        return PositionLostError(
            f"{why}. Between {bounds.low * step_mL:.4f} and {bounds.high * step_mL:.4f} mL were delivered. Next: what "
            f"is on record stays good; look at burette and vessel, then begin a new run",
            bounds,
        )

    def never_taken(self) -> None:
        """A motion whose end is not known never reached the board; its identifier is used up all the same."""
        self.plunger.at = self._rests
        self.aside = None
        self.moving = False
        self.told = self.dose
