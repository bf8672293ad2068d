"""A computer that sleeps for minutes at any moment of a run, in virtual time: it goes on when it wakes.

Checked against the simulated board's own count of steps (our own protocol: no outside source).
"""

import pytest
from demonstration import rehearsal

from titrator.record.journal_reader import read_journal
from titrator.run import rehearsal as rehearsal_module

ASLEEP_S = 300.0
MOMENTS_S = (3.0, 20.0, 41.3, 66.6, 90.1, 130.9, 171.7, 222.2)


class Sleepy:
    """The board's transport in a computer that sleeps once, in the midst of whatever it does; the board does not.

    `heard`: what the board said meanwhile waits in a buffer, as of a stopped process; else it is lost, as at a port
    without current.
    """

    def __init__(self, world, at_s, *, heard):
        self._world = world
        self._at_s = at_s
        self._heard = heard
        self.slept = False
        self.truth, self.write, self.now_s, self.close = world.truth, world.write, world.now_s, world.close

    def read(self, timeout_s):
        world = self._world
        if world.now_s() >= self._at_s:
            self._at_s, self.slept = float("inf"), True
            until_s, waiting = world.now_s() + ASLEEP_S, b""
            while world.now_s() < until_s:
                waiting += world.read(until_s - world.now_s())
            if self._heard and waiting:
                return waiting
        return world.read(timeout_s)


@pytest.mark.parametrize("heard", [True, False], ids=["in a buffer", "lost"])
@pytest.mark.parametrize("at_s", MOMENTS_S)
def test_a_run_goes_on_when_its_computer_wakes(tmp_path, monkeypatch, at_s, heard):
    opened, sleepy = rehearsal_module.open_simulated, []

    def opened_sleepy(*words):
        sleepy.append(Sleepy(opened(*words), at_s, heard=heard))
        return sleepy[0]

    monkeypatch.setattr(rehearsal_module, "open_simulated", opened_sleepy)
    run = rehearsal(2, tmp_path)
    contents = read_journal(run.folder.journal)
    (end,) = contents.of_kind("end")
    assert end["state"] == "finished", end["why"]
    assert round(end["volume_mL"] / contents.lines[0]["burette"]["step_mL"]) == run.truth["pushed_steps"]
    assert contents.of_kind("uncertain") == []
    doses = [line["dose"] for line in contents.of_kind("intent")]
    assert len(doses) == len(set(doses))
    assert sleepy[0].slept
