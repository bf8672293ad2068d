"""Good method files: what the attributes hold, and that every method we ship loads."""

import subprocess
import sys
from pathlib import Path

import pytest

from titrator.chemistry.reactions import REACTIONS
from titrator.files.key_table import refreshed
from titrator.files.keys import documented_keys
from titrator.method import Method, load_method
from titrator.method.plausible import expected_points_mL

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
GOOD = (HERE / "good.yaml").read_text("utf-8")
SHIPPED = sorted((ROOT / "configs" / "methods").glob("*.yaml"))


def edited(tmp_path: Path, *edits: tuple[str, str]) -> Method:
    text = GOOD
    for was, now in edits:
        assert text.count(was) == 1
        text = text.replace(was, now)
    path = tmp_path / "method.yaml"
    path.write_text(text, "utf-8")
    return load_method(path)


def test_attributes_are_in_the_units_of_their_names() -> None:
    method = load_method(HERE / "good.yaml")
    assert method.name == "Iron(II) in a bath"
    assert (method.titrant.concentration.value_mol_per_L, method.titrant.concentration.u_mol_per_L) == (0.1, 0.0002)
    assert (method.sample.aliquot.value_mL, method.sample.aliquot.u_mL) == (10.0, 0.01)
    assert (method.sample.dilution.value, method.sample.dilution.u) == (10.0, 0.005)
    assert method.electrode.start_window_mV == (150.0, 480.0)
    assert method.ends_when.time_over_s == 3600.0
    assert method.medium.concentration_mol_per_L == 1.0
    assert method.rehearsal.cell == HERE.resolve() / "cells" / "iron.yaml"
    assert method.rehearsal.rig == HERE.parent.resolve() / "rigs" / "simulated.yaml"
    assert method.additions.rule == "adaptive"
    assert (method.additions.first_mL, method.additions.least_mL, method.additions.most_mL) == (0.1, 0.02, 1.0)
    assert method.cautions.substances[1].concentration_mol_per_L == 1.0
    assert method.cautions.notes == ("Wear goggles.",)


def test_other_units_say_the_same(tmp_path: Path) -> None:
    method = edited(
        tmp_path,
        ("value: 0.1000 mol/L", "value: 100 mmol/L"),
        ("least: 0.02 mL", "least: 20 µL"),
        ("time_over: 60 min", "time_over: 1 h"),
        ("[150 mV, 480 mV]", "[0.15 V, 0.48 V]"),
        ("drift_below: 0.05 mV/s", "drift_below: 3 mV/min"),
        ("temperature: 20 °C\nsample", "temperature: 293.15 K\nsample"),
    )
    good = load_method(HERE / "good.yaml")
    assert method.model_copy(update={"rehearsal": good.rehearsal}) == good


def test_keys_that_may_be_left_out(tmp_path: Path) -> None:
    method = edited(
        tmp_path,
        ("rehearsal: {cell: cells/iron.yaml, rig: ../rigs/simulated.yaml}\n", ""),
        ("  dilution: {value: 10, u: 0.005}\n", ""),
        ("  rinse: 10 mL\n", ""),
        ("  first: 0.1 mL\n", ""),
        ("  least_wait: 3 s\n", ""),
        ("  drift_below: 0.05 mV/s\n", ""),
        ("  potential_beyond: 1300 mV\n", ""),
        ("  notes:\n    - Wear goggles.\n", ""),
    )
    assert (method.rehearsal.cell, method.rehearsal.rig) == (None, None)
    assert (method.sample.dilution.value, method.sample.dilution.u) == (1.0, 0.0)
    assert method.vessel.rinse_mL == 0.0
    assert method.additions.rule == "adaptive"
    assert method.additions.first_mL is None
    assert (method.reading.least_wait_s, method.reading.drift_below_mV_per_s) == (None, None)
    assert method.ends_when.potential_beyond_mV is None
    assert method.cautions.notes == ()


def test_fixed_additions(tmp_path: Path) -> None:
    start, end = GOOD.index("additions:\n"), GOOD.index("reading:\n")
    method = edited(tmp_path, (GOOD[start:end], "additions: {rule: fixed, step: 0.5 mL}\n"))
    assert method.additions.rule == "fixed"
    assert method.additions.step_mL == 0.5


def test_a_blank_seeks_nothing(tmp_path: Path) -> None:
    method = edited(tmp_path, ("kind: unknown", "kind: blank"), ("equivalence_points: 1", "equivalence_points: 0"))
    assert (method.sample.kind, method.find.equivalence_points) == ("blank", 0)


SHIPPED_BY_NAME = {path.stem: path for path in SHIPPED}


def test_steps_ratios_and_results_of_two_points() -> None:
    method = load_method(SHIPPED_BY_NAME["tin_and_iron"])
    assert method.reaction.analytes == ("tin(II)", "iron(II)")
    assert method.reaction.ratios == (0.5, 1.0)
    assert method.result.names == ("tin(II)", "iron(II)")
    assert method.result.molar_masses_g_per_mol == (118.71, 55.845)
    assert method.vessel.gas == "nitrogen"
    # By hand: 10 mL of 1/10 of 0.25 and 0.6 mol/L hold 0.25 and 0.6 mmol; 0.1 mol/L takes 5 mL, then 6 mL more.
    low, high = zip(*expected_points_mL(method.sample, method.titrant, method.reaction), strict=True)
    assert low == pytest.approx((5.0, 11.0))
    assert high == pytest.approx((8.0, 18.0))


def test_a_third_is_taken_exactly() -> None:
    reaction = load_method(SHIPPED_BY_NAME["citric_acid"]).reaction
    assert reaction.stated_ratio == 0.3333
    assert reaction.ratios == (1 / 3,)
    assert reaction.analyte_per_titrant == 1 / 3


def test_a_buffer_and_its_reagent() -> None:
    medium = load_method(SHIPPED_BY_NAME["zinc_bath"]).medium
    assert (medium.name, medium.key, medium.pH, medium.acid) == ("ammonia buffer", "buffer", 10.0, None)
    assert medium.reagents == ("copper(II) EDTA complex",)


def test_plain_water_and_a_double_junction(tmp_path: Path) -> None:
    method = load_method(SHIPPED_BY_NAME["acetic_acid"])
    assert (method.medium.name, method.medium.concentration_mol_per_L, method.medium.pH) == ("none", 0.0, None)
    assert load_method(SHIPPED_BY_NAME["chloride_in_rinse_water"]).electrode.bridge == "1 mol/L KNO3"
    # Perchloric acid is taken with an outer filling that holds no potassium.
    perchloric = edited(
        tmp_path,
        ("acid: sulfuric acid", "acid: perchloric acid"),
        ("name: sulfuric acid", "name: perchloric acid"),
        ("filling: 3 mol/L KCl", "filling: 3 mol/L KCl\n  bridge: 1 mol/L NaNO3"),
    )
    assert perchloric.electrode.bridge == "1 mol/L NaNO3"


def test_the_zero_of_an_ion_electrode_is_its_own(tmp_path: Path) -> None:
    """A start window far off is taken for a membrane, whose zero no table knows, and refused for glass."""
    for stem, window in (("calcium_hardness", "[-80 mV, 60 mV]"), ("acetic_acid", "[150 mV, 320 mV]")):
        text = SHIPPED_BY_NAME[stem].read_text("utf-8")
        assert text.count(window) == 1
        path = tmp_path / f"{stem}.yaml"
        path.write_text(text.replace(window, "[900 mV, 1000 mV]"), "utf-8")
        if stem == "calcium_hardness":
            assert load_method(path).electrode.start_window_mV == (900.0, 1000.0)
        else:
            with pytest.raises(Exception, match="expected a window that meets -60 to 524 mV"):
                load_method(path)


@pytest.mark.parametrize(("capacity", "fits"), [("84.5 mL", True), ("84.49 mL", False), ("84.5001 mL", True)])
def test_the_vessel_must_hold_fill_rinse_and_titrant(tmp_path: Path, capacity: str, fits: bool) -> None:
    edit = ("capacity: 150 mL", f"capacity: {capacity}")  # 50 + 10 + 24.5 = 84.5 mL
    if fits:
        assert edited(tmp_path, edit).vessel.capacity_mL < 85
    else:
        with pytest.raises(Exception, match="it would overflow"):
            edited(tmp_path, edit)


@pytest.mark.parametrize("path", SHIPPED, ids=[path.stem for path in SHIPPED])
def test_every_shipped_method_loads(path: Path) -> None:
    load_method(path)


def test_the_demonstration_method_says_what_it_must() -> None:
    """The demonstration's invented constants, which figures are compared by; the atomic weight is IUPAC's (2021)."""
    method = load_method(ROOT / "configs" / "methods" / "iron_in_pickling_bath.yaml")
    assert (method.titrant.concentration.value_mol_per_L, method.titrant.concentration.u_mol_per_L) == (0.1, 0.0002)
    assert (method.sample.aliquot.value_mL, method.sample.aliquot.u_mL) == (10.0, 0.01)
    assert (method.sample.dilution.value, method.sample.dilution.u) == (10.0, 0.005)
    assert (method.medium.acid, method.medium.volume_mL, method.medium.temperature_C) == ("sulfuric acid", 40.0, 20.0)
    assert (method.vessel.capacity_mL, method.vessel.fill_mL, method.vessel.tip) == (150.0, 50.0, "immersed")
    assert method.result.molar_mass_g_per_mol == 55.845
    # The strongest bath, 2.2 mol/L, needs 22 mL; one stroke is 25 mL.
    assert 22.0 < method.ends_when.volume_above_mL < 25.0


def test_every_key_has_its_description_in_the_docs() -> None:
    assert [key.name for key in documented_keys(Method) if not key.field.description] == []
    document = (ROOT / "docs" / "method-file.md").read_text("utf-8")
    for key in documented_keys(Method):
        assert f"| `{key.name}` |" in document
    assert refreshed(document, Method) == document, (
        "run: python -m titrator.files.key_table titrator.method.method:Method docs/method-file.md"
    )


def test_every_reaction_stands_in_the_docs() -> None:
    document = (ROOT / "docs" / "method-file.md").read_text("utf-8")
    for reaction in REACTIONS:
        ratios = ", ".join(f"{step.analyte_per_titrant:.4g}" for step in reaction.steps)
        row = f"| {', then '.join(reaction.analytes)} | {reaction.titrant} | {ratios} | "
        (line,) = [line for line in document.splitlines() if line.startswith(row)]
        for medium in reaction.media:
            assert ("plain water" if medium.kind == "water" else f"{medium.name} {medium.least_mol_per_L:g} to") in line
        assert line.endswith(f"| {' or '.join(reaction.indicators)} |")


def test_loading_a_method_imports_no_numerical_library() -> None:
    code = (
        "import sys\n"
        "from titrator.method import cautions_text, load_method\n"
        f"cautions_text(load_method({str(HERE / 'good.yaml')!r}))\n"
        "heavy = {'numpy', 'scipy', 'matplotlib'} & set(sys.modules)\n"
        "sys.exit(f'imported: {heavy}' if heavy else 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 0, done.stderr
