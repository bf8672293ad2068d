"""Loading into models: places of errors, several at once, variants, uncertainties, paths."""

import math
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Literal

import pytest
from pydantic import Field

from titrator.files import FileProblem, Finding, StrictModel, UncertainNumber, UncertainVolume, load
from titrator.files.key_table import BEGIN, END, key_table, refreshed
from titrator.files.keys import documented_keys
from titrator.files.quantities import Count, PositiveVolume_mL, Potential_mV, Volume_mL
from titrator.files.texts import FilePath, Text


class Drops(StrictModel):
    way: Literal["drops"] = Field(description="By drops.")
    drop_mL: PositiveVolume_mL = Field(alias="drop", description="A drop.")


class Stream(StrictModel):
    way: Literal["stream"] = Field(description="In a stream.")
    least_mL: Volume_mL = Field(alias="least", description="Least.")
    most_mL: Volume_mL = Field(alias="most", description="Most.")

    def findings(self) -> Iterable[Finding]:
        if self.least_mL > self.most_mL:
            yield Finding(("least",), "expected at most most, got more")
            yield Finding((), "expected order, got disorder")


class Thing(StrictModel):
    format: Literal[1] = Field(description="Version.")
    name: Text = Field(description="Name.")
    pour: Annotated[Drops | Stream, Field(discriminator="way")] = Field(description="How to pour.")
    window_mV: tuple[Potential_mV, Potential_mV] | None = Field(None, alias="window", description="Window.")
    vessel: UncertainVolume | None = Field(None, description="Vessel.")
    factor: UncertainNumber | None = Field(None, description="Factor.")
    beside: FilePath | None = Field(None, description="A file.")
    switch: bool = Field(False, description="A switch.")
    parts: tuple[Drops, ...] = Field((), description="Parts.")
    points: Count = Field(1, description="Points.")


def one_drop(name: str, points: int) -> Iterable[Finding]:
    if points > 5:
        yield Finding(("points",), f"expected at most 5 for {name}, got {points}")


ALL = "format, name, pour, window, vessel, factor, beside, switch, parts, points"
GOOD = "format: 1\nname: a thing\npour: {way: drops, drop: 50 uL}\n"


def told(tmp_path: Path, text: str) -> list[str]:
    path = tmp_path / "thing.yaml"
    path.write_text(text, "utf-8")
    with pytest.raises(FileProblem) as caught:
        load(path, Thing, across=(one_drop,))
    return [str(problem).removeprefix(f"{path}:") for problem in caught.value.problems]


def loaded(tmp_path: Path, text: str) -> Thing:
    path = tmp_path / "thing.yaml"
    path.write_text(text, "utf-8")
    return load(path, Thing, across=(one_drop,))


def test_a_good_file(tmp_path: Path) -> None:
    extra = "window: [-50 mV, 0.1 V]\nbeside: ../other/cell.yaml\nswitch: true\nparts:\n  - {way: drops, drop: 1 mL}\n"
    thing = loaded(tmp_path, GOOD + extra)
    assert thing.pour == Drops.model_validate({"way": "drops", "drop": "0.05 mL"})
    assert thing.window_mV == (-50.0, 100.0)
    assert thing.beside == tmp_path.parent.resolve() / "other" / "cell.yaml"
    assert thing.switch is True
    assert [part.drop_mL for part in thing.parts] == [1.0]


def test_uncertainty_either_way(tmp_path: Path) -> None:
    thing = loaded(tmp_path, GOOD + "vessel: {value: 10 mL, half_width: 0.02 mL}\nfactor: {value: 10, u: 0.005}\n")
    assert thing.vessel is not None
    assert thing.vessel.u_mL == pytest.approx(0.02 / math.sqrt(3))  # JCGM 100:2008, 4.3.7: rectangular limits
    assert thing.factor is not None
    assert (thing.factor.value, thing.factor.u) == (10.0, 0.005)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("- a\n", ["1:1: expected keys, got a list of 1"]),
        ("just text\n", ['1:1: expected keys, got "just text"']),
        (
            "name: x\n",
            [
                "1:1: expected the key 'format' (Version.), got none",
                "1:1: expected the key 'pour' (How to pour.), got none",
            ],
        ),
        (GOOD.replace("1", "2", 1), [
            (
                "1:9: expected 1, the format that this version reads, got 2; a later version of titrator wrote it: use "
                "that version, or write the file anew as the documentation says"
            )
        ]),
        (GOOD.replace("1", "true", 1), ["1:9: expected a whole number, the version of the format, got true"]),
        (GOOD.replace("1", "1.0", 1), ["1:9: expected a whole number, the version of the format, got 1.0"]),
        (GOOD.replace("name", "nam"), [
            f"2:1: expected one of the keys {ALL}, got 'nam' (did you mean name? unknown here)",
        ]),
        (GOOD + "switch: yes\n", ['4:9: expected true or false, got "yes"']),
        (GOOD + "switch: 1\n", ["4:9: expected true or false, got 1"]),
        (GOOD + "switch:\n", ["4:1: expected true or false, got nothing"]),
        (GOOD.replace("way: drops, ", ""), ["3:1: expected the key 'way' in 'pour', got a section without it"]),
        (GOOD.replace("way: drops", "way: buckets"), ['3:13: expected drops or stream, got "buckets"']),
        (GOOD.replace("drop: 50 uL", "drip: 50 uL"), [
            "3:20: expected one of the keys way, drop, got 'drip' (did you mean drop? unknown here)",
        ]),
        (GOOD.replace("{way: drops, drop: 50 uL}", "[1, 2]"), [
            "3:1: expected a section, got a list of 2",
        ]),
        (GOOD.replace("way: drops, drop: 50 uL", "way: stream, least: 2 mL, most: 1 mL"), [
            "3:1: expected order, got disorder",
            "3:28: expected at most most, got more",
        ]),
        (GOOD + "window: [1 mV]\n", ["4:1: expected one more entry, got a list that ends before it"]),
        (GOOD + "window: [1 mV, 2 mV, 3 mV]\n", ["4:1: expected a list of 2, got a list of 3"]),
        (GOOD + "window: [1 mV, 2]\n", [
            '4:16: expected a potential such as "150 mV", got 2 (a bare number without unit)',
        ]),
        (GOOD + "vessel: 10 mL\n", ['4:9: expected a section with the keys value, u, half_width, got "10 mL"']),
        (GOOD + "vessel: {value: 10}\n", [
            "4:1: expected the key u (standard uncertainty) or half_width (limits of a certificate), got neither",
            '4:17: expected a volume such as "10.00 mL", got 10 (a bare number without unit)',
        ]),
        (GOOD + "vessel: {value: 10 mL, u: 1 mL, half_width: 1 mL}\n", [
            "4:45: expected one of u and half_width, got both",
        ]),
        (GOOD + "vessel: {u: 1 mL}\n", ["4:1: expected the key 'value' in 'vessel' (The best value.), got none"]),
        (GOOD + "parts:\n  - {way: drops, drop: 1 mL}\n  - {way: drops, drop: 0 mL}\n", [
            '6:24: expected a volume above 0 mL, got "0 mL"',
        ]),
        (GOOD + "parts:\n  - {way: drops, drop: 1 mL}\n  - 7\n", [
            "6:5: expected a section with the keys way, drop, got 7",
        ]),
        (GOOD + "points: 6\n", ["4:9: expected at most 5 for a thing, got 6"]),
        (GOOD + "points: 6\nswitch: 3\n", [  # checks between sections run although another section is wrong
            "4:9: expected at most 5 for a thing, got 6",
            "5:9: expected true or false, got 3",
        ]),
        (GOOD.replace("a thing", '"\\ud800"'), [
            '2:7: expected printable text on one line, got "\\ud800" (with the character U+D800)',
        ]),
        (GOOD.replace("a thing", "x" * 501), [
            f'2:7: expected a text of at most 500 characters, got "{"x" * 59}…" (501 characters)',
        ]),
        (GOOD + 'beside: "a\\0b"\n', [
            '4:9: expected printable text on one line, got "a\\x00b" (with the character U+0000)',
        ]),
    ],
)  # fmt: skip
def test_every_problem_has_its_place(tmp_path: Path, text: str, expected: list[str]) -> None:
    assert told(tmp_path, text) == expected


def test_documented_keys_go_into_sections_variants_and_lists() -> None:
    names = [key.name for key in documented_keys(Thing)]
    assert names[:8] == ["format", "name", "pour", "pour.way", "pour.drop", "pour.way", "pour.least", "pour.most"]
    assert "parts.drop" in names
    assert "vessel.half_width" in names


def test_the_key_table_is_put_between_its_marks() -> None:
    document = refreshed(f"before\n{BEGIN}\nold\n{END}\nafter\n", Thing)
    assert document == f"before\n{BEGIN}\n{key_table(Thing)}\n{END}\nafter\n"
    assert "| `pour.drop` | a volume, `10.00 mL` | yes | A drop. |" in document
    assert "| `window` | " in document
    assert document.count("| `pour.way` | `drops` or `stream` | yes |") == 1
    with pytest.raises(ValueError, match="expected the lines"):
        refreshed("nothing here", Thing)
