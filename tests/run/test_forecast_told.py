"""What is told of the end while the rule `foreseeing` titrates, against the end as it comes (simulated time)."""

from pathlib import Path

import pytest
from demonstration import CONFIGS, NOW

from titrator.bench.rig import load_rig
from titrator.control.forecast import Foreseen
from titrator.control.states import TERMINAL
from titrator.method import load_method
from titrator.run.attendance import Attendance
from titrator.run.rehearsal import Setup, rehearse
from titrator.run.standing import Standing

METHODS = ("iron_in_pickling_bath", "acetic_acid", "chloride_in_rinse_water", "iodide_and_chloride")


def told(name: str, seed: int, folder: Path) -> tuple[list[tuple[float, Foreseen]], float, list[float]]:
    """Each new forecast of a dry run with its time in s, when the run came to its end, and the true points in mL."""
    text = (CONFIGS / "methods" / f"{name}.yaml").read_text(encoding="utf-8")
    path = folder / f"{name}.yaml"
    path.write_text(
        text.replace("rule: adaptive", "rule: foreseeing\n  finest: 0.004 mL").replace("../", f"{CONFIGS}/"), "utf-8"
    )
    method = load_method(path)
    rig = load_rig(method.rehearsal.rig)
    rig = rig.model_copy(update={"record": rig.record.model_copy(update={"sync": False})})
    seen: list[Standing] = []
    setup = Setup(method, path, rig, method.rehearsal.rig, method.rehearsal.cell, seed)
    truth = rehearse(setup, folder, NOW, Attendance(watch=seen.append)).truth
    under_way = [each for each in seen if each.state not in TERMINAL]
    forecasts: list[tuple[float, Foreseen]] = []
    for now in under_way:
        if now.foreseen is not None and (not forecasts or forecasts[-1][1] is not now.foreseen):
            forecasts.append((now.t_s, now.foreseen))
    return forecasts, under_way[-1].t_s, truth["equivalence_points_mL"]


@pytest.mark.parametrize("name", METHODS)
@pytest.mark.parametrize("seed", [9601, 9602, 9603])
def test_the_end_is_told_within_a_factor_of_two(name, seed, tmp_path):
    """From the first forecast on: half a minute before the end a reading more or less may be what is wrong."""
    forecasts, end_s, truths_mL = told(name, seed, tmp_path)
    assert end_s - forecasts[0][0] > 60.0, "told while it is still of use"
    for t_s, foreseen in forecasts:
        if end_s - t_s > 30.0:
            assert 0.5 < foreseen.left_s / (end_s - t_s) < 2.0
    first, last = forecasts[0][1], forecasts[-1][1]
    assert first.jump_mL == pytest.approx(truths_mL[-1], rel=0.03)
    assert last.jump_mL is None
    assert [foreseen.points for _, foreseen in forecasts] == sorted(
        (each.points for _, each in forecasts), reverse=True
    )
