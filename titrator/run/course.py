"""The course of a run, the same on a bench and in a rehearsal: connect, folder, journal, consent, driver."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from titrator.bench.bench import Bench
from titrator.bench.errors import BenchError
from titrator.bench.events import Identity
from titrator.bench.rig import Rig
from titrator.bench.transport import Transport, Way
from titrator.control.controller import Controller
from titrator.control.plan import Plan
from titrator.method import Method
from titrator.record.journal import Journal
from titrator.record.run_folder import RunFolder
from titrator.record.run_lock import RunLock
from titrator.run import sessions
from titrator.run.attendance import Attendance
from titrator.run.driver import TICK_S, Driver
from titrator.run.link_watch import session_fields
from titrator.run.plan import plan_for


def _granted(_journal: Journal, _now_s: Callable[[], float]) -> str | None:
    return None


@dataclass(frozen=True, slots=True)
class Course:
    """What a run is made from. `folder` makes its folder, once the board has answered; `first_line` is the journal's.

    `consent` is asked before anything moves, with the journal and the board's clock; it returns why the run may not
    begin, or None. `plan` is that of method and rig alone unless stated; `priming_mL` is the most that its priming, if
    any, delivers over waste. `way` leads back to a board whose transport broke, where the run goes on in a session that
    `new_session` numbers.
    """

    method: Method
    rig: Rig
    session: int
    folder: Callable[[], RunFolder]
    first_line: Callable[[Identity], dict[str, Any]]
    consent: Callable[[Journal, Callable[[], float]], str | None] = _granted
    plan: Plan | None = None
    priming_mL: float = 0.0
    tick_s: float = TICK_S
    way: Way | None = None
    new_session: Callable[[], int] = sessions.new_session


def conduct(course: Course, transport: Transport, attendance: Attendance) -> RunFolder:
    """Conduct a run to its end over `transport`, which is closed whatever happens. Return its folder.

    BenchError when the board does not answer as the rig file says, or when the run cannot begin; RunFolderError when
    the folder cannot be made; JournalError when it cannot be written to. Whatever goes wrong once the driver has begun
    ends the run in its journal instead.
    """
    bench = Bench(transport, course.rig, way=course.way, first_number=course.session & 0xFFFF)
    try:
        controller = Controller(course.plan or plan_for(course.method, course.rig))
        identity = bench.connect()
        folder = course.folder()
        with RunLock(folder.path):
            journal = Journal(folder.journal, sync=course.rig.record.sync)
            try:
                attendance.begun(folder)
                journal.write("run", bench.now_s, course.first_line(identity), durable=True)
                _go(course, controller, bench, journal, attendance)
            finally:
                journal.close()
    finally:
        bench.close()
    return folder


def _go(course: Course, controller: Controller, bench: Bench, journal: Journal, attendance: Attendance) -> None:
    try:
        refused = course.consent(journal, lambda: bench.now_s)
        if refused is not None:
            _end(journal, bench, "stopped", "operator", refused)
            return
        travel_mL = course.method.ends_when.volume_above_mL
        bench.begin_run(course.session, travel_mL, priming_mL=course.priming_mL)
        begun = {**session_fields(bench.begun), "travel_mL": travel_mL, "priming_mL": course.priming_mL}
        journal.write("session", bench.now_s, begun, durable=True)
    except BenchError as error:
        _end(journal, bench, "faulted", "link", str(error))
        raise
    Driver(
        controller,
        bench,
        journal,
        word=attendance.word,
        observer=attendance.observe,
        keep_pace=attendance.keep_pace,
        watch=attendance.watch,
        tick_s=course.tick_s,
        new_session=course.new_session,
    ).run()


def _end(journal: Journal, bench: Bench, state: str, cause: str, why: str) -> None:
    """The last line of a run in which nothing ever moved."""
    fields = {"state": state, "cause": cause, "why": why, "volume_mL": 0.0}
    journal.write("end", bench.now_s, fields, durable=True)


def rig_fields(rig: Rig) -> dict[str, Any]:
    """What the record needs of the rig, to be evaluated without any other file but the method."""
    burette, amplifier = rig.burette, rig.amplifier
    return {
        "burette": {
            "step_mL": burette.step_mL,
            "random_error_mL": burette.random_error_mL,
            "calibration_half_width": burette.calibration.half_width,
        },
        "amplifier": {"step_mV": amplifier.step_mV, "readings_per_second": amplifier.readings_per_second},
    }
