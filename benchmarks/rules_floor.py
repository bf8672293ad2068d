"""The floor of a titration's duration: no rule that delivers the volume and waits for six readings is faster.

Delivery of the equivalence volume at the rig's top speed, and six waits until the true remainder (the potential without
noise and drift against its end at that volume) is below one standard deviation of the noise, at -40, -10, -3, +3, +10
and +20 % of the equivalence volume. Each wait begins where a delivery at top speed from the position before ends. With
two points the same places lie around each, and the last equivalence volume is delivered once. The cell is simulated with
the draws of the dry run of the same seed.

By itself:  python benchmarks/rules_floor.py [seeds]   prints the floors of all cells.
"""

import copy
import statistics
import sys
from typing import NamedTuple

from rules_cases import CASES, Files, files

from sim.cell import SimulatedCell

PLACES = (-0.40, -0.10, -0.03, 0.03, 0.10, 0.20)
"""Where the waits are, in parts of the equivalence volume."""
TICK_S = 0.05
LONG_S = 3600.0
"""After so long everything has come to rest."""
LONGEST_S = 1800.0


class Floor(NamedTuple):
    """The floor of one run in s: delivery, and the waits in order of their volumes (mL)."""

    delivery_s: float
    places_mL: tuple[float, ...]
    waits_s: tuple[float, ...]

    @property
    def duration_s(self) -> float:
        """Delivery and waits together."""
        return self.delivery_s + sum(self.waits_s)


def end_mV(cell: SimulatedCell) -> float:
    """The potential that the electrode would reach at the volume delivered so far, without drift."""
    rest = copy.deepcopy(cell)
    rest.surroundings.air = 0.0  # nothing else may change meanwhile
    for part in (0.1, 0.3, 0.6):  # the response time is that of what is mixed: it settles in between
        rest.advance(rest.t_s + part * LONG_S, rest.delivered_mL)
    return rest.electrode.read_mV(0.0)


def deliver(cell: SimulatedCell, volume_mL: float, speed_mL_per_s: float) -> None:
    """Deliver on to `volume_mL`, in ticks so that the lags follow."""
    start_s, start_mL = cell.t_s, cell.delivered_mL
    lasts_s = (volume_mL - start_mL) / speed_mL_per_s
    ticks = max(1, round(lasts_s / TICK_S))
    for tick in range(1, ticks + 1):
        part = tick / ticks
        cell.advance(start_s + part * lasts_s, start_mL + part * (volume_mL - start_mL))


def wait(cell: SimulatedCell, within_mV: float) -> float:
    """Wait until the remainder is below `within_mV`; how long it took, in s. Between ticks it is taken to be straight."""
    end = end_mV(cell)
    start_s, before_mV = cell.t_s, abs(cell.electrode.read_mV(0.0) - end)
    while before_mV > within_mV:
        cell.advance(cell.t_s + TICK_S, cell.delivered_mL)
        now_mV = abs(cell.electrode.read_mV(0.0) - end)
        if now_mV <= within_mV:
            return cell.t_s - start_s - TICK_S * (within_mV - now_mV) / (before_mV - now_mV)
        if cell.t_s - start_s > LONGEST_S:
            raise ArithmeticError(f"{now_mV:.3g} mV of remainder after {LONGEST_S:g} s: the end is another")
        before_mV = now_mV
    return 0.0


def floor_of(told: Files, seed: int) -> Floor:
    """The floor of the run with `seed`."""
    cell, truth = told.drawn(seed)
    points_mL = truth.equivalence_points_delivered_mL[: told.points]
    places_mL = sorted(point_mL * (1.0 + place) for point_mL in points_mL for place in PLACES)
    speed_mL_per_s = told.rig.burette.top_speed_mL_per_min / 60.0
    waits_s = []
    for place_mL in places_mL:
        deliver(cell, place_mL, speed_mL_per_s)
        waits_s.append(wait(cell, told.noise_mV))
    return Floor(points_mL[-1] / speed_mL_per_s, tuple(places_mL), tuple(waits_s))


def main() -> None:
    """Print the floors."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    print(
        "| cell | noise, mV | delivery, s | waits, s | each wait, s | floor, s |\n| --- | --- | --- | --- | --- | --- |"
    )
    for case in CASES:
        told = files(case)
        floors = [floor_of(told, seed) for seed in range(1, seeds + 1)]
        each = ", ".join(f"{statistics.median(waits):.0f}" for waits in zip(*(f.waits_s for f in floors), strict=True))
        print(
            f"| {case.name} | {told.noise_mV:g} | {statistics.median(f.delivery_s for f in floors):.0f} | "
            f"{statistics.median(sum(f.waits_s) for f in floors):.0f} | {each} | "
            f"{statistics.median(f.duration_s for f in floors):.0f} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
