"""What a reading costs on its way from the simulated board to the bench, without a cell.

Run: python benchmarks/wire_cost.py. Ten minutes of bench time at 10 readings a second, 32 doses, every frame encoded and
decoded both ways. Prints CPU time; the best of five runs, since other work on the machine only ever adds.
"""

import time
from pathlib import Path

from sim.world import Hardware, World, build_board
from titrator.bench.bench import Bench
from titrator.bench.events import MotionEnded
from titrator.bench.rig import load_rig

BENCH_S = 600.0
DOSE_mL = 0.7
RIG = Path(__file__).parents[1] / "configs" / "rigs" / "simulated.yaml"


class NoCell:
    """Costs next to nothing."""

    def sample(self, _t_s: float, delivered_mL: float) -> float:
        return delivered_mL


def run() -> tuple[float, int, int]:
    """CPU seconds, readings, requests."""
    rig = load_rig(RIG)
    burette = rig.burette
    hardware = Hardware(
        step_mL=burette.step_mL,
        stroke_mL=burette.stroke_mL,
        least_step_us=burette.arithmetic.least_step_us,
        random_error_mL=burette.random_error_mL,
        calibration_half_width=burette.calibration.half_width,
        adc_step_mV=rig.amplifier.step_mV,
        range_mV=(rig.amplifier.range.low_mV, rig.amplifier.range.high_mV),
    )
    world = World(build_board(NoCell(), hardware, 1))
    bench = Bench(world, rig)
    bench.begin_run(1, 24.0)
    bench.start_readings()
    begun_s = time.process_time()
    readings, dose, moving, next_s = 0, 0, False, 0.0
    while world.now_s() < BENCH_S:
        for event in bench.wait(1.0):
            if isinstance(event, MotionEnded):
                moving = False
            else:
                readings += len(event.t_s)
        if not moving and dose < 32 and bench.now_s > next_s:
            dose, moving, next_s = dose + 1, True, bench.now_s + 18.0
            bench.move_to(dose, dose * DOSE_mL)
    return time.process_time() - begun_s, readings, bench.counters.requests


if __name__ == "__main__":
    cpu_s, readings, requests = min(run() for _ in range(5))
    print(
        f"{BENCH_S:g} s of bench time: {1e3 * cpu_s:.1f} ms CPU for {readings} readings and {requests} requests, "
        f"{1e6 * cpu_s / readings:.2f} µs a reading"
    )
