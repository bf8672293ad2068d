"""One simulated titration on a bad line, through resets, power cuts and killed hosts to its end, and what must hold of it.

A run is drawn from its class and seed. What is checked (every violation is a sentence):
- no motion is set off twice, and nothing is delivered beyond the furthest dose that is on record;
- at every logged point the motor rests where the controller believes it to, to the steps that resets may have cost;
- in the end the true count of steps is the journal's, or the run is marked uncertain with bounds that hold the truth;
- uncertain is only what lost power or stopped in motion; its bounds are no wider than the distance commanded (and, after
  a loss of power, what a stepper may snap);
- no motion goes on for longer than the dead-man time after the last word from a host;
- the run ends: within two hours of the board's time, and by resuming whenever its process was killed.
"""

import datetime
import tempfile
from contextlib import ExitStack
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from random import Random
from typing import Any
from unittest import mock

from injected_line import HangError, KilledError, Line, LineWay, Trouble
from removed_guards import remove

from titrator.bench.errors import BenchError, UnpluggedError
from titrator.bench.rig import load_rig
from titrator.bench.simulated import open_simulated
from titrator.control.events import Word
from titrator.method import load_method
from titrator.record.journal import Journal
from titrator.record.journal_reader import read_journal
from titrator.record.run_folder import RunFolder
from titrator.record.run_lock import RunLock
from titrator.run import course as course_module
from titrator.run import resume as resume_module
from titrator.run.attendance import Attendance
from titrator.run.course import Course, conduct
from titrator.run.rehearsal import Setup, first_line, stated_values
from titrator.run.resume import ResumeError, interrupted, resume

CONFIGS = Path(__file__).parents[1] / "configs"
NOW = datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.UTC)
CLASSES = ("bit flips", "drops", "duplicates", "delays", "disconnects", "resets", "power cuts", "killed hosts", "all")
GUARDS = ("session", "identifier", "crc", "intent", "dead-man")
MOST_LIVES = 12
MOST_S = 7200.0
MICROSTEPS = 16
DEAD_MAN_S = 2.0


def _changed(text: str, *changes: tuple[str, str]) -> str:
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


@cache
def files(small: bool) -> tuple[Any, Path, Any, Path, Path]:
    """Method, rig and cell: half a millilitre of the demonstration's bath in a cell that answers at once.

    `small`: a burette of 0.5 mL that refills itself. The burettes are slow, so that a dose outlasts the dead-man time.
    """
    folder = Path(tempfile.mkdtemp(prefix="injected-"))
    cell, rig, method = folder / "cell.yaml", folder / "rig.yaml", folder / "method.yaml"
    cell.write_text(
        _changed(
            (CONFIGS / "cells" / "iron_in_pickling_bath.yaml").read_text(encoding="utf-8"),
            ("mixing: 1.5 s", "mixing: 0.2 s"),
            ("  response: 2.5 s", "  response: 0.3 s"),
            ("  slowing: 9.5 s", "  slowing: 0.5 s"),
        ),
        encoding="utf-8",
    )
    name = "simulated_small_burette" if small else "simulated"
    text = (CONFIGS / "rigs" / f"{name}.yaml").read_text(encoding="utf-8")
    text = _changed(
        text,
        ("top_speed: 10 mL/min", "top_speed: 2 mL/min"),
        ("dead_man: 2 s", "dead_man: 2 s\n  returns_within: 60 s"),
    )
    if small:
        text = _changed(
            text,
            ("stroke: 4 mL", "stroke: 0.5 mL"),
            ("random_error: 1 µL", "random_error: 0.5 µL"),
            ("refill_speed: 5 mL/min", "refill_speed: 2 mL/min"),
        )
    rig.write_text(text, encoding="utf-8")
    method.write_text(
        _changed(
            (CONFIGS / "methods" / "iron_in_pickling_bath.yaml").read_text(encoding="utf-8"),
            ("cell: ../cells/iron_in_pickling_bath.yaml", f"cell: {cell}"),
            ("rig: ../rigs/simulated.yaml", f"rig: {rig}"),
            ("aliquot: {value: 10.00 mL, u: 0.010 mL}", "aliquot: {value: 0.500 mL, u: 0.002 mL}"),
            ("volume: 40 mL", "volume: 49.5 mL"),
            ("answers_within: 1 mL", "answers_within: 0.3 mL"),
            ("  first: 0.1 mL", "  first: 0.05 mL"),
            ("  aim: 25 mV", "  aim: 60 mV"),
            ("  most: 1 mL", "  most: 0.15 mL"),
            ("response: 5 s", "response: 0.4 s"),
            ("mixing: 1.5 s", "mixing: 0.2 s"),
            ("  longest_wait: 90 s", "  longest_wait: 4 s"),
            ("  readings_past_jump: 6", "  readings_past_jump: 3"),
            ("  volume_above: 24.5 mL", "  volume_above: 1.2 mL"),
        ),
        encoding="utf-8",
    )
    return load_method(method), method, load_rig(rig), rig, cell


def trouble_of(kind: str, random: Random) -> Trouble:
    """What a run of a class meets. Most strikes come in the midst of a motion, some as it begins."""

    def strikes(what: str, most: int) -> list[tuple[str, int, float]]:
        parts = (0.0, random.random(), random.random(), 1.0 + 6.0 * random.random(), 1.0 + 6.0 * random.random())
        return [(what, random.randrange(12), random.choice(parts)) for _ in range(random.randint(1, most))]

    rate = random.choice((0.01, 0.03, 0.1))
    match kind:
        case "bit flips":
            return Trouble(flip=rate)
        case "drops":
            return Trouble(drop=2 * rate)
        case "duplicates":
            return Trouble(double=3 * rate, strikes=tuple(strikes("cable", 1)))
        case "delays":
            return Trouble(delay=rate)
        case "disconnects":
            return Trouble(strikes=tuple(strikes("cable", 3)))
        case "resets":
            return Trouble(strikes=tuple(strikes("reset", 3)))
        case "power cuts":
            return Trouble(strikes=tuple(strikes("power", 1)))
        case "killed hosts":
            return Trouble(strikes=tuple(strikes("kill", 4)))
    every = [strike for what in ("cable", "reset", "kill") for strike in strikes(what, 2)]
    if random.random() < 0.2:
        every += strikes("power", 1)
    small = rate / 3
    return Trouble(flip=small, drop=small, double=small, delay=small, strikes=tuple(every))


@dataclass
class Report:
    """A run that is over. `state` is its end's; `uncertain` whether the volume was marked so."""

    kind: str
    seed: int
    state: str = ""
    why: str = ""
    uncertain: bool = False
    lives: int = 0
    points: int = 0
    struck: list[tuple[str, bool]] = field(default_factory=list)
    frames: int = 0
    frames_moving: int = 0
    violations: list[str] = field(default_factory=list)


class _TornJournal(Journal):
    """A journal whose durable lines wait for no disk: what a power cut of the host may take is counted all the same."""

    newest: "_TornJournal"

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        _TornJournal.newest = self

    def _wait_for_disk(self) -> None:
        self.durable_size = self.size


class _Run:
    def __init__(self, kind: str, seed: int, folder: Path) -> None:
        self.random = Random(f"{seed}/{kind}")
        self.report = Report(kind, seed)
        small = kind in ("killed hosts", "disconnects", "all", "resets") and self.random.random() < 0.4
        method, method_path, rig, rig_path, cell = files(small)
        self.setup = Setup(method, method_path, rig, rig_path, cell, seed)
        self.runs = folder / "runs"
        world = open_simulated(rig, cell, stated_values(method), seed)
        self.line = Line(world.board, trouble_of(kind, self.random), self.random, most_s=MOST_S, most_calls=400_000)
        self.board = world.board
        self.folder: RunFolder | None = None
        self.way = LineWay(self.line, UnpluggedError)
        self.word_at = [self.random.uniform(5.0, 60.0)] if self.random.random() < 0.3 else []
        self.held_until_s: float | None = None
        self.base = 0

    # ---------------------------------------------------------------------------------------------- the attendance
    def word(self) -> Word | None:
        """One hold of some seconds in a third of the runs."""
        now_s = self.line.world.now_s()
        if self.held_until_s is not None and now_s >= self.held_until_s:
            self.held_until_s = None
            return Word.CONTINUE
        if self.word_at and now_s >= self.word_at[0]:
            self.word_at.pop()
            self.held_until_s = now_s + 8.0
            return Word.HOLD
        return None

    def observe(self, _state: Any, _why: str, point: Any) -> None:
        if point is None:
            return
        self.report.points += 1
        burette, step_mL = self.board.burette, self.setup.rig.burette.step_mL
        if burette.moving:
            self.violate(f"point {point.number} was logged while the motor ran")
        believed = round(point.volume_mL / step_mL)
        # Readings that were taken before a loss of power may be told behind it; the stepper has snapped by then.
        snapped = MICROSTEPS * any(kind == "power" for kind, _ in self.line.told.struck)
        if abs(burette.pushed_steps - believed) > self.within() + snapped:
            self.violate(f"point {point.number} was logged at step {believed}, and {burette.pushed_steps} were made")

    def within(self) -> int:
        """Steps that resets in the midst of a motion may have cost so far."""
        return sum(kind == "reset" and moving for kind, moving in self.line.told.struck)

    def violate(self, what: str) -> None:
        if what not in self.report.violations:
            self.report.violations.append(what)

    # --------------------------------------------------------------------------------------------------- the lives
    def to_the_end(self) -> Report:
        report = self.report
        try:
            while report.lives < MOST_LIVES and not self.live():
                pass
            self.line.calm()
            self.line.pass_by(30.0)  # whatever still lies in a buffer comes out
        except HangError:
            self.violate("the run hangs")
        told = self.line.told
        report.struck, report.frames, report.frames_moving = told.struck, told.frames, told.frames_moving
        self.check()
        return report

    def live(self) -> bool:
        """One process. Whether the run is over with it."""
        self.report.lives += 1
        attendance = Attendance(word=self.word, observe=self.observe)
        try:
            transport = self.line.open()
        except ConnectionError:
            self.line.pass_by(5.0)
            return False
        try:
            if self.folder is None:
                conduct(self.course(), transport, attendance)
            else:
                with RunLock(self.folder.path):
                    resume(interrupted(self.folder), transport, attendance, way=self.way, new_session=self.session)
        except KilledError:
            self.tear()
            self.line.pass_by(self.random.choice((0.0, 0.5, 5.0, 30.0)) * self.random.random())
            return False
        except ResumeError as error:
            if "nothing had moved" in str(error):
                self.folder = None
                return False
            if not self.lines("end"):
                self.violate(f"refused: {error}")
            return True
        except BenchError as error:
            return self.not_joined(error)
        except Exception as error:  # noqa: BLE001 - whatever nobody foresaw is a defect, and one run of many
            self.violate(f"the program failed: {error!r}"[:200])
            return True
        return True

    def not_joined(self, error: BenchError) -> bool:
        """The board could not be joined on a bad line: tried again, as a person would."""
        if self.folder is not None and self.lines("end"):
            if not self.lines("session"):
                self.report.why = "nothing moved"
            return True
        if self.folder is not None and not self.lines("session"):
            self.folder = None
        self.line.pass_by(5.0)
        if self.report.lives >= MOST_LIVES:
            self.violate(f"the run could not be taken up again: {error}")
        return False

    def course(self) -> Course:
        setup = self.setup
        return Course(
            method=setup.method,
            rig=setup.rig,
            session=self.session(),
            folder=self.make_folder,
            first_line=lambda _identity: first_line(setup),
            way=self.way,
            new_session=self.session,
        )

    def session(self) -> int:
        return self.random.randrange(1, 1 << 32)

    def make_folder(self) -> RunFolder:
        setup = self.setup
        copies = {"method.yaml": setup.method_path, "rig.yaml": setup.rig_path, "cell.yaml": setup.cell_path}
        self.folder = RunFolder.create(self.runs, setup.method.name, NOW.date(), copies)
        return self.folder

    def tear(self) -> None:
        """A killed process leaves all it wrote; one that lost power with its computer, what had reached the disk."""
        if self.folder is None:
            return
        journal = _TornJournal.newest
        journal._file.close()
        if self.random.random() < 0.5:
            size = self.random.randint(journal.durable_size, max(journal.durable_size, journal.size))
            with self.folder.journal.open("r+b") as file:
                file.truncate(size)

    # -------------------------------------------------------------------------------------------------- the checks
    def lines(self, kind: str) -> list[dict[str, Any]]:
        assert self.folder is not None
        return read_journal(self.folder.journal).of_kind(kind)

    def check(self) -> None:
        report, told, burette = self.report, self.line.told, self.board.burette
        if self.folder is None:
            report.state = "not begun"
            return
        ends = self.lines("end")
        if not ends:
            self.violate("the record has no end")
            return
        end = ends[-1]
        report.state, report.why = end["state"], end["why"]
        step_mL = self.setup.rig.burette.step_mL
        total = round(end["volume_mL"] / step_mL)
        made = burette.steps_at(self.board.now_us) if burette.moving else 0
        if made:
            self.violate("the motor runs after the end")
        intents = self.lines("intent")
        furthest = max([round(line["volume_mL"] / step_mL) for line in intents], default=0)
        power = any(kind == "power" for kind, _ in told.struck)
        slack = self.within() + MICROSTEPS * power
        if burette.pushed_steps > furthest + slack:
            self.violate(f"{burette.pushed_steps} steps were made, and no dose on record goes beyond {furthest}")
        numbers = [dose for dose, _ in told.set_off]
        if len(numbers) != len(set(numbers)):
            self.violate("a dose was set off twice")
        if max(told.unattended, default=0.0) > DEAD_MAN_S + 0.05:
            self.violate(f"a motion went on for {max(told.unattended):.1f} s after the last word from a host")
        uncertain = self.lines("uncertain")
        report.uncertain = bool(uncertain)
        if not uncertain:
            if abs(burette.pushed_steps - total) > self.within():
                self.violate(f"the journal ends at step {total}, and {burette.pushed_steps} were made, in silence")
            return
        self.check_bounds(uncertain[-1], power=power)

    def check_bounds(self, line: dict[str, Any], *, power: bool) -> None:
        made = self.board.burette.pushed_steps
        low, high, within = line["low_steps"], line["high_steps"], self.within()
        if not low - within <= made <= high + within:
            self.violate(f"marked uncertain from {low} to {high}, and {made} steps were made")
        if not power and not any(moving for _, moving in self.line.told.struck) and "running" not in line["why"]:
            self.violate(f"marked uncertain though the motor rested and power was there: {line['why']}")
        commanded = self.furthest_motion()
        if high - low > commanded + 2 * MICROSTEPS * power:
            self.violate(f"bounds of {high - low} steps are wider than the {commanded} commanded")

    def furthest_motion(self) -> int:
        """The longest way from a rest to the target of a dose, in steps, by the record."""
        assert self.folder is not None
        longest, rest_mL = 0.0, 0.0
        for line in read_journal(self.folder.journal).lines:
            if line["kind"] == "intent":
                longest = max(longest, line["volume_mL"] - rest_mL)
            elif line["kind"] in {"outcome", "halt"}:
                rest_mL = line["volume_mL"]
        return round(longest / self.setup.rig.burette.step_mL)


def injected(kind: str, seed: int, without: str | None = None) -> Report:
    """The run of a class and seed to its end, with one of `GUARDS` removed perhaps. Its files are gone afterwards."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="injected-run-")))
        for module in (course_module, resume_module):
            stack.enter_context(mock.patch.object(module, "Journal", _TornJournal))
        stack.enter_context(mock.patch("titrator.record.journal._sync_folder"))
        if without is not None:
            remove(without, stack)
        return _Run(kind, seed, folder).to_the_end()
