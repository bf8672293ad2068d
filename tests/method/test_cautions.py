"""Cautions: codes, limits and wording.

Outside sources: CLP Annex VI (index numbers beside each) for codes and concentration limits, GHS Annex 3 for the
wording of the statements; mass fractions of 1 mol/L acids from densities in common tables (from memory).
"""

from pathlib import Path

import pytest

from titrator.files import load
from titrator.method import cautions_text, load_method
from titrator.method.hazards import TABLE, Density, HazardFile, hazard_table

HERE = Path(__file__).parent
GOOD = (HERE / "good.yaml").read_text("utf-8")


@pytest.mark.parametrize(
    ("substance", "mol_per_L", "codes", "signal"),
    [
        # Sulfuric acid, 016-020-00-8: H314 from 15 %, H315 and H319 from 5 % to below 15 %.
        ("sulfuric acid", None, {"H314", "H290"}, "Danger"),
        ("sulfuric acid", 3.0, {"H314", "H290"}, "Danger"),
        ("sulfuric acid", 1.0, {"H315", "H319"}, "Warning"),
        # Hydrochloric acid, 017-002-01-X: H314 from 25 %, H315, H319 and H335 from 10 %; dilute: H290 only.
        ("hydrochloric acid", 12.0, {"H314", "H335", "H290"}, "Danger"),
        ("hydrochloric acid", 4.0, {"H315", "H319", "H335", "H290"}, "Warning"),
        ("hydrochloric acid", 0.1, {"H290"}, "Warning"),
        # Perchloric acid, 017-006-00-4: 1A above 50 %, 1B from 10 %, H315 and H319 from 1 %.
        ("perchloric acid", 11.6, {"H271", "H314", "H290"}, "Danger"),
        # Iron(II) sulfate, 026-003-00-7: H302, H315, H319.
        ("iron(II) salts", None, {"H302", "H315", "H319"}, "Warning"),
        # Suppliers' data sheets (not harmonised).
        ("cerium(IV) sulfate", 0.1, {"H315", "H319", "H335"}, "Warning"),
        # Sodium hydroxide, 011-002-00-6 (from memory): H314 from 2 %, H315 and H319 from 0.5 %; 1 mol/L is 3.8 %.
        ("sodium hydroxide", 1.0, {"H290", "H314"}, "Danger"),
        ("sodium hydroxide", 0.2, {"H290", "H315", "H319"}, "Warning"),
        ("sodium hydroxide", 0.1, {"H290"}, "Warning"),
        # Phosphoric acid, 015-011-00-6 (from memory): H314 from 25 %, H315 and H319 from 10 %.
        ("phosphoric acid", 2.0, {"H290", "H315", "H319"}, "Warning"),
        ("phosphoric acid", 14.7, {"H290", "H302", "H314"}, "Danger"),
        # Nitric acid, 007-030-00-3 (from memory): H314 from 5 %.
        ("nitric acid", 1.0, {"H290", "H314"}, "Danger"),
        # Silver nitrate, 047-001-00-2, by the general limits: irritates from 1 %, 0.1 mol/L being 1.7 %.
        ("silver nitrate", 0.1, {"H290", "H315", "H319", "H410"}, "Warning"),
        ("nitrogen", None, {"H280"}, "Warning"),
    ],
)
def test_classification_at_a_concentration(
    substance: str, mol_per_L: float | None, codes: set[str], signal: str
) -> None:
    band = hazard_table()[substance].band(mol_per_L)
    assert band is not None
    assert (set(band.statements), band.signal) == (codes, signal)


def test_dichromate_stays_a_carcinogen_as_a_titrant() -> None:
    """CLP Annex VI, 024-002-00-6: carcinogen 1B, mutagen 1B, from 0.1 %; 1/60 mol/L is 0.5 %."""
    band = hazard_table()["potassium dichromate"].band(1 / 60)
    assert band is not None
    assert {"H340", "H350", "H360FD"} <= set(band.statements)
    assert band.signal == "Danger"


def test_half_molar_sulfuric_acid_lies_below_every_limit() -> None:
    assert hazard_table()["sulfuric acid"].band(0.5) is None  # 4.8 % by mass, the limit is 5 %


@pytest.mark.parametrize(
    ("substance", "mol_per_L", "percent"),
    [
        ("sulfuric acid", 1, 9.3),
        ("sulfuric acid", 0.5, 4.8),
        ("hydrochloric acid", 1, 3.6),
        ("perchloric acid", 1, 9.5),
        ("sodium hydroxide", 1, 3.8),
        ("nitric acid", 1, 6.1),
        ("silver nitrate", 0.1, 1.7),
    ],
)
def test_mass_fractions(substance: str, mol_per_L: float, percent: float) -> None:
    density = hazard_table()[substance].density
    assert density is not None
    assert density.mass_fraction(mol_per_L) * 100 == pytest.approx(percent, abs=0.06)


def test_a_mass_fraction_never_exceeds_one() -> None:
    assert Density.model_validate({"molar_mass": "98.08 g/mol", "slope": 0}).mass_fraction(1000.0) == 1.0


def test_the_table_is_whole() -> None:
    file = load(TABLE, HazardFile)
    for name, hazard in file.substances.items():
        for band in hazard.bands:
            assert set(band.statements) <= set(file.statements), name
        assert [band.above for band in hazard.bands] == sorted((band.above for band in hazard.bands), reverse=True)
        if len(hazard.bands) > 1:
            assert hazard.density is not None, name


def test_wording_of_statements() -> None:
    """GHS, Annex 3."""
    statements = load(TABLE, HazardFile).statements
    assert statements["H314"] == "Causes severe skin burns and eye damage"
    assert statements["H315"] == "Causes skin irritation"
    assert statements["H319"] == "Causes serious eye irritation"
    assert statements["H302"] == "Harmful if swallowed"
    assert statements["H350"] == "May cause cancer"
    assert statements["H280"] == "Contains gas under pressure; may explode if heated"
    assert statements["H411"] == "Toxic to aquatic life with long lasting effects"


def test_the_text_of_a_method(tmp_path: Path) -> None:
    lines = cautions_text(load_method(HERE / "good.yaml"))
    assert "sulfuric acid, 1 mol/L (about 9.3 % by mass): Warning (exclamation mark)." in lines
    assert "  H319 Causes serious eye irritation" in lines
    assert not any("H314 " in line and line.startswith("  H") for line in lines)
    assert any(line.startswith("Waste: Cerium") for line in lines)
    assert any("eye protection" in line for line in lines)
    assert "Wear goggles." in lines
    assert lines[-1].startswith("Local rules and the safety data sheet in hand come first.")
    assert all("\n" not in line for line in lines)

    path = tmp_path / "method.yaml"
    path.write_text(GOOD.replace("sulfuric acid, concentration: 1 mol/L}", "sulfuric acid, concentration: 3 mol/L}"))
    assert "  H314 Causes severe skin burns and eye damage" in cautions_text(load_method(path))


def test_a_diluted_acid_below_the_limits_is_said_to_be_unclassified(tmp_path: Path) -> None:
    path = tmp_path / "method.yaml"
    path.write_text(GOOD.replace("concentration: 1 mol/L", "concentration: 0.4 mol/L"))
    lines = cautions_text(load_method(path))
    assert "sulfuric acid, 0.4 mol/L (about 3.8 % by mass): not classified as hazardous." in lines
