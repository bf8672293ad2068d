"""Two-column files: what is read, and what is refused with file and line."""

import numpy as np
import pytest

from titrator.evaluate.csv_file import read_csv
from titrator.files.problems import FileProblem

PLAIN = "volume_mL,potential_V\n0.00,0.300\n1.00,0.350\n2.50,0.400\n"


@pytest.fixture
def file(tmp_path):
    def write(content, name="curve.csv"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


def refused(path, **units):
    with pytest.raises(FileProblem) as caught:
        read_csv(path, **units)
    text = str(caught.value)
    assert text.startswith(f"{path}:"), text
    assert "\n" not in text
    assert "came" in text or "empty" in text
    return text.removeprefix(f"{path}:")


@pytest.mark.parametrize(
    "content",
    [
        PLAIN,
        "\ufeff" + PLAIN,
        PLAIN.replace("\n", "\r\n"),
        PLAIN.replace("\n", "\r"),
        PLAIN.replace(",", ";"),
        PLAIN.replace(",", "\t"),
        PLAIN.replace(",", ";").replace(".", ","),
        PLAIN.replace(",", "\t").replace(".", ","),
        PLAIN.replace(",", ", "),
        "# a comment\n\n" + PLAIN + "\n\n",
        'volume_mL,potential_V\n"0,00","0,300"\n"1,00","0,350"\n"2,50","0,400"\n',
        "potential_V,volume_mL\n0.300,0.00\n0.350,1.00\n0.400,2.50\n",
        "volume (mL),E (mV)\n0,300\n1,350\n2.5,400\n",
        "V/mL,E/mV\n0,300\n1,350\n2.5,400\n",
        "Volume [µL];Potential [V]\n0;0.3\n1000;0.35\n2500;0.4\n",
        "volume_uL,potential_mV\n0,3e2\n1e3,3.5e2\n2.5e3,4e2\n",
        "volume in cm³,potential in mV\n0,300\n1,350\n2.5,400\n",
        "volume_L,potential_mV\n0,300\n.001,350\n0.0025,+400\n",
        "V;E\nmL;mV\n0,0;300\n1,0;350\n2,5;400\n",
        "Volume,Potential\n[cm³],[V]\n0,0.300\n1,0.350\n2.5,0.400\n",
        "% a comment\n// another\n" + PLAIN,
        "volume_mL;potential_V;\n0.00;0.300;\n1.00;0.350;\n2.50;0.400;\n",
        "No.\tt (s)\tV (mL)\tE (mV)\n1\t0\t0\t300\n2\t60\t1\t350\n3\t120\t2.5\t400\n",
        "volume_mL,potential_mV,remark\n0,300,\n1,350,waited longer\n2.5,400,\n",
        "n,burette,,reading\n,mL,,V\n1,0,,.3\n2,1,,.35\n3,2.5,,.4\n",
        ",,\n" + PLAIN,
    ],
)
def test_many_ways_of_writing_the_same_curve(file, content):
    curve = read_csv(file(content))
    assert curve.signal_unit == "mV"
    assert curve.volume_mL.tolist() == pytest.approx([0.0, 1.0, 2.5])
    assert curve.signal.tolist() == pytest.approx([300.0, 350.0, 400.0])


@pytest.mark.parametrize(
    ("name", "unit"), [("pH", "pH"), ("pH value", "pH"), ("pAg", "pX"), ("pCl", "pX"), ("pX", "pX")]
)
def test_p_scales(file, name, unit):
    curve = read_csv(file(f"volume_mL,{name}\n0,3.1\n1,3.2\n"))
    assert curve.signal_unit == unit
    assert curve.signal.tolist() == [3.1, 3.2]


def test_without_header_both_units_are_needed(file):
    path = file("0.00,0.300\n1.00,0.350\n")
    assert read_csv(path, volume_unit="mL", signal_unit="V").signal.tolist() == pytest.approx([300.0, 350.0])
    assert "--volume-unit and --signal-unit" in refused(path)
    assert "--signal-unit" in refused(path, volume_unit="mL")
    assert "--volume-unit" in refused(path, signal_unit="V")


def test_units_beside_a_header_without_units(file):
    path = file("burette,reading\n10,300\n11,350\n")
    assert read_csv(path, volume_unit="µL", signal_unit="mV").volume_mL.tolist() == pytest.approx([0.010, 0.011])
    assert refused(path).startswith("1:")
    assert refused(file(PLAIN), signal_unit="mV").startswith("1:"), "the header says V, the option mV"


@pytest.mark.parametrize("columns", [("V/mL", "E/mV"), ("2", "4"), ("v/ml", "4")])
def test_columns_named_where_several_carry_units(file, columns):
    path = file("pH;V/mL;dE/dV (mV/mL);E/mV\n3;10,0;-;300\n4;11,0;50,0;350\n")
    text = refused(path)
    assert text.startswith("1:")
    assert "--volume-column" in text
    curve = read_csv(path, volume_column=columns[0], signal_column=columns[1])
    assert curve.signal_unit == "mV"
    assert curve.volume_mL.tolist() == [10.0, 11.0]
    assert curve.signal.tolist() == [300.0, 350.0]
    assert read_csv(path, volume_column="2", signal_column="pH").signal_unit == "pH"


def test_mV_beside_pH_is_asked_for(file):
    path = file("V/mL;pH;E/mV\n10,0;3,0;300\n11,0;4,0;350\n")
    assert "--signal-column" in refused(path)
    assert read_csv(path, signal_column="pH").signal.tolist() == [3.0, 4.0]
    assert read_csv(path, signal_column="E/mV").signal.tolist() == [300.0, 350.0]


def test_more_than_two_columns_without_a_header(file):
    path = file("1\t10.5\t300\n2\t11.5\t350\n")
    lacking = refused(path, volume_unit="mL", signal_unit="mV")
    assert "--volume-column and --signal-column" in lacking
    curve = read_csv(path, volume_unit="mL", signal_unit="mV", volume_column="2", signal_column="3")
    assert curve.volume_mL.tolist() == [10.5, 11.5]


def test_two_columns_the_other_way_round_without_a_header(file):
    path = file("300,10.5\n350,11.5\n")
    curve = read_csv(path, volume_unit="mL", signal_unit="mV", signal_column="1")
    assert curve.volume_mL.tolist() == [10.5, 11.5]


@pytest.mark.parametrize(
    ("columns", "told"),
    [
        ({"volume_column": "5"}, "number from 1 to 3"),
        ({"volume_column": "0"}, "number from 1 to 3"),
        ({"signal_column": "nowhere"}, "'nowhere' came"),
        ({"volume_column": "1", "signal_column": "1"}, "the same came"),
        ({"volume_column": "pH", "signal_column": "V/mL"}, "another came"),
        ({"signal_column": "remark"}, "--signal-unit"),
    ],
)
def test_columns_that_cannot_be_meant(file, columns, told):
    assert told in refused(file("V/mL;pH;remark\n10;3;4\n11;4;5\n"), **columns)


@pytest.mark.parametrize(("argument", "value"), [("volume_unit", "mV"), ("volume_unit", "gal"), ("signal_unit", "mL")])
def test_an_argument_that_is_no_unit(file, argument, value):
    with pytest.raises(ValueError, match="expected"):
        read_csv(file(PLAIN), **{argument: value})


@pytest.mark.parametrize(
    ("content", "where", "told"),
    [
        ("", "1:", "empty"),
        ("  \n\n", "1:", "empty"),
        ("# only a comment\n", "1:", "comments"),
        ("volume_mL,potential_V\n", "2:", "none came"),
        ("volume_mL,potential_V\n1.0,0.3\n2.0,nan\n", "3:", "finite number"),
        ("volume_mL,potential_V\n1.0,0.3\n-inf,0.4\n", "3:", "finite number"),
        ("volume_mL,potential_V\n1.0,0.3\n2.0,1e999\n", "3:", "range of doubles"),
        ("volume_mL,potential_V\n1.0,0.3\n2.0,\n", "3:", "empty field"),
        ("volume_mL,potential_V\n1.0,0.3\n2.0,zero\n", "3:", "'zero'"),
        ("volume_mL,potential_V\n1.0,0.3\n2.0,0x10\n", "3:", "'0x10'"),
        ("volume_mL,potential_V\n1.0,0.3\n2.0,1_0\n", "3:", "'1_0'"),
        ("volume_mL,potential_V\n1.0,0.3,5\n", "2:", "3 came"),
        ("volume_mL,potential_V\n1,0,0,3\n", "2:", "ambiguous"),
        ("volume_mL;potential_V\n1,0;0,3\n2.0;0.4\n", "3:", "one decimal sign"),
        ("volume_mL;potential_V\n1.000,5;300\n", "2:", "one decimal sign"),
        ('volume_uL,potential_mV\n500,335\n"1,000",354\n"13,500",470\n', "3:", "which may be 1000 or 1.000"),
        ("volume_mL;potential_mV\n29;492\n30;518\n31;1.122\n32;1.153\n", "4:", "which may be 1122 or 1.122"),
        ("volume_mL;potential_mV\n29;492\n30;518\n31;1,122\n32;1,153\n", "4:", "which may be 1122 or 1.122"),
        ("volume_mL potential_V\n1.0 0.3\n", "1:", "separated by"),
        ("1,0,0,3\n2,0,0,4\n", "1:", "ambiguous"),
        ("sample of Monday\nvolume_mL,pH\n1,2\n", "1:", "separated by"),
        ("sample,Monday,noon\nvolume_mL,pH\n1,2\n", "2:", "put # before it"),
        ("a,b,c\n1,2,3\n", "1:", "units in the header of two of 3 columns"),
        ("volume_mL,b,c\n1,2,3\n", "1:", "--signal-column"),
        ("volume_mL,pH\nnot,numbers\n1,2\n", "2:", "'not'"),
        ("volume,signal\nmL,pH\nmL,pH\n1,2\n", "3:", "a number expected"),
        ("volume_ML,pH\n1,2\n", "1:", "--volume-unit"),
        ("volume_mL,potential_MV\n1,2\n", "1:", "--signal-unit"),
        ("V,E\n1.0,0.3\n", "1:", "a unit in the header"),
        ("V,pH\n1.0,0.3\n", "1:", "a unit in the header"),
        ("volume_mL,volume_mL\n1.0,0.3\n", "1:", "two columns of volume"),
        ("pH,potential_mV\n1.0,0.3\n", "1:", "two columns of signal"),
        ("1.0,potential_mV\n1.0,0.3\n", "1:", "a header or two numbers"),
        ('volume_mL,potential_V\n1.0,"0.3\n', "2:", "no CSV"),
        (b"volume_mL,potential_V\n1.0,\x000.3\n", "2:", "NUL"),
        (b"volume_mL,potential_V\n1.0,0.3\n\xb5,4\n", "3:", "UTF-8"),
        ("\ufeffvolume_mL,pH\n1,2\n".encode("utf-16"), "1:", "UTF-16"),
    ],
)
def test_what_is_wrong_is_told_with_its_line(file, content, where, told):
    text = refused(file(content))
    assert text.startswith(where), text
    assert told in text


def test_a_file_that_is_not_there(tmp_path):
    assert "readable file" in refused(tmp_path / "nowhere.csv")


def test_volume_stays_on_the_scale_of_the_file(file):
    curve = read_csv(file("volume_mL,pH\n12.50,3\n12.40,3.1\n12.60,4\n12.60,4.1\n"))
    assert np.array_equal(curve.volume_mL, [12.50, 12.40, 12.60, 12.60])
    assert (curve.steps_back, curve.repeats) == (1, 1)
