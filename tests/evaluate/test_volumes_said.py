"""What is said of volumes as they were written down."""

import numpy as np
import pytest
from titration_curves import weak_acid_ph

from titrator.evaluate.csv_file import read_csv
from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.volumes_said import volumes_said
from titrator.files.problems import FileProblem


def curve(*volumes_mL: float) -> Curve:
    return Curve(np.array(volumes_mL), np.arange(float(len(volumes_mL))), "pH")


def test_nothing_is_said_of_volumes_that_rise_from_the_first_addition():
    assert volumes_said(curve(0.0, 0.5, 1.0, 2.0)) == []
    assert volumes_said(curve(5.0, 15.0, 20.0, 22.0)) == []


def test_a_burette_that_counts_down_or_a_list_in_reverse_order():
    (said,) = volumes_said(curve(50.0, 49.5, 49.0, 48.0))
    assert "from 50 to 48 mL" in said
    assert "counts down" in said
    assert "reverse order" in said


def test_a_burette_that_did_not_begin_at_zero():
    (said,) = volumes_said(curve(3.4, 3.9, 4.4, 4.9))
    assert "stands at 3.4 mL, the next one 0.5 mL on" in said
    assert "take that off" in said


def test_a_volume_out_of_order_and_one_that_comes_again():
    back, again = volumes_said(curve(0.0, 1.0, 0.5, 1.0, 1.5))
    assert back.startswith("the volume steps back once (from 1 to 0.5 mL)")
    assert again.startswith("1 reading repeats a volume (1 mL first)")


def test_a_weak_acid_stopped_before_its_point_is_told_to_go_on():
    """Its beginning is steeper than its end: that alone would be a blank."""
    volume = np.arange(0.0, 15.0, 0.5)
    signal = np.array([weak_acid_ph(v, equivalence_mL=15.3) for v in volume])
    evaluation = find_equivalence_points(Curve(volume, signal, "pH"))
    assert evaluation.equivalence_points == ()
    assert any("stopped before its point, add titrant" in text for text in evaluation.warnings)


@pytest.mark.parametrize("first", ["sep=;", '"sep=;"', "SEP=;"])
def test_a_first_line_that_tells_a_spreadsheet_the_separator(tmp_path, first):
    path = tmp_path / "curve.csv"
    path.write_text(f'{first}\n"Volumen (ml)";"U (mV)";;\n"0,5";"400,1";;\n"1,0";"401,2";;\n', encoding="utf-8")
    assert read_csv(path).volume_mL.tolist() == [0.5, 1.0]
    assert read_csv(path).signal.tolist() == [400.1, 401.2]


def test_a_first_line_alone_is_no_table(tmp_path):
    path = tmp_path / "curve.csv"
    path.write_text("sep=;\n", encoding="utf-8")
    with pytest.raises(FileProblem, match="expected below the first line, none came"):
        read_csv(path)
