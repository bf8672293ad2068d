"""Going on with a run whose process ended without ending it: from its journal, on its own board, in a new session."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from titrator.bench.bench import Bench
from titrator.bench.errors import PositionLostError
from titrator.bench.memory import HeldTitrant, memory_path
from titrator.bench.port import PortWay, open_port
from titrator.bench.rig import Rig, load_rig
from titrator.bench.transport import Transport, Way
from titrator.control.controller import Controller
from titrator.control.plan import PrimingSettings
from titrator.files import InputProblem
from titrator.method import Method, load_method
from titrator.record.journal import Journal
from titrator.record.journal_reader import JournalContents, read_journal
from titrator.record.run_folder import RunFolder, sha256
from titrator.record.run_lock import RunLock
from titrator.run import sessions
from titrator.run.attendance import Attendance
from titrator.run.driver import TICK_S, Driver
from titrator.run.errand_times import priming_settings
from titrator.run.filling import Filling
from titrator.run.followed import follow, recall
from titrator.run.link_watch import session_fields, uncertain_fields
from titrator.run.live import TICK_S as LIVE_TICK_S
from titrator.run.live import remembering
from titrator.run.plan import plan_for

NOTHING_MOVED: Final = "nothing had moved yet in this run: begin it anew with `titrator run`"


class ResumeError(InputProblem):
    """The run cannot be gone on with; the message says why, and what its record is still good for."""


class RunClosedError(ResumeError):
    """The volume is not certain any more: the run was ended in its journal instead."""


@dataclass(frozen=True, slots=True)
class Interrupted:
    """A run whose journal has no end, read and checked."""

    folder: RunFolder
    contents: JournalContents
    method: Method
    rig: Rig


def interrupted(folder: RunFolder, *, port: str | None = None) -> Interrupted:
    """Read the run in `folder` and see whether it can be gone on with; `port` replaces that of its rig file.

    ResumeError, JournalDamagedError, FileProblem.
    """
    contents = read_journal(folder.journal)
    lines = contents.lines
    if not lines or not contents.of_kind("session"):
        raise ResumeError(f"{folder.path}: {NOTHING_MOVED}")
    ends = contents.of_kind("end")
    if ends:
        raise ResumeError(
            f"{folder.path}: expected a run that was interrupted, got one that ended ({ends[-1]['state']}: "
            f"{ends[-1]['why']}). Next: `titrator evaluate` it, or begin a new run"
        )
    first = lines[0]
    for what, path, then in (
        ("method", folder.method, first["method_sha256"]),
        ("rig file", folder.rig, first.get("rig_sha256")),
    ):
        if sha256(path) != then:
            raise ResumeError(
                f"{path}: expected the {what} that the run was made with (SHA-256 {then}), got another. Next: put the "
                f"copy back as it was, or `titrator evaluate` the run and begin a new one"
            )
    rig = load_rig(folder.rig)
    if port is not None and rig.board is not None:
        rig = rig.model_copy(update={"board": rig.board.model_copy(update={"port": port})})
    return Interrupted(folder, contents, load_method(folder.method), rig)


def resume_live(
    run: Interrupted, attendance: Attendance, *, open_transport: Callable[[Rig], Transport] = open_port
) -> list[str]:
    """Go on with a run on a bench, to its end; what there is to say of its record. Errors as `resume`."""
    if run.rig.board is None:
        raise ResumeError(
            f"{run.folder.path}: expected a run on a bench, got a dry run: repeat it with its seed, which gives the "
            f"same one"
        )
    with RunLock(run.folder.path):  # before the port: who conducts the run holds both, and the lock says so better
        run = _as_it_is_now(run)
        filling = _filling(run)
        if filling is not None:
            attendance = remembering(attendance, filling)
        way = PortWay(run.rig, attendance.nap, open_transport)
        return resume(run, open_transport(run.rig), attendance, way=way, tick_s=LIVE_TICK_S)


def _as_it_is_now(run: Interrupted) -> Interrupted:
    """What the journal says behind the lock: whoever conducted the run may have ended it since it was read.

    ResumeError where it has ended.
    """
    if read_journal(run.folder.journal).behind == run.contents.behind:
        return run
    return replace(interrupted(run.folder), rig=run.rig)


def resume(
    run: Interrupted,
    transport: Transport,
    attendance: Attendance,
    *,
    way: Way | None = None,
    tick_s: float = TICK_S,
    new_session: Callable[[], int] = sessions.new_session,
) -> list[str]:
    """Go on over `transport`, which is closed whatever happens. Whoever calls has the run's lock.

    ResumeError where the volume is not certain any more: then the run is ended in its journal, with bounds.
    NotFollowedError, BenchError when the board is not there or is another one, JournalError.
    """
    folder, contents = run.folder, run.contents
    told = []
    bench = Bench(transport, run.rig, way=way, first_number=new_session() & 0xFFFF)
    try:
        controller = Controller(_plan(run))
        followed = follow(controller, contents)
        recall(bench, contents)
        bench.connect()
        if contents.torn_tail:
            kept = folder.keep_torn(contents.torn_tail)
            told.append(f"the last line of the journal was torn and is kept in {kept.name}")
        journal = Journal(folder.journal, sync=run.rig.record.sync, behind=contents.behind)
        try:
            last_s = max(line["t_ms"] for line in contents.lines) / 1000
            _join(run, bench, journal, new_session(), last_s)
            attendance.begun(folder)
            driver = Driver(
                controller,
                bench,
                journal,
                word=attendance.word,
                observer=attendance.observe,
                keep_pace=attendance.keep_pace,
                watch=attendance.watch,
                tick_s=tick_s,
                new_session=new_session,
            )
            driver.take_up(followed)
            driver.run()
        finally:
            journal.close()
    finally:
        bench.close()  # the transport that it has now: `way` may have led it to another
    return told


def _join(run: Interrupted, bench: Bench, journal: Journal, session: int, last_s: float) -> None:
    try:
        joined = bench.go_on(session, last_s)
    except PositionLostError as error:
        step_mL = run.rig.burette.step_mL
        journal.write("uncertain", last_s, uncertain_fields(str(error), error.bounds, step_mL), durable=True)
        end = {"state": "faulted", "cause": "link", "why": str(error), "volume_mL": error.bounds.low * step_mL}
        journal.write("end", last_s, {**end, "volume": "uncertain"}, durable=True)
        raise RunClosedError(
            f"{run.folder.path}: the run cannot go on: {error}. It is ended in its journal; `titrator evaluate` takes "
            f"what was measured"
        ) from error
    journal.write("session", joined.t_s, {**session_fields(joined), "resumed": True}, durable=True)


def _plan(run: Interrupted) -> Any:
    in_place = run.contents.lines[0].get("sample_in_place", False)
    return plan_for(run.method, run.rig, priming=_priming(run), sample_in_place=in_place)


def _priming(run: Interrupted) -> PrimingSettings | None:
    for line in run.contents.of_kind("filling"):
        if line["purge_mL"]:
            return priming_settings(run.rig.burette, line["purge_mL"], empty_first=line["empty_first"])
    return None


def _filling(run: Interrupted) -> Filling | None:
    """What has to be remembered of the rig's titrant, where the run primes and it is known where."""
    priming = _priming(run)
    rig_file = None
    with contextlib.suppress(OSError, ValueError, AttributeError):
        rig_file = json.loads(run.folder.host.read_text(encoding="utf-8")).get("rig_file")
    if priming is None or not isinstance(rig_file, str):
        return None
    method = run.method
    titrant = HeldTitrant(method.reaction.titrant, method.titrant.concentration.value_mol_per_L, method.medium.name)
    path = memory_path(run.rig, Path(rig_file))
    return Filling(path, titrant, None, stated=False, priming=priming, priming_mL=0.0)
