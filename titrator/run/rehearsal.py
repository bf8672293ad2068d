"""A dry run: the whole titration of a method against the simulated cell, over the wire, in virtual time."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

from titrator.bench.rig import Rig
from titrator.bench.simulated import open_simulated
from titrator.chemistry.references import reference_potential_V
from titrator.method import Method
from titrator.record.run_folder import RunFolder, sha256, write_json
from titrator.run.attendance import NOBODY, Attendance
from titrator.run.course import Course, conduct, rig_fields
from titrator.run.fits import fits
from titrator.run.host import describe_host
from titrator.run.sessions import session_from


@dataclass(frozen=True, slots=True)
class Setup:
    """What a dry run is made from: the files, read and checked, and the seed of every draw."""

    method: Method
    method_path: Path
    rig: Rig
    rig_path: Path
    cell_path: Path
    seed: int
    faults: tuple[str, ...] = ()
    """What shall go wrong, in words such as "stirrer-off@8 mL"; the journal knows nothing of it."""


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """A dry run that is over. `truth` is what the simulator knows; it never reached controller or evaluation."""

    folder: RunFolder
    truth: dict[str, Any]


def stated_values(method: Method) -> dict[str, Any]:
    """What the method states, as the plain numbers and words that the simulated cell is drawn from."""
    electrode, medium, temperature_C = method.electrode, method.medium, method.medium.temperature_C
    return {
        "titrant": method.reaction.titrant,
        "analytes": method.reaction.analytes,
        "titrant_mol_per_L": method.titrant.concentration.value_mol_per_L,
        "u_titrant_mol_per_L": method.titrant.concentration.u_mol_per_L,
        "aliquot_mL": method.sample.aliquot.value_mL,
        "u_aliquot_mL": method.sample.aliquot.u_mL,
        "dilution": method.sample.dilution.value,
        "u_dilution": method.sample.dilution.u,
        "titrant_temperature_C": method.titrant.temperature_C,
        "analyte_per_titrant": method.reaction.ratios,
        "fill_mL": method.vessel.fill_mL,
        "temperature_C": temperature_C,
        "reference_potential_V": reference_potential_V(electrode.reference, electrode.filling, temperature_C),
        "indicator": electrode.indicator,
        "medium": medium.name,
        "medium_mol_per_L": medium.concentration_mol_per_L,
        "medium_mL": medium.volume_mL,
        "pH": medium.pH,
        "reagents": medium.reagents,
        "contains": method.sample.contains,
        "gas": method.vessel.gas or "",
        "tip": method.vessel.tip,
        "blank": method.sample.kind == "blank",
        "standardised_here": method.titrant.standardised is not None and method.titrant.standardised.burette is None,
    }


def first_line(setup: Setup) -> dict[str, Any]:
    """The journal's first line: what the record needs to be evaluated without any other file but the method."""
    return {
        "name": setup.method.name,
        "simulated": True,
        "seed": setup.seed,
        "method_sha256": sha256(setup.method_path),
        "rig_sha256": sha256(setup.rig_path),
        "cell_sha256": sha256(setup.cell_path),
        **rig_fields(setup.rig),
    }


def rehearse(setup: Setup, runs: Path, now: datetime.datetime, attendance: Attendance = NOBODY) -> Rehearsal:
    """Run `setup` to its end in a new folder below `runs`.

    Raises InputProblem when the rig cannot do what the method asks, or cell file or faults are wrong, all before
    anything is written; otherwise as `conduct`.
    """
    fits(setup.method, setup.method_path, setup.rig)
    world = open_simulated(setup.rig, setup.cell_path, stated_values(setup.method), setup.seed, setup.faults)
    sessions = Random(f"{setup.seed}/session")
    course = Course(
        method=setup.method,
        rig=setup.rig,
        session=session_from(sessions),
        new_session=lambda: session_from(sessions),
        folder=lambda: _folder(setup, runs, now),
        first_line=lambda _identity: first_line(setup),
    )
    folder = conduct(course, world, attendance)
    truth = world.truth()
    with folder.truth.open("x", encoding="utf-8") as file:
        write_json(file, truth)
    return Rehearsal(folder, truth)


def _folder(setup: Setup, runs: Path, now: datetime.datetime) -> RunFolder:
    copies = {"method.yaml": setup.method_path, "rig.yaml": setup.rig_path, "cell.yaml": setup.cell_path}
    folder = RunFolder.create(runs, setup.method.name, now.date(), copies)
    with folder.host.open("x", encoding="utf-8") as file:
        write_json(file, describe_host(now))
    return folder
