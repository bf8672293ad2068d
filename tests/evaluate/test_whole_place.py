"""When a method's evaluation takes the whole curve in one fit, and when each jump by itself. Simulated curves."""

from dataclasses import replace

import numpy as np
import pytest
from family_curves import FAMILIES, FamilyCurve, method_like
from test_family_curves import BURETTE, measured

from titrator.chemistry.reactions import find_reaction
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.run.expectations import expectation_of

TIN_AND_IRON = next(each for each in FAMILIES if each.name.startswith("tin(II) and iron(II)"))
CERIUM = next(each for each in FAMILIES if each.name == "iron(II) with cerium(IV)")


def evaluated(curve: FamilyCurve, **changes):
    expectation = replace(expectation_of(method_like(curve.reaction), BURETTE), **changes)
    return find_equivalence_points(measured(curve, 1), expectation)


def test_all_points_come_from_one_fit():
    evaluation = evaluated(TIN_AND_IRON)
    assert [fit.name for fit in evaluation.fits] == ["whole redox", "whole redox"]
    first, second = ({each.name: each.value for each in fit.parameters} for fit in evaluation.fits)
    assert first == second
    volumes = [first["equivalence_volume_mL"], first["equivalence_volume_2_mL"]]
    assert volumes == pytest.approx([point.volume_mL for point in evaluation.equivalence_points])


def test_a_potential_far_from_the_table_is_told_once():
    """Every potential 150 mV too high, as against another reference electrode."""
    curve = measured(TIN_AND_IRON, 1)
    moved = replace(curve, signal=curve.signal + 150.0)
    found = find_equivalence_points(moved, expectation_of(method_like(TIN_AND_IRON.reaction), BURETTE)).diagnostics
    told = [each.sentence for each in found if each.kind == "potential"]
    assert sum("titrant potential found" in text for text in told) == 1
    assert all("reference" in text for text in told)


def test_another_reaction_than_the_methods_falls_back():
    """Known as chloride with silver, measured as iron with cerium: the point is that without such knowledge."""
    known = expectation_of(method_like(find_reaction("chloride", "silver")), BURETTE).known
    fallen, without = evaluated(CERIUM, known=known), evaluated(CERIUM, known=None)
    assert fallen.fits[0].name == "redox"
    assert fallen.equivalence_points == without.equivalence_points


def test_a_method_that_seeks_fewer_points_knows_no_whole_curve():
    assert expectation_of(method_like(TIN_AND_IRON.reaction, 1), BURETTE).known is None


def test_a_curve_without_a_method_is_evaluated_as_ever():
    curve = measured(CERIUM, 1)
    assert find_equivalence_points(curve).fits[0].name in ("redox", "symmetric")


@pytest.mark.parametrize("curve", FAMILIES, ids=lambda curve: curve.name)
def test_every_family_is_taken_whole(curve: FamilyCurve):
    """Also free of activity coefficients (these curves), which the models of acids and silver assume."""
    evaluation = evaluated(curve)
    assert all(fit.name.startswith("whole") for fit in evaluation.fits)
    assert np.all([fit.misfit < 2.0 for fit in evaluation.fits])
