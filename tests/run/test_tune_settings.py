"""Settings of a rule put into a method: sound, in place, and nothing else touched (read by PyYAML for comparison)."""

import re
from pathlib import Path
from random import Random

import pytest
import yaml

from titrator.bench.rig import load_rig
from titrator.files import FileProblem, InputProblem
from titrator.method import load_method
from titrator.run.tune.dials import DIALS, Scale, tunable, written
from titrator.run.tune.setting import Draft, Setting
from titrator.run.tune.wish import Wish, granted

CONFIGS = Path(__file__).parents[2] / "configs"
METHODS = [
    "iron_in_pickling_bath",
    "iron_with_permanganate",
    "acetic_acid",
    "phosphoric_acid",
    "chloride_in_rinse_water",
    "iodide_and_chloride",
    "calcium_hardness",
    "free_acid_in_pickling_bath",
]


def draft(name):
    path = CONFIGS / "methods" / f"{name}.yaml"
    method = load_method(path)
    return Draft(path.read_text(encoding="utf-8"), method, load_rig(method.rehearsal.rig))


def refused(of, setting, folder):
    try:
        of.loaded(setting, folder)
    except FileProblem as error:
        return error.problems
    return []


@pytest.mark.parametrize("path", sorted((CONFIGS / "methods").glob("[a-y]*.yaml")), ids=lambda path: path.stem)
def test_every_method_that_seeks_a_point_can_be_tuned(path):
    wish = Wish(path, None, None, None, 24, (), "balanced", 1)
    if load_method(path).find.equivalence_points == 0:
        with pytest.raises(InputProblem, match="got a blank"):
            granted(wish)
        return
    allowed = granted(wish)
    assert len(allowed.cells) == allowed.plan.budget.runs + allowed.plan.budget.confirming


def test_every_rule_of_the_method_file_that_has_dials_can_be_tuned():
    assert {"adaptive", "fixed"} <= set(tunable()) <= set(DIALS)


@pytest.mark.parametrize("name", METHODS)
@pytest.mark.parametrize("rule", tunable())
def test_where_a_search_begins_is_a_sound_method(name, rule, tmp_path):
    of = draft(name)
    setting = of.setting(1, rule, of.begin(rule))
    method, text = of.loaded(setting, tmp_path)
    assert method.additions.rule == rule
    before, after = yaml.safe_load(of.text), yaml.safe_load(text)
    for way, value in setting.values.items():
        section, key = way.split(".")
        told = after[section].get(key, "as derived")
        assert float(str(told).split()[0]) == float(value.split()[0])
    for section in set(before) - {"additions", "reading"}:
        assert after[section] == before[section]
    assert {**after["reading"], **before["reading"]}.keys() == after["reading"].keys()
    comments = [line.strip() for line in text.splitlines() if line.lstrip().startswith("#")]
    assert all(line.strip() in comments for line in of.text.splitlines() if line.lstrip().startswith("#"))


@pytest.mark.parametrize("rule", tunable())
def test_most_of_the_space_is_sound_and_the_rest_is_refused_with_a_place(rule, tmp_path):
    of, random, sound = draft("iron_in_pickling_bath"), Random("space"), 0
    for number in range(1, 26):
        values = {}
        for dial in DIALS[rule]:
            low, high = dial.bounds(of.scale)
            values[dial.way] = random.randint(low, high) if dial.whole else low * (high / low) ** random.random()
        setting = of.setting(number, rule, values)
        problems = refused(of, setting, tmp_path)
        assert all(problem.line > 1 for problem in problems)
        sound += not problems
    assert sound >= 20


def test_what_was_is_told_beside_what_is():
    of = draft("iron_in_pickling_bath")
    values = {"additions.aim": "18 mV", "additions.first": "0.10 mL", "reading.drift_below": "0.3 mV/s"}
    text = of.written(Setting(4, "adaptive", values))
    assert re.search(r"^  aim: 18 mV  # tuned: aim was 25 mV$", text, re.MULTILINE)
    assert re.search(r"^  drift_below: 0\.3 mV/s  # tuned: drift_below was not stated$", text, re.MULTILINE)
    assert "  first: 0.1 mL\n" in text, "the same value in other digits is no change"


def test_another_rule_brings_its_keys_and_puts_the_old_ones_aside():
    of = draft("iron_in_pickling_bath")
    text = of.written(Setting(2, "fixed", {"additions.step": "0.1 mL"}))
    assert yaml.safe_load(text)["additions"] == {"rule": "fixed", "step": "0.1 mL"}
    assert "  # aim: 25 mV" in text
    assert "tuned: rule was adaptive" in text


def test_setting_0_is_the_method_to_the_byte():
    of = draft("iron_in_pickling_bath")
    assert of.written(of.own()) == of.text
    assert of.own().values["additions.aim"] == "25 mV"
    assert "reading.drift_below" not in of.own().values


def test_sizes_in_order_whatever_the_search_proposes():
    of = draft("iron_in_pickling_bath")
    values = {**of.begin("adaptive"), "additions.least": 0.08, "additions.first": 0.011, "additions.most": 0.05}
    setting = of.setting(1, "adaptive", values)
    told = [setting.values[f"additions.{key}"] for key in ("least", "first", "most")]
    assert told == ["0.08 mL", "0.08 mL", "0.08 mL"]


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0123456, "0.012"), (1.0, "1"), (12.34, "12"), (0.00999, "0.01"), (250.0, "250"), (1234, "1200")],
)
def test_two_digits_are_written(value, text):
    assert written(value, "") == text


def test_limits_follow_what_method_and_rig_state():
    """By hand: noise 0.25 mV and a converter of 0.1 mV; ten errors of 1 µL; 1.2 mol/L in 10 mL, diluted tenfold."""
    of = draft("iron_in_pickling_bath")
    scale = Scale.of(of.method, of.rig)
    assert scale.noise_mV == pytest.approx(0.25166, abs=1e-5)
    assert scale.least_mL == pytest.approx(0.01)
    assert scale.jump_mL == pytest.approx(12.0)
    assert scale.drift_mV_per_s == pytest.approx(1.4 * 0.25166 / 5.0, rel=1e-4)
    for rule in tunable():
        for dial in DIALS[rule]:
            low, high = dial.bounds(scale)
            assert 0 < low < high
            assert low <= dial.begin(scale) <= high, dial.way
