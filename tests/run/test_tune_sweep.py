"""A whole small sweep (simulated): what decides its answer and what does not, and how it goes on after a break."""

import datetime
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
import yaml

from titrator.method import load_method
from titrator.run.tune.crew import CrewError, local_crew
from titrator.run.tune.folder import begin, go_on
from titrator.run.tune.judge import Judged
from titrator.run.tune.sweep import InterruptedSweepError, Sweep
from titrator.run.tune.sweep_file import SweepFileError
from titrator.run.tune.tuned import tuned_text
from titrator.run.tune.wish import Wish, granted
from titrator.run.tune.work import Done, Worker

METHOD = Path(__file__).parents[2] / "configs" / "methods" / "iron_in_pickling_bath.yaml"
NOW = datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.UTC)


class Inline:
    """A crew within this process. `backwards` makes what is asked for as late as possible, else at once.

    `real` runs are simulated titrations; else figures made up from setting and run stand in for them, which is enough
    to see who is asked what and when. After `lasts` chunks the workers are gone.
    """

    workers, ready_s = 1, 0.0

    def __init__(self, outfit, *, real=False, backwards=False, lasts=None):
        self._do = Worker(outfit).done if real else made_up
        self._backwards, self.made, self._lasts = backwards, [], lasts

    def submit(self, chunk):
        return Asked(self, chunk, at_once=not self._backwards)

    def done(self, chunk):
        if self._lasts is not None and len(self.made) >= self._lasts:
            raise CrewError("gone")
        self.made.append((chunk.setting, chunk.runs))
        return self._do(chunk)


def made_up(chunk):
    """Slower is more exact, and every tenth run fails."""
    told = []
    for run in chunk.runs:
        random = Random(f"{chunk.method}/{run}")
        duration_s, failed = random.uniform(200.0, 900.0), random.random() < 0.1
        error_uL = random.gauss(0.0, 500.0 / duration_s)
        told.append(
            Judged(chunk.setting, run, duration_s, 20, () if failed else (error_uL,), 0, "no point" if failed else "")
        )
    return Done(tuple(told), 0.0, 0.0)


class Asked:
    def __init__(self, crew, chunk, *, at_once):
        self._crew, self._chunk = crew, chunk
        self._done = crew.done(chunk) if at_once else None

    def result(self):
        return self._done or self._crew.done(self._chunk)

    def cancel(self):
        pass


def wish(seed=3, **changes):
    told = {"rig": None, "cell": None, "cells": None, "runs": 24, "rules": ("adaptive",), "prefer": "balanced"}
    return Wish(**{"method": METHOD, "seed": seed, **told, **changes})


def prepared(folder, **changes):
    asked = wish(**changes)
    return begin(asked, granted(asked), folder, NOW)


def swept(ready, crew, advance=lambda _: None):
    with ready.file:
        return Sweep(ready.plan, crew, ready.file, advance).run()


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A sweep and the bytes of its results."""
    ready = prepared(tmp_path_factory.mktemp("whole"))
    found = swept(ready, Inline(ready.outfit, real=True))
    return ready, found, (ready.folder / "sweep.jsonl").read_bytes()


@pytest.fixture(scope="module")
def made_up_whole(tmp_path_factory):
    """The same with figures that are made up."""
    ready = prepared(tmp_path_factory.mktemp("made up"), runs=100, rules=())
    found = swept(ready, Inline(ready.outfit))
    return ready, found, (ready.folder / "sweep.jsonl").read_bytes()


def test_all_runs_are_made_and_every_setting_on_the_same_ones(whole):
    ready, found, _ = whole
    budget = ready.plan.budget
    assert found.made == budget.total == 24
    assert len(found.searched) == budget.settings
    assert len(found.confirmed) == budget.finalists
    by_setting = {}
    for setting, run in ready.file.known:
        by_setting.setdefault(setting, set()).add(run)
    first = set(range(budget.runs))
    second = set(range(budget.runs, budget.runs + budget.confirming))
    assert all(runs == first | (second if number in found.confirmed else set()) for number, runs in by_setting.items())
    assert found.choice is not None


def test_when_the_runs_are_made_changes_nothing(made_up_whole, tmp_path):
    ready = prepared(tmp_path, runs=100, rules=())
    found = swept(ready, Inline(ready.outfit, backwards=True))
    assert (ready.folder / "sweep.jsonl").read_bytes() == made_up_whole[2]
    assert (found.searched, found.confirmed) == (made_up_whole[1].searched, made_up_whole[1].confirmed)


def test_every_rule_is_searched_in_turn_and_a_setting_with_a_failed_run_is_not_picked(made_up_whole):
    ready, found, _ = made_up_whole
    rules = [found.settings[number].rule for number in sorted(found.settings)]
    assert rules[1:] == [ready.plan.rules[k % len(ready.plan.rules)] for k in range(len(rules) - 1)]
    assert any(not each.sound for each in found.searched.values())
    assert all(not each.failures for each in found.front)


def test_two_processes_give_the_same(whole, tmp_path):
    ready = prepared(tmp_path)
    with local_crew(ready.outfit, 2) as crew:
        swept(ready, crew)
    assert (ready.folder / "sweep.jsonl").read_bytes() == whole[2]


def test_another_seed_gives_other_cells_and_settings(made_up_whole, tmp_path):
    ready = prepared(tmp_path, seed=4, runs=100, rules=())
    found = swept(ready, Inline(ready.outfit))
    assert ready.outfit.cells != made_up_whole[0].outfit.cells
    other = made_up_whole[1].settings
    differ = [number for number in found.settings if found.settings[number] != other[number]]
    assert len(differ) > len(other) / 2


@pytest.mark.parametrize("torn", [0, 25])
def test_a_sweep_whose_workers_went_goes_on_to_the_same_end(made_up_whole, tmp_path, torn):
    ready = prepared(tmp_path, runs=100, rules=())
    with pytest.raises(CrewError):
        swept(ready, Inline(ready.outfit, backwards=True, lasts=14))
    results = ready.folder / "sweep.jsonl"
    results.write_bytes(results.read_bytes()[: -torn or None])
    again = go_on(str(ready.folder), tmp_path)
    known = len(again.file.known)
    assert 0 < known < 100
    crew = Inline(again.outfit)
    found = swept(again, crew)
    assert results.read_bytes() == made_up_whole[2]
    assert found.confirmed == made_up_whole[1].confirmed
    assert sum(len(runs) for _, runs in crew.made) == 100 - known


def test_a_sweep_that_is_over_is_told_again_without_a_run(whole):
    ready = go_on(str(whole[0].folder), whole[0].folder.parent)
    crew = Inline(ready.outfit)
    assert swept(ready, crew).confirmed == whole[1].confirmed
    assert crew.made == []


def test_who_interrupts_it_keeps_what_is_done(tmp_path):
    ready = prepared(tmp_path)

    def enough(_runs):
        raise InterruptedSweepError

    with pytest.raises(InterruptedSweepError):
        swept(ready, Inline(ready.outfit, backwards=True), enough)
    assert len(go_on("last", tmp_path).file.known) > 0


@pytest.mark.parametrize("name", ["method.yaml", "rig.yaml", "cells/0001.yaml"])
def test_files_that_were_changed_since_are_refused(tmp_path, name):
    ready = prepared(tmp_path)
    with (ready.folder / name).open("a", encoding="utf-8") as file:
        file.write("# one more line\n")
    with pytest.raises(SweepFileError, match="begun with, got another"):
        go_on("1", tmp_path)


def test_another_program_is_refused(tmp_path, monkeypatch):
    prepared(tmp_path)
    monkeypatch.setattr("titrator.run.tune.folder.sources", lambda: "other")
    with pytest.raises(SweepFileError, match="another version"):
        go_on("last", tmp_path)


def test_the_tuned_method_is_sound_finds_its_cell_and_says_what_was_compared(made_up_whole, tmp_path):
    ready, found, _ = made_up_whole
    # Whether a made-up run fails hangs on the text of the method: here none does, so that one can be picked.
    others = {number: replace(figures, failures=()) for number, figures in found.confirmed.items() if number}
    found = replace(found, confirmed=others)  # whoever is picked, it is not the method as it stands
    into = tmp_path / "deeper"
    into.mkdir()
    text = tuned_text(found, ready.ensemble, ready.method, into)
    (into / "tuned.yaml").write_text(text, encoding="utf-8")
    tuned = load_method(into / "tuned.yaml")
    own = load_method(METHOD)
    assert tuned.rehearsal == own.rehearsal
    setting = found.settings[found.choice.setting]
    read = yaml.safe_load(text)
    for way, value in setting.values.items():
        section, key = way.split(".")
        assert str(read[section][key]) == value
    head = " ".join(text[: text.index("format: 1")].replace("#", "").split())
    for words in ("seed 3", "100 dry runs", "adaptive", "Run k has the seed 3 + k - 1", "mixing", "simulated"):
        assert words in head
    assert "2026" not in head, "the same sweep gives the same file on any day"
    lines = [line for line in text.splitlines() if line.startswith("#")]
    assert all(line in lines for line in METHOD.read_text(encoding="utf-8").splitlines() if line.startswith("#"))
