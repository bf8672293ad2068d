"""A cell whose faults strike on time: the schedule is asked before every reading."""

from sim.cell import SimulatedCell
from sim.faults.parts import Parts
from sim.faults.schedule import Schedule


class FaultedCell:
    """Stands before the cell. A world without faults has none of this, so it costs nothing there."""

    def __init__(self, cell: SimulatedCell) -> None:
        """Without a schedule yet, for that needs the burette as well."""
        self._cell = cell
        self._schedule: Schedule | None = None
        self._parts: Parts | None = None

    def obey(self, schedule: Schedule, parts: Parts) -> None:
        """Ask `schedule` from now on, for the burette's motions too."""
        self._schedule, self._parts = schedule, parts
        burette = parts.burette
        burette.before_motion = lambda now_us: schedule.ask(now_us, burette.delivered_mL(now_us))

    def sample(self, t_s: float, delivered_mL: float) -> float:
        """Potential in mV at the amplifier's input, as of the cell, with what the faults add to it."""
        assert self._schedule is not None
        assert self._parts is not None
        self._schedule.ask(round(t_s * 1e6), delivered_mL)
        potential_mV = self._cell.sample(t_s, delivered_mL)
        for source in self._parts.added:
            potential_mV += source(t_s)
        return potential_mV
