"""The constants of the C are those of the Python, by name."""

import re

import pytest

from titrator.control.foresight import design, estimate, law
from titrator.control.increments import adaptive, foreseeing
from titrator.control.settling import blocks, verdict

MODULES = {"law": (law,), "estimate": (estimate,), "design": (design, estimate), "adaptive": (adaptive,)}
MODULES["rule"] = (foreseeing, verdict)
OTHER = {"SQRT_2", "REACHES_COUNT", "MOST_TRIED", ("law", "FARTHEST"), ("design", "HALVINGS"), ("adaptive", "HALVINGS")}
"""Not in the Python, or another number there: 32 bits end at exp(88), and need fewer halvings."""


def constants(text):
    text = re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL)
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
    found = [each for each in constants((study.SOURCE / f"{stem}.c").read_text(encoding="utf-8"))]
    found = [(name, value) for name, value in found if not {name, (stem, name)} & OTHER]
    assert len(found) >= 1
    for name, value in found:
        (expected,) = {
            getattr(module, each)
            for module in MODULES[stem]
            for each in (name, f"_{name}")
            if hasattr(module, each)
        } or {None}
        assert expected is not None, f"{stem}.c has {name}, which is in no module of the Python"
        assert value == (expected if isinstance(expected, tuple) else (float(expected),)), name


def test_what_is_kept_is_as_much_as_in_the_python(study):
    kept = dict(constants((study.SOURCE / "state.h").read_text(encoding="utf-8")))
    assert kept["KEPT"] == (foreseeing.KEPT,)
    assert kept["KEPT_PASSING"] == (foreseeing.KEPT_PASSING,)
    assert kept["MOST_BLOCKS"] == (blocks.MOST_BLOCKS,)
