"""Whatever is done to good files, `titrator check` says valid or where it is wrong: exit 0 or 2, never a traceback."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from titrator.cli.main import main

TESTS = Path(__file__).parents[1]
GOOD = {
    "method": (TESTS / "method" / "good.yaml").read_text("utf-8"),
    "rig": (TESTS / "bench" / "good_rig.yaml").read_text("utf-8"),
    "cell": (TESTS / "sim" / "good_cell.yaml").read_text("utf-8"),
}
PIECES = (
    *("", " ", "\n", ":", "- ", "{", "}", "[", "]", ",", "#", '"', "&a ", "*a", "!", "\t", "\0", "null", "no", "true"),
    *(".nan", ".inf", "-1", "0", "1e9", "1e-9", "0 mL", "1e99 mL", "1e-99 mL", "1e-300 mV", "1e300 mV", "1 s", "1e9 s"),
    *("1e300 s", "1e-300 s", "1e300 mL/min", "1e-300 mL/min", "1e300 mV/s", "1e300 mol/L", "1e-300 mol/L", "1e300"),
    *("1e-9 mV/s", "mL", "0 %", "1e9 %", "blank", "above", "wetted: [acetal]\n", "format: 2\n", "µ", "perchloric acid"),
)
EDITS = st.lists(
    st.tuples(st.floats(0, 1), st.integers(0, 12), st.one_of(st.sampled_from(PIECES), st.text(max_size=4))),
    min_size=1,
    max_size=3,
)


def mutated(text: str, edits: list[tuple[float, int, str]]) -> str:
    for share, length, piece in edits:
        at = round(share * len(text))
        text = text[:at] + piece + text[at + length :]
    return text


def swapped(text: str, share: float, piece: str) -> str:
    """Give another value to a key."""
    lines = text.splitlines(keepends=True)
    number = min(int(share * len(lines)), len(lines) - 1)
    lines[number] = f"{lines[number].split(': ')[0]}: {piece}\n"
    return "".join(lines)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("mutated")


def check(folder: Path, texts: dict[str, str], *words: str) -> None:
    for kind, text in texts.items():
        (folder / f"{kind}.yaml").write_bytes(text.encode("utf-8", "surrogatepass"))
    done = CliRunner().invoke(main, ["check", *words])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    assert done.exit_code in (0, 2)
    for line in done.stderr.splitlines():
        assert line.startswith(f"{folder}/")
        assert "expected" in line


@settings(max_examples=120)
@given(st.sampled_from(["method", "rig", "cell"]), EDITS)
def test_cut_and_pasted(folder: Path, kind: str, edits: list[tuple[float, int, str]]) -> None:
    check(folder, {kind: mutated(GOOD[kind], edits)}, str(folder / f"{kind}.yaml"), "--kind", kind)


@settings(max_examples=120)
@given(st.floats(0, 1), st.floats(0, 1), st.sampled_from(PIECES), st.sampled_from(PIECES))
def test_a_method_and_a_rig_with_other_values(folder: Path, one: float, other: float, first: str, second: str) -> None:
    texts = {"method": swapped(GOOD["method"], one, first), "rig": swapped(GOOD["rig"], other, second)}
    check(folder, texts, str(folder / "method.yaml"), "--rig", str(folder / "rig.yaml"), "--kind", "method")


@settings(max_examples=80)
@given(st.floats(0, 1), st.sampled_from(PIECES))
def test_a_cell_with_another_value(folder: Path, share: float, piece: str) -> None:
    check(folder, {"cell": swapped(GOOD["cell"], share, piece)}, str(folder / "cell.yaml"), "--kind", "cell")


@pytest.mark.parametrize("kind", sorted(GOOD))
@pytest.mark.parametrize("power", ["1e300", "1e-300"])
def test_astronomical_values_one_by_one(folder: Path, kind: str, power: str) -> None:
    """Every quantity and number of every file, and its neighbour too, taken to where sums overflow or underflow."""
    places = list(re.finditer(r"(?<=[:\[,] )-?[0-9.]+(?= [µm%sLgV°/]|\n|,|})", GOOD[kind]))
    assert len(places) >= 12
    files = {other: text for other, text in GOOD.items() if other != kind}
    for first, second in zip(places, [*places[1:], places[0]], strict=True):
        text = GOOD[kind]
        for place in sorted({first, second}, key=lambda found: -found.start()):
            text = text[: place.start()] + power + text[place.end() :]
            texts = {**files, kind: text}
            check(folder, texts, str(folder / f"{kind}.yaml"), "--kind", kind)
            if kind != "cell":
                check(folder, texts, str(folder / "method.yaml"), "--rig", str(folder / "rig.yaml"), "--kind", "method")
