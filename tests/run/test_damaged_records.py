"""Journals that are not what was written, though their chain of hashes is sound: told as damage, never a traceback."""

import hashlib
import json

import pytest
from demonstration import rehearsal

from titrator.record.journal import FIRST_PREV
from titrator.record.journal_reader import JournalDamagedError
from titrator.run.evaluation import MethodChangedError, evaluate_run


@pytest.fixture(scope="module")
def lines(tmp_path_factory):
    done = rehearsal(40, tmp_path_factory.mktemp("runs"))
    return [json.loads(line) for line in done.folder.journal.read_text(encoding="utf-8").splitlines()]


def write(folder, lines):
    """Write `lines` with numbers and a chain that are sound."""
    prev, raw = FIRST_PREV, []
    for n, line in enumerate(lines):
        text = json.dumps({**line, "n": n, "prev": prev}).encode()
        prev = hashlib.sha256(text).hexdigest()
        raw.append(text + b"\n")
    folder.journal.write_bytes(b"".join(raw))


def changed(lines, kind, **fields):
    """The lines with the first of `kind` changed; a field that is None is taken out."""
    at = next(index for index, line in enumerate(lines) if line["kind"] == kind)
    line = {key: value for key, value in {**lines[at], **fields}.items() if value is not ...}
    return [*lines[:at], line, *lines[at + 1 :]]


DAMAGES = {
    "a point without sd": ("point", {"sd_mV": ...}),
    "text for a potential": ("point", {"potential_mV": "high"}),
    "null for a volume": ("point", {"volume_mL": None}),
    "a negative sd": ("point", {"sd_mV": -1.0}),
    "a number for settled": ("point", {"settled": 1}),
    "a volume beyond doubles": ("point", {"volume_mL": 10**400}),
    "an end without a state": ("end", {"state": ...}),
    "a state that is none": ("end", {"state": 5}),
    "a burette that is a list": ("run", {"burette": [1]}),
    "no burette": ("run", {"burette": ...}),
    "readings without missed": ("readings", {"missed": ...}),
    "an outcome without volume": ("outcome", {"volume_mL": ...}),
}


@pytest.mark.parametrize(("kind", "fields"), DAMAGES.values(), ids=DAMAGES.keys())
def test_damage_is_told(lines, tmp_path, kind, fields):
    folder = rehearsal(40, tmp_path).folder
    write(folder, changed(lines, kind, **fields))
    with pytest.raises(JournalDamagedError, match="expected the lines of a run"):
        evaluate_run(folder)


def test_a_first_line_that_is_missing_is_told(lines, tmp_path):
    folder = rehearsal(40, tmp_path).folder
    write(folder, lines[1:])
    with pytest.raises(JournalDamagedError):
        evaluate_run(folder)


def test_an_empty_journal_and_one_of_brackets_are_told(tmp_path):
    folder = rehearsal(40, tmp_path).folder
    for raw in (b"", b"[" * 200_000 + b"\n"):
        folder.journal.write_bytes(raw)
        with pytest.raises(JournalDamagedError):
            evaluate_run(folder)


def test_a_changed_method_is_refused(tmp_path):
    folder = rehearsal(40, tmp_path).folder
    text = folder.method.read_text(encoding="utf-8")
    folder.method.write_text(text.replace("value: 10, u: 0.005", "value: 20, u: 0.005"), encoding="utf-8")
    with pytest.raises(MethodChangedError, match="Put the copy back"):
        evaluate_run(folder)


def test_a_dose_whose_end_is_not_on_record_is_a_doubt(lines, tmp_path):
    folder = rehearsal(40, tmp_path).folder
    at = max(index for index, line in enumerate(lines) if line["kind"] == "intent")
    write(folder, lines[: at + 1])
    evaluated = evaluate_run(folder)
    assert evaluated.delivered_at_most_mL == lines[at]["volume_mL"] > evaluated.delivered_mL
    assert not evaluated.record_complete
    assert any("may have been delivered" in warning for warning in evaluated.warnings)
    assert any("breaks off" in warning for warning in evaluated.warnings)


def test_a_torn_last_line_is_kept_beside_the_journal_once(tmp_path):
    folder = rehearsal(40, tmp_path).folder
    raw = folder.journal.read_bytes()
    torn = raw[raw.rindex(b"\n", 0, len(raw) - 1) + 1 : -20]
    folder.journal.write_bytes(raw[:-20])
    for _ in range(2):
        evaluate_run(folder)
    assert [path.read_bytes() for path in folder.path.glob("journal.torn-*")] == [torn]
    assert folder.journal.read_bytes() == raw[:-20]


def test_every_line_of_the_budget_is_the_methods_and_the_rigs(tmp_path):
    # Standard uncertainties of the method file (titrant, aliquot, dilution) and of the rig file (±0.2 %, rectangular).
    evaluated = evaluate_run(rehearsal(40, tmp_path).folder)
    budget = {line.name: line.u for line in evaluated.results[0].budget}
    point = evaluated.evaluation.equivalence_points[0]
    assert budget == pytest.approx(
        {
            "equivalence volume (random)": point.u_random_mL,
            "burette calibration": 0.002 / 3**0.5,
            "titrant concentration": 0.0002,
            "aliquot": 0.010,
            "dilution": 0.005,
        }
    )
