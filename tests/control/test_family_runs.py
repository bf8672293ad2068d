"""The controller on every reaction of the table: falling curves, several jumps, shallow jumps and flat starts.

The curves are computed by titrator.chemistry (simulated); equivalence volumes are stated by the amounts.
"""

import itertools

import pytest
from family_curves import FAMILIES, FamilyCurve, family_curve
from family_runs import LEAST_mL, MOST_mL, controlled
from plans import plan

from titrator.control.ends import Cause
from titrator.control.forecast import Forecast
from titrator.control.increments import AdaptiveSettings
from titrator.control.jumps import JumpWatch


@pytest.mark.parametrize("aim_mV", [8.0, 25.0])
@pytest.mark.parametrize("curve", FAMILIES, ids=lambda curve: curve.name)
def test_every_reaction_ends_past_its_last_jump(curve: FamilyCurve, aim_mV: float):
    bench = controlled(curve, aim_mV)
    assert bench.finish.ending.cause is Cause.POINTS
    volumes = [point.volume_mL for point in bench.points]
    additions = [later - earlier for earlier, later in itertools.pairwise(volumes)]
    assert min(additions) >= LEAST_mL - 1e-9
    assert max(additions) <= MOST_mL + 1e-9
    assert curve.points_mL[-1] < volumes[-1] < 1.2 * curve.points_mL[-1], "past the last point and not far beyond"
    assert len(volumes) <= 36 * len(curve.points_mL) + 12
    for point_mL in curve.points_mL:  # small again at each jump, the later ones too
        beside = [step for start, step in zip(volumes, additions, strict=False) if abs(start - point_mL) < 0.15]
        assert min(beside) <= 0.1
        assert sum(start < point_mL for start in volumes) >= 8
    behind = [volume for volume in volumes if volume > curve.points_mL[-1]]
    # Six are asked for; a shallow jump is over only where its slope has fallen to a quarter.
    assert 5 <= len(behind) <= 12


@pytest.mark.parametrize("curve", FAMILIES, ids=lambda curve: curve.name)
def test_the_wrong_direction_finds_no_jump(curve: FamilyCurve):
    bench = controlled(curve)
    watches = [JumpWatch(45.0, 0.001, (), direction) for direction in ("rising", "falling")]
    for point in bench.points:
        for watch in watches:
            watch.add_point(point)
    wanted = [len(curve.points_mL), 0]
    assert [watch.passed for watch in watches] == (wanted if curve.reaction.rising else wanted[::-1])


def test_the_last_of_two_jumps_is_foreseen_from_the_branch_before_it():
    curve = next(each for each in FAMILIES if each.name.startswith("tin(II) and iron(II)"))
    bench = controlled(curve)
    forecast = Forecast(
        plan(jumps_sought=2, direction="rising", additions=AdaptiveSettings(15.0, 0.1, 0.02, 0.5, 2.0),
             least_rise_mV=45.0)
    )  # fmt: skip
    foreseen = []
    for point in bench.points:
        forecast.add_point(point)
        if forecast.foreseen is not None and forecast.foreseen.jump_mL is not None:
            foreseen.append((point.volume_mL, forecast.foreseen.jump_mL))
    assert foreseen
    assert all(volume_mL > curve.points_mL[0] for volume_mL, _ in foreseen), "not while another one is to come"
    assert foreseen[-1][1] == pytest.approx(curve.points_mL[1], abs=0.1)


@pytest.mark.parametrize("points_mL", [(4.0, 18.0), (14.0, 18.0), (16.5, 18.0)])
def test_unequal_steps(points_mL):
    for curve in FAMILIES:
        if len(curve.points_mL) == 2 and "phosphoric" not in curve.name and "carbonate" not in curve.name:
            bench = controlled(family_curve(curve.reaction, points_mL))
            assert bench.finish.ending.cause is Cause.POINTS, curve.name
            assert bench.points[-1].volume_mL > 18.0
