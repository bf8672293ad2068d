"""A run without a wire is the dry run with the same seed, to the last digit (both simulated)."""

import datetime
from pathlib import Path

import pytest

from titrator.bench.errors import DoseError
from titrator.bench.rig import load_rig
from titrator.control.point import Point
from titrator.method import load_method
from titrator.record.journal_reader import read_journal
from titrator.run.frameless import FramelessRun, titrate_frameless
from titrator.run.rehearsal import Setup, rehearse

CONFIGS = Path(__file__).parents[2] / "configs"
NOW = datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.UTC)
RUNS = [
    ("iron_in_pickling_bath", 1, ()),
    ("iron_in_pickling_bath", 2, ()),
    ("iron_with_dichromate", 3, ()),
    ("tin_and_iron", 4, ()),
    ("carbonate_with_acid", 5, ()),
    ("chloride_in_rinse_water", 6, ()),
    ("calcium_hardness", 7, ()),
    ("blank_of_the_iron_method", 8, ()),
    # A halt in mid-run, a burette that has gone wrong, an end by a limit.
    ("iron_in_pickling_bath", 9, ("electrode-disconnected@8.3 mL",)),
    ("iron_in_pickling_bath", 10, ("backlash=2 µL@3 mL", "noise=1 mV@100 s")),
    ("iron_in_pickling_bath", 11, ("stall@9 mL",)),
]
"""`benchmarks/frameless.py` compares fifty."""


def files(name: str):
    path = CONFIGS / "methods" / f"{name}.yaml"
    method = load_method(path)
    rig = load_rig(method.rehearsal.rig)
    return path, method, rig.model_copy(update={"record": rig.record.model_copy(update={"sync": False})})


@pytest.mark.parametrize(("name", "seed", "faults"), RUNS)
def test_it_is_the_dry_run_to_the_last_digit(name, seed, faults, tmp_path):
    path, method, rig = files(name)
    setup = Setup(method, path, rig, method.rehearsal.rig, method.rehearsal.cell, seed, faults)
    done = rehearse(setup, tmp_path, NOW)
    contents = read_journal(done.folder.journal)
    run = titrate_frameless(method, rig, method.rehearsal.cell, seed, faults)
    logged = [Point(**{key: line[key] for key in Point._fields}) for line in contents.of_kind("point")]
    # The journal keeps times to the microsecond.
    assert [point._replace(t_s=round(point.t_s, 6)) for point in run.points] == logged
    assert run.truth == done.truth
    [end] = contents.of_kind("end")
    assert (run.state.value, run.ending.cause.value, run.ending.sentence) == (end["state"], end["cause"], end["why"])
    assert run.additions == len(contents.of_kind("intent"))
    assert run.duration_s == (end["t_ms"] - contents.of_kind("state")[0]["t_ms"]) / 1000.0


def test_another_seed_gives_another_run():
    """So that the comparison above compares something."""
    _, method, rig = files("iron_in_pickling_bath")
    first, second = (titrate_frameless(method, rig, method.rehearsal.cell, seed) for seed in (1, 2))
    assert isinstance(first, FramelessRun)
    assert first.points != second.points


def test_a_burette_that_refills_goes_over_the_wire():
    _, method, _ = files("iron_in_pickling_bath")
    rig = load_rig(next((CONFIGS / "rigs").glob("*small*.yaml")))
    assert rig.burette.refills
    with pytest.raises(DoseError, match="rehearse it over the wire"):
        titrate_frameless(method, rig, method.rehearsal.cell, 1)


def test_a_run_longer_than_the_stroke_is_refused():
    _, method, rig = files("iron_in_pickling_bath")
    short = rig.model_copy(update={"burette": rig.burette.model_copy(update={"stroke_mL": 20.0})})
    with pytest.raises(DoseError, match=r"20 mL, got 24\.5 mL"):
        titrate_frameless(method, short, method.rehearsal.cell, 1)
