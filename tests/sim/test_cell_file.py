"""The cell file: the committed one holds the demonstration's constants; wrong ones say where and what."""

from pathlib import Path

import pytest

from sim.cell_file import CellFile, load_cell
from sim.cell_sections import CorrelatedNoise, WhiteNoise
from titrator.files.models import StrictModel
from titrator.files.problems import FileProblem

CELL_FILE = Path(__file__).parents[2] / "configs" / "cells" / "iron_in_pickling_bath.yaml"


def test_the_demonstration_s_constants():
    cell = load_cell(CELL_FILE)
    assert (cell.reaction.analyte, cell.reaction.titrant, cell.reaction.acid) == (
        "iron(II)",
        "cerium(IV)",
        "sulfuric acid",
    )
    limits = cell.sample.concentration
    assert (limits.low_mol_per_L, limits.high_mol_per_L) == (1.2, 2.2)
    potentials = cell.potentials
    assert (potentials.analyte.centre_mV, potentials.analyte.within_mV) == (680.0, 30.0)
    assert (potentials.titrant.centre_mV, potentials.titrant.within_mV) == (1440.0, 30.0)
    assert (potentials.slope.low, potentials.slope.high) == (0.95, 1.0)
    electrode = cell.electrode
    assert (electrode.response_s, electrode.slowing_s, electrode.slowing_half_at) == (2.5, 9.5, 100.0)
    assert electrode.slowing_power == 1.0
    assert cell.exchange is not None
    exchange = cell.exchange
    assert (exchange.analyte, exchange.titrant, exchange.background_mol_per_L) == (1.0, 0.1, 5e-9)
    assert cell.mixing_s == 1.5
    (noise,) = cell.noise
    assert isinstance(noise, WhiteNoise)
    assert noise.sd_mV == 0.25
    assert cell.drift_mV_per_s == pytest.approx(0.05 / 60)
    assert cell.path == CELL_FILE


def changed(tmp_path, old, new):
    text = CELL_FILE.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path = tmp_path / "cell.yaml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    line = text[: text.index(old)].count("\n") + 1
    return path, line


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("acid: sulfuric acid", "acid: vinegar", "expected sulfuric acid or perchloric acid, got vinegar"),
        ("titrant: cerium(IV)", "titrant: tin(IV)", "a titrant known for iron(II) (cerium(IV) or permanganate"),
        ("from: 1.2 mol/L", "from: 3.2 mol/L", "wrong way round"),
        ("from: 1.2 mol/L", "from: 1.2", "a bare number without unit"),
        ("within: 30 mV", "within: 30 s", "potential"),
        ("to: 0.001", "to: 1.5", "below 1"),
        ("slope: {from: 0.95", "slope: {from: 0", "above 0"),
        ("  response: 2.5 s", "  responce: 2.5 s", "response"),
        ("kind: white", "kind: pink", "white or correlated"),
        ("sd: 0.25 mV", "sd: -0.25 mV", "above 0"),
        ("mixing: 1.5 s", "mixing: fast", "time"),
        ("format: 1", "format: 7", "1"),
    ],
)
def test_what_is_wrong_is_located(tmp_path, old, new, message):
    if old == "within: 30 mV":
        old, new = f"centre: 0.68 V, {old}", f"centre: 0.68 V, {new}"
    path, line = changed(tmp_path, old, new)
    with pytest.raises(FileProblem) as caught:
        load_cell(path)
    (there, *_) = (problem for problem in caught.value.problems if problem.line == line)
    assert str(there).startswith(f"{path}:{line}:")
    assert message in str(there)


def test_noise_with_a_memory(tmp_path):
    path, _ = changed(
        tmp_path,
        "  - {kind: white, sd: 0.25 mV}",
        "  - {kind: white, sd: 0.25 mV}\n  - {kind: correlated, sd: 500 µV, memory: 2 s}",
    )
    _, hum = load_cell(path).noise
    assert isinstance(hum, CorrelatedNoise)
    assert (hum.sd_mV, hum.memory_s) == (0.5, 2.0)


def sections(model: type[StrictModel]):
    yield model
    for field in model.model_fields.values():
        for part in (field.annotation, *getattr(field.annotation, "__args__", ())):
            if isinstance(part, type) and issubclass(part, StrictModel):
                yield from sections(part)


def test_every_key_is_documented():
    found = [*sections(CellFile), WhiteNoise, CorrelatedNoise]
    assert len(found) >= 9
    for model in found:
        for name, field in model.model_fields.items():
            assert field.description, f"{model.__name__}.{name}"
