"""A run on a bench: cautions acknowledged, the rig checked, the board at its port, in real time."""

from __future__ import annotations

import contextlib
import dataclasses
import datetime
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from titrator.bench.events import Identity
from titrator.bench.port import PortWay, open_port
from titrator.bench.rig import Rig
from titrator.bench.transport import Transport
from titrator.control.events import Word
from titrator.control.holds import Question
from titrator.control.point import Point
from titrator.control.states import State
from titrator.method import Method
from titrator.record.journal import Journal
from titrator.record.run_folder import RunFolder, sha256, write_json
from titrator.run.acknowledgement import Acknowledgements
from titrator.run.attendance import Attendance
from titrator.run.course import Course, conduct, rig_fields
from titrator.run.filling import Filling, filling_of
from titrator.run.fits import fits
from titrator.run.host import describe_host
from titrator.run.person import login_name
from titrator.run.plan import plan_for
from titrator.run.sessions import new_session
from titrator.run.standing import Reply, Said, Standing

TICK_S: Final = 0.2
"""How long the loop waits for news in real time: what an operator says must be answered within a second."""
CAUTIONS: Final = Question(
    0, "Have you read the cautions of this method, and is everything in place that they ask for?"
)


@dataclass(frozen=True, slots=True)
class LiveSetup:
    """What a run is made from: the files, read and checked, and what was declared of burette and sample."""

    method: Method
    method_path: Path
    rig: Rig
    rig_path: Path
    prime: bool = False
    sample_in_place: bool = False


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """Who acknowledged the cautions, and how: `option`, `terminal`, `socket` or `earlier today`."""

    by: str
    how: str


def run_live(
    setup: LiveSetup,
    runs: Path,
    now: datetime.datetime,
    attendance: Attendance,
    *,
    acknowledged: Acknowledged | None,
    memory: Acknowledgements,
    open_transport: Callable[[Rig], Transport] = open_port,
) -> RunFolder:
    """Run `setup` to its end in a new folder below `runs` and return that.

    Cautions that are not `acknowledged` yet are a question to whoever attends, put before anything moves; what is
    acknowledged is remembered in `memory` and journaled.
    Raises FileProblem when the rig cannot do what the method asks, RigMemoryError when another titrant stands in it and
    BenchError when the board is not there, all before anything is written; otherwise as `conduct`.
    """
    fits(setup.method, setup.method_path, setup.rig)
    filling = filling_of(setup.method, setup.rig, setup.rig_path, prime=setup.prime)
    plan = plan_for(setup.method, setup.rig, priming=filling.priming, sample_in_place=setup.sample_in_place)
    attendance = remembering(attendance, filling)
    transport = open_transport(setup.rig)
    session = new_session()
    consent = _Consent(attendance, acknowledged, memory, sha256(setup.method_path))

    def consented(journal: Journal, now_s: Callable[[], float]) -> str | None:
        refused = consent.ask(journal, now_s)
        if refused is None:
            journal.write("filling", now_s(), filling.fields(), durable=True)
            filling.begun()
        return refused

    course = Course(
        method=setup.method,
        rig=setup.rig,
        session=session,
        folder=lambda: _folder(setup, runs, now, transport),
        first_line=lambda identity: first_line(setup, identity, session),
        consent=consented,
        plan=plan,
        priming_mL=filling.priming_mL,
        tick_s=TICK_S,
        way=PortWay(setup.rig, attendance.nap, open_transport),
    )
    return conduct(course, transport, attendance)


def remembering(attendance: Attendance, filling: Filling) -> Attendance:
    """The same attendance, with the rig's memory kept up beside it."""

    def observe(state: State, why: str, point: Point | None) -> None:
        if point is None:
            filling.entered(state)
        attendance.observe(state, why, point)

    def watch(standing: Standing) -> None:
        filling.stands(standing)
        if attendance.watch is not None:
            attendance.watch(standing)

    return dataclasses.replace(attendance, observe=observe, watch=watch)


def first_line(setup: LiveSetup, identity: Identity, session: int) -> dict[str, Any]:
    """The journal's first line: what the record needs to be evaluated, and which board it was."""
    return {
        "name": setup.method.name,
        "simulated": identity.simulated,
        "board": setup.rig.board.identity_text if setup.rig.board is not None else None,
        "boot": f"{identity.boot:08x}",
        "firmware": identity.firmware,
        "session": f"{session:08x}",
        "sample_in_place": setup.sample_in_place,
        "method_sha256": sha256(setup.method_path),
        "rig_sha256": sha256(setup.rig_path),
        **rig_fields(setup.rig),
    }


def _folder(setup: LiveSetup, runs: Path, now: datetime.datetime, transport: Transport) -> RunFolder:
    copies = {"method.yaml": setup.method_path, "rig.yaml": setup.rig_path}
    folder = RunFolder.create(runs, setup.method.name, now.date(), copies)
    here = {
        "process": os.getpid(),
        "port": getattr(transport, "port", None),
        "person": login_name(),
        "rig_file": str(setup.rig_path.resolve()),
    }
    with folder.host.open("x", encoding="utf-8") as file:
        write_json(file, {**describe_host(now), **here})
    return folder


class _Consent:
    """The cautions, acknowledged before anything moves."""

    def __init__(
        self,
        attendance: Attendance,
        acknowledged: Acknowledged | None,
        memory: Acknowledgements,
        method_sha256: str,
    ) -> None:
        self._attendance = attendance
        self._acknowledged = acknowledged
        self._memory = memory
        self._method_sha256 = method_sha256

    def ask(self, journal: Journal, now_s: Callable[[], float]) -> str | None:
        """Journal the acknowledgement, asking for it where it is wanting. None, or why the run may not begin."""
        acknowledged = self._acknowledged
        if acknowledged is None:
            journal.write("question", now_s(), CAUTIONS._asdict(), durable=True)
            said = self._answer(journal, now_s)
            if not isinstance(said, Reply) or not said.yes:
                why = (
                    "the cautions were not acknowledged" if isinstance(said, Reply) else "the operator stopped the run"
                )
                self._show(now_s(), State.STOPPED, why, None)
                return why
            acknowledged = Acknowledged(said.by, said.where)
        with contextlib.suppress(OSError):  # then it is asked again next time
            self._memory.add(self._method_sha256, acknowledged.by)
        journal.write("cautions", now_s(), {"acknowledged_by": acknowledged.by, "how": acknowledged.how}, durable=True)
        return None

    def _answer(self, journal: Journal, now_s: Callable[[], float]) -> Reply | None:
        """The reply; None when the run is to be stopped instead."""
        while True:
            self._show(now_s(), State.READY, "", CAUTIONS)
            said = self._attendance.word()
            match said:
                case Reply(number=CAUTIONS.number):
                    answer = {"question": said.number, "yes": said.yes, "by": said.by, "where": said.where}
                    journal.write("answer", now_s(), answer, durable=True)
                    self._show(now_s(), State.READY, "", None)
                    return said
                case Said(word=Word.STOP) | Word.STOP:
                    return None
            self._attendance.nap(TICK_S)

    def _show(self, t_s: float, state: State, why: str, question: Question | None) -> None:
        if self._attendance.watch is not None:
            self._attendance.watch(Standing.at_start(t_s, state, why, question))
