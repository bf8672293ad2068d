"""The constants of the C are those of the Python, by name, and none of the Python's is missing."""

import re

import pytest

from titrator.control import passing
from titrator.control.foresight import corner, design, estimate, law, layers
from titrator.control.increments import adaptive, foreseeing
from titrator.control.settling import blocks, detector, noise, settings, tail, verdict

MODULES = {
    "law": (law,),
    "estimate": (estimate,),
    "fit": (estimate,),
    "layers": (layers,),
    "corner": (corner,),
    "design": (design, estimate),
    "adaptive": (adaptive,),
    "recall": (foreseeing,),
    "rule": (foreseeing, verdict),
    "choosing": (foreseeing,),
    "state": (foreseeing,),
    "passing": (passing,),
    "blocks": (blocks,),
    "tail": (tail,),
    "noise": (noise,),
    "verdict": (verdict, settings),
    "detector": (detector, tail),
}
OF_32_BITS = {"NOTHING_mL", "SQRT_2", "TWO_PI_SQUARED", "LEAST_UNIT_VARIANCE", "JUST_BEFORE_S", "MOST_TRIED", "RECENT"}
OF_32_BITS |= {"TIMES_COUNT", ("law", "FARTHEST"), ("design", "HALVINGS"), ("adaptive", "HALVINGS")}
"""Not in the Python, or another number there: 32 bits end at exp(88), and need fewer halvings."""
NOT_HERE = {("passing", "MOST"), ("detector", "HIGHEST_MV"), ("settings", "LEAST_S")}
"""As many readings as are kept is a matter of room; what is refused and derived before the run is no part of the C."""


def constants(study, stem):
    """Name and value of every constant of a source and its header."""
    for path in study.SOURCE.glob(f"{stem}.[ch]"):
        text = re.sub(r"/\*.*?\*/", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
        for kinds in re.findall(r"^static const float ([^;{]*);", text, flags=re.MULTILINE):
            for name, value in re.findall(r"(\w+) = ([^,]+)", kinds):
                yield name, (float(value.rstrip("f")),)
        for name, values in re.findall(r"^static const float (\w+)\[\] = \{([^}]*)\};", text, flags=re.MULTILINE):
            yield name, tuple(float(each.strip().rstrip("f")) for each in values.split(","))
        for kinds in re.findall(r"^enum \{([^}]*)\};", text, flags=re.MULTILINE):
            for name, value in re.findall(r"(\w+) = (\d+)", kinds):
                yield name, (float(value),)


@pytest.mark.parametrize("stem", sorted(MODULES))
def test_constants_are_those_of_the_python(study, stem):
    found = {name: value for name, value in constants(study, stem) if not {name, (stem, name)} & OF_32_BITS}
    assert found
    for name, value in found.items():
        ours = of_python(stem, name)
        if not ours and name.startswith("MOST_"):
            continue  # how much there is room for
        assert ours, f"{stem} has {name}, which is in no module of the Python"
        assert ours == {value}, name


def of_python(stem, name):
    """The Python's values of a constant."""
    names = (name, f"_{name}")
    found = [getattr(module, each) for module in MODULES[stem] for each in names if hasattr(module, each)]
    return {each if isinstance(each, tuple) else (float(each),) for each in found}


def test_none_is_missing(study):
    there = {name for path in study.SOURCE.glob("*.[ch]") for name, _ in constants(study, path.stem)}
    for module in {module for modules in MODULES.values() for module in modules}:
        stem = module.__name__.rpartition(".")[2]
        for name, value in vars(module).items():
            number = isinstance(value, int | float | tuple) and re.fullmatch(r"_?[A-Z]{2,}(_\w+)?", name)
            if number and (stem, name) not in NOT_HERE:
                assert name.lstrip("_") in there, f"{stem}.{name}"
