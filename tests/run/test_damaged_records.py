"""Journals that are not what was written, though their chain of hashes is sound: told as damage, never a traceback."""

import errno
import hashlib
import json

import pytest
from demonstration import METHOD, rehearsal

from titrator.record.journal import FIRST_PREV
from titrator.record.journal_reader import JournalDamagedError
from titrator.record.run_folder import RunFolder
from titrator.run.evaluation import MethodChangedError, evaluate_run


@pytest.fixture(scope="module")
def lines(tmp_path_factory):
    done = rehearsal(40, tmp_path_factory.mktemp("runs"))
    return [json.loads(line) for line in done.folder.journal.read_text(encoding="utf-8").splitlines()]


@pytest.fixture
def folder(tmp_path):
    return rehearsal(40, tmp_path).folder


def write(folder, lines):
    """Write `lines` with numbers and a chain that are sound."""
    prev, raw = FIRST_PREV, []
    for n, line in enumerate(lines):
        text = json.dumps({**line, "n": n, "prev": prev}).encode()
        prev = hashlib.sha256(text).hexdigest()
        raw.append(text + b"\n")
    folder.journal.write_bytes(b"".join(raw))


def changed(lines, kind, /, **fields):
    """The lines with the first of `kind` changed; a field that is ... is taken out."""
    at = next(index for index, line in enumerate(lines) if line["kind"] == kind)
    line = {key: value for key, value in {**lines[at], **fields}.items() if value is not ...}
    return [*lines[:at], line, *lines[at + 1 :]]


DAMAGES = {
    "a point without sd": ("point", {"sd_mV": ...}, "sd_mV: expected a finite number, not negative, got nothing"),
    "text for a potential": ("point", {"potential_mV": "high"}, "potential_mV: expected a finite number, got 'high'"),
    "null for a volume": ("point", {"volume_mL": None}, "volume_mL: expected a finite number, got None"),
    "NaN for a potential": ("point", {"potential_mV": float("nan")}, "potential_mV: expected a finite number, got nan"),
    "a negative sd": ("point", {"sd_mV": -1.0}, "sd_mV: expected a finite number, not negative, got -1.0"),
    "a number for settled": ("point", {"settled": 1}, "settled: expected true or false, got 1"),
    "a volume beyond doubles": ("point", {"volume_mL": 10**400}, "volume_mL: expected a finite number, got 1000"),
    "a time beyond doubles": ("point", {"t_ms": 10**400}, "t_ms: expected milliseconds"),
    "an end beyond doubles": ("end", {"volume_mL": 10**400}, "volume_mL: expected a finite number, got 1000"),
    "an end without a state": ("end", {"state": ...}, "state: expected a text, got nothing"),
    "a number for a state": ("end", {"state": 5}, "state: expected a text, got 5"),
    "a state that is none": ("end", {"state": "happy"}, "state: expected a state of a run, got 'happy'"),
    "a burette that is a list": ("run", {"burette": [1]}, "burette.random_error_mL: expected a finite number"),
    "no burette": ("run", {"burette": ...}, "burette.random_error_mL: expected a finite number"),
    "no calibration": ("run", {"burette": {"random_error_mL": 0.001}}, "burette.calibration_half_width: expected"),
    "no hash of the method": ("run", {"method_sha256": ...}, "method_sha256: expected a text, got nothing"),
    "readings without missed": ("readings", {"missed": ...}, "missed: expected a whole number, not negative, got noth"),
    "readings that miss text": ("readings", {"missed": "x"}, "missed: expected a whole number, not negative, got 'x'"),
    "an outcome without volume": ("outcome", {"volume_mL": ...}, "volume_mL: expected a finite number, got nothing"),
    "an intent without dose": ("intent", {"dose": ...}, "dose: expected a whole number, not negative, got nothing"),
    "a second first line": ("state", {"kind": "run"}, "kind: expected `run` in the first line and nowhere else"),
}


@pytest.mark.parametrize(("kind", "fields", "told"), DAMAGES.values(), ids=DAMAGES.keys())
def test_damage_is_told_with_line_and_field(lines, folder, kind, fields, told):
    at = next(index for index, line in enumerate(lines) if line["kind"] == kind)
    write(folder, changed(lines, kind, **fields))
    with pytest.raises(JournalDamagedError, match=rf"journal\.jsonl:{at + 1}: ({told})"):
        evaluate_run(folder)


def test_a_first_line_that_is_missing_is_told(lines, folder):
    write(folder, lines[1:])
    with pytest.raises(JournalDamagedError, match=r"journal\.jsonl:1: kind: expected `run` in the first line"):
        evaluate_run(folder)


def test_an_empty_journal_and_one_of_brackets_are_told(folder):
    for raw in (b"", b"[" * 200_000 + b"\n", b"[" * 200_000 + b"\n{}\n"):
        folder.journal.write_bytes(raw)
        with pytest.raises(JournalDamagedError, match=r"journal\.jsonl:1: expected"):
            evaluate_run(folder)


def test_a_changed_method_is_refused(folder):
    text = folder.method.read_text(encoding="utf-8")
    folder.method.write_text(text.replace("value: 10, u: 0.005", "value: 20, u: 0.005"), encoding="utf-8")
    then, now = (hashlib.sha256(content).hexdigest() for content in (METHOD.read_bytes(), folder.method.read_bytes()))
    assert then != now
    with pytest.raises(MethodChangedError, match=f"{then}.*{now}.*Put the copy back"):
        evaluate_run(folder)


def test_a_dose_whose_end_is_not_on_record_is_a_doubt(lines, folder):
    at = max(index for index, line in enumerate(lines) if line["kind"] == "intent")
    write(folder, lines[: at + 1])
    evaluated = evaluate_run(folder)
    assert evaluated.delivered_at_most_mL == lines[at]["volume_mL"] > evaluated.delivered_mL
    assert not evaluated.record_complete
    assert any("may have been delivered" in warning for warning in evaluated.warnings)
    assert any("breaks off" in warning for warning in evaluated.warnings)


def test_a_torn_last_line_is_kept_beside_the_journal_once(folder):
    raw = folder.journal.read_bytes()
    torn = raw[raw.rindex(b"\n", 0, len(raw) - 1) + 1 : -20]
    folder.journal.write_bytes(raw[:-20])
    for _ in range(2):
        evaluate_run(folder)
    assert [path.read_bytes() for path in folder.path.glob("journal.torn-*")] == [torn]
    assert folder.journal.read_bytes() == raw[:-20]


def test_another_torn_line_never_overwrites_the_first(folder):
    raw = folder.journal.read_bytes()
    for missing in (20, 30):
        folder.journal.write_bytes(raw[:-missing])
        evaluate_run(folder)
    kept = {path.name: path.read_bytes() for path in folder.path.glob("journal.torn-*")}
    torn = raw[raw.rindex(b"\n", 0, len(raw) - 1) + 1 :]
    assert kept == {"journal.torn-1": torn[:-20], "journal.torn-2": torn[:-30]}


def test_a_torn_line_that_cannot_be_kept_is_a_warning(folder, monkeypatch):
    def read_only(_folder, _tail):
        raise OSError(errno.EROFS, "Read-only file system")

    folder.journal.write_bytes(folder.journal.read_bytes()[:-20])
    monkeypatch.setattr(RunFolder, "keep_torn", read_only)
    assert any("could not be kept" in warning for warning in evaluate_run(folder).warnings)


def test_a_dose_that_nobody_saw_end_is_a_doubt_also_where_the_run_ended(lines, folder):
    # An unconfirmed halt: the link is gone, neither outcome nor halt is written, but the end is.
    at = max(index for index, line in enumerate(lines) if line["kind"] == "intent")
    end = {**lines[-1], "state": "faulted", "volume_mL": lines[at - 1].get("volume_mL", 0.0)}
    write(folder, [*lines[: at + 1], end])
    evaluated = evaluate_run(folder)
    assert (evaluated.record_complete, evaluated.state) == (True, "faulted")
    assert evaluated.delivered_at_most_mL == lines[at]["volume_mL"]


def test_a_halt_on_record_leaves_no_doubt(lines, folder):
    at = max(index for index, line in enumerate(lines) if line["kind"] == "intent")
    halt = {"kind": "halt", "t_ms": lines[at]["t_ms"], "why": "stop", "volume_mL": 1.25, "steps": 2000}
    write(folder, [*lines[: at + 1], halt])
    evaluated = evaluate_run(folder)
    assert (evaluated.delivered_mL, evaluated.delivered_at_most_mL) == (1.25, None)


def test_a_whole_record_leaves_no_doubt_and_a_journal_without_end_is_not_complete(lines, folder):
    whole = evaluate_run(folder)
    assert (whole.record_complete, whole.delivered_at_most_mL, whole.warnings) == (True, None, [])
    write(folder, lines[:-1])
    cut = evaluate_run(folder)
    assert (cut.record_complete, cut.state) == (False, "finished")
    assert any("breaks off" in warning for warning in cut.warnings)


def test_points_that_had_not_settled_are_counted(lines, folder):
    write(folder, changed(lines, "point", settled=False))
    points = sum(line["kind"] == "point" for line in lines)
    assert f"1 of {points} points were logged not settled, at the longest wait" in evaluate_run(folder).warnings


def test_readings_that_went_missing_are_counted(lines, folder):
    at = [index for index, line in enumerate(lines) if line["kind"] == "readings"]
    lost = [
        {**line, "missed": {at[0]: 3, at[5]: 4}.get(index, 0)} if index in at else line
        for index, line in enumerate(lines)
    ]
    write(folder, lost)
    assert "7 readings went missing on the link" in evaluate_run(folder).warnings


def test_every_line_of_the_budget_is_the_methods_and_the_rigs(folder):
    # Standard uncertainties of the method file (titrant, aliquot, dilution) and of the rig file (±0.2 %, rectangular).
    evaluated = evaluate_run(folder)
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
