"""The demonstration's files, read once, and a dry run of them."""

import datetime
import functools
from pathlib import Path

from titrator.bench.rig import load_rig
from titrator.method import load_method
from titrator.run.attendance import Attendance
from titrator.run.rehearsal import Rehearsal, Setup, rehearse

CONFIGS = Path(__file__).parents[2] / "configs"
METHOD = CONFIGS / "methods" / "iron_in_pickling_bath.yaml"
RIG = CONFIGS / "rigs" / "simulated.yaml"
CELL = CONFIGS / "cells" / "iron_in_pickling_bath.yaml"
NOW = datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.UTC)


@functools.cache
def _files():
    return load_method(METHOD), load_rig(RIG)


def setup(seed: int, faults: tuple[str, ...] = ()) -> Setup:
    method, rig = _files()
    return Setup(method, METHOD, rig, RIG, CELL, seed, faults)


def rehearsal(seed: int, runs: Path, faults: tuple[str, ...] = (), **options) -> Rehearsal:
    return rehearse(setup(seed, faults), runs, NOW, Attendance(**options))
