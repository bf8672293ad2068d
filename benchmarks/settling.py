"""Simulated settlements: does the settling detector keep what it states, and how long does it wait?

    python benchmarks/settling.py            # remakes benchmarks/settling.md

Everything here is simulated. Seeds, stated before the run: settlement k of class C is drawn from
random.Random("settlement C k"), k = 0 to 1999; addition k of the cell from random.Random("addition k"), k = 0 to 299.
The detector's constants were tuned on random.Random("C tune N k"), N = 1 to 8, and on no other stream. The stated
seeds were run once before with a first version, which met the same figures but for 5.8 % of AR(1) settlements too late;
what was changed after that (a stricter misfit test, a steadier search) was chosen on the tuning streams.
"""

import math
import random
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from titrator.control.settling import Settled, SettlingDetector, SettlingSettings

SETTLEMENTS = 2000
ADDITIONS = 300
INTERVAL_S = 0.1
LONGEST_S = 120.0
ENOUGH_S = 60.0
IDEAL_LEAST_S = 3.0


@dataclass(frozen=True)
class Kind:
    """A class of settlements. step_mV: converter; correlation_s: range of the AR(1) correlation time, uniform."""

    name: str
    step_mV: float = 0.0
    correlation_s: tuple[float, float] | None = None
    uniform_response: bool = False


KINDS = (
    Kind("white"),
    Kind("quantised", step_mV=0.1),
    Kind("AR(1)", correlation_s=(0.1, 2.0)),
    Kind("AR(1) of 2 s", correlation_s=(2.0, 2.0)),
    Kind("quantised coarsely", step_mV=0.5),
    Kind("white, response uniform", uniform_response=True),
)


@dataclass(frozen=True)
class Settlement:
    """One drawn settlement and what the detector said. noise_mV: of one reading, with rounding (step / √12)."""

    response_s: float
    amplitude_mV: float
    noise_mV: float
    end_mV: float
    settings: SettlingSettings
    readings: list[tuple[float, float]]
    logged: Settled

    @property
    def remainder_mV(self) -> float:
        """True remainder at the moment of logging."""
        return abs(self.amplitude_mV) * math.exp(-self.logged.waited_s / self.response_s)

    @property
    def ideal_s(self) -> float:
        """The later of 3 s and the moment from which the true remainder stays below the noise of one reading."""
        return max(IDEAL_LEAST_S, self.response_s * math.log(abs(self.amplitude_mV) / self.noise_mV))

    @property
    def would_have_sufficed(self) -> bool:
        """The true remainder is below the noise of one reading by 60 s."""
        return abs(self.amplitude_mV) * math.exp(-ENOUGH_S / self.response_s) <= self.noise_mV

    @property
    def too_late(self) -> bool:
        """Not settled, or settled later than 60 s (the strict reading)."""
        return not self.logged.settled or self.logged.waited_s > ENOUGH_S


def log_uniform(rng: random.Random, low: float, high: float) -> float:
    """A number whose logarithm is uniform."""
    return math.exp(rng.uniform(math.log(low), math.log(high)))


def settle(kind: Kind, rng: random.Random) -> Settlement:
    """Draw one settlement and run the detector on it."""
    response_s = rng.uniform(1.0, 20.0) if kind.uniform_response else log_uniform(rng, 1.0, 20.0)
    amplitude = log_uniform(rng, 1.0, 100.0) * rng.choice((-1.0, 1.0))
    sd = log_uniform(rng, 0.05, 1.0)
    end = rng.uniform(-500.0, 500.0)
    settings = SettlingSettings(
        noise_mV=sd * log_uniform(rng, 0.5, 2.0),
        response_s=response_s * log_uniform(rng, 0.5, 2.0),
        resolution_mV=kind.step_mV,
        longest_s=LONGEST_S,
    )
    keep = 0.0 if kind.correlation_s is None else math.exp(-INTERVAL_S / rng.uniform(*kind.correlation_s))
    fresh = math.sqrt(1.0 - keep * keep) * sd
    detector = SettlingDetector(settings)
    detector.begin(0.0)
    noise = rng.gauss(0.0, sd)
    readings: list[tuple[float, float]] = []
    logged = None
    while logged is None:
        t = INTERVAL_S * (len(readings) + 1)
        y = end + amplitude * math.exp(-t / response_s) + noise
        if kind.step_mV:
            y = round(y / kind.step_mV) * kind.step_mV
        readings.append((t, y))
        logged = detector.add(t, y)
        noise = keep * noise + rng.gauss(0.0, fresh)
    total = math.sqrt(sd * sd + kind.step_mV**2 / 12.0)
    return Settlement(response_s, amplitude, total, end, settings, readings, logged)


@dataclass(frozen=True)
class Summary:
    """Shares in %, ratios to the noise of one reading or to the ideal wait."""

    held: float
    potential_within_2_sd: float
    potential_within_3_sd: float
    sufficed: int
    too_late: float
    median_bound: float
    median_ratio: float
    median_wait_s: float
    p95_wait_s: float
    median_sd: float


def summarise(found: list[Settlement]) -> Summary:
    """The figures of one class."""

    def share(test: Callable[[Settlement], bool], of: list[Settlement]) -> float:
        return 100.0 * sum(map(test, of)) / len(of)

    def near(sds: float) -> Callable[[Settlement], bool]:
        return lambda s: abs(s.logged.potential_mV - s.end_mV) <= s.logged.remainder_bound_mV + sds * s.logged.sd_mV

    sufficed = [s for s in found if s.would_have_sufficed]
    waits = sorted(s.logged.waited_s for s in found)
    return Summary(
        held=share(lambda s: s.remainder_mV <= s.logged.remainder_bound_mV, found),
        potential_within_2_sd=share(near(2.0), found),
        potential_within_3_sd=share(near(3.0), found),
        sufficed=len(sufficed),
        too_late=share(lambda s: s.too_late, sufficed),
        median_bound=statistics.median(s.logged.remainder_bound_mV / s.noise_mV for s in found),
        median_ratio=statistics.median(s.logged.waited_s / s.ideal_s for s in found),
        median_wait_s=statistics.median(waits),
        p95_wait_s=waits[int(0.95 * len(waits))],
        median_sd=statistics.median(s.logged.sd_mV / s.noise_mV for s in found),
    )


# ------------------------------------------------------------------------------------------ additions in a cell
@dataclass(frozen=True)
class Cell:
    """A redox titration's cell: mixing and electrode in series, the electrode's response slower where the curve is
    steep. What the detector is told beside what is true."""

    name: str
    mixing_s: float = 1.5
    stated_mixing_s: float = 1.5
    stated_response_s: float = 5.0
    noise_mV: float = 0.25
    drift_mV_per_min: float = 0.05


CELLS = (
    Cell("as stated"),
    Cell("mixing really 3 s", mixing_s=3.0),
    Cell("mixing stated 3 s", stated_mixing_s=3.0),
    Cell("response stated 3 s", stated_response_s=3.0),
    Cell("drift 0.5 mV/min", drift_mV_per_min=0.5),
    Cell("noise 0.05 mV", noise_mV=0.05),
)


@dataclass(frozen=True)
class Addition:
    """One addition: response at its end (s), true remainder (mV), distance of the logged potential from the end (mV)."""

    response_s: float
    remainder_mV: float
    away_mV: float
    logged: Settled


def add_titrant(cell: Cell, rng: random.Random) -> Addition:
    """One addition somewhere on the curve V = Ve (1 + exp((E − E2)/s)) / (1 + exp(−(E − E1)/s)): far from, near before or
    near after the equivalence point; sized for 25 mV within 0.02 to 0.8 mL, delivered at 10 mL/min."""
    slope = 25.26  # mV, RT/F at 20 °C
    at, low, high = rng.uniform(12.0, 22.0), 470.0 + rng.uniform(-30.0, 30.0), 1230.0 + rng.uniform(-30.0, 30.0)

    def volume(potential: float) -> float:
        return at * (1.0 + math.exp((potential - high) / slope)) / (1.0 + math.exp(-(potential - low) / slope))

    def potential(v: float) -> float:
        bottom, top = -200.0, 2200.0
        for _ in range(45):
            middle = 0.5 * (bottom + top)
            bottom, top = (middle, top) if volume(middle) < v else (bottom, middle)
        return 0.5 * (bottom + top)

    near = log_uniform(rng, 2.0e-4, 0.05)
    start = at * rng.choice((rng.uniform(0.02, 0.95), 1.0 - near, 1.0 + near))
    size = min(max(volume(min(potential(start) + 25.0, high + 200.0)) - start, 0.02), 0.8)
    points = [potential(start + size * k / 200.0) for k in range(201)]
    delivered_s = size / (10.0 / 60.0)
    detector = SettlingDetector(
        SettlingSettings(
            noise_mV=cell.noise_mV,
            resolution_mV=0.1,
            response_s=cell.stated_response_s,
            mixing_s=cell.stated_mixing_s,
        )
    )
    step_s, ticks, mixed, lagged, response_s = 0.02, 0, 0.0, points[0], 2.5
    logged = None
    begun = False
    while logged is None:
        ticks += 1
        t = step_s * ticks
        mixed += (min(t / delivered_s, 1.0) - mixed) * step_s / cell.mixing_s
        place = min(int(mixed * 200.0), 199)
        rise = points[place + 1] - points[place]
        steepness = at * rise * 200.0 / size / slope
        response_s = 2.5 + 9.5 * steepness / (steepness + 100.0)
        lagged += (points[place] + (200.0 * mixed - place) * rise - lagged) * step_s / response_s
        if t < delivered_s:
            continue
        if not begun:
            detector.begin(t)
            begun = True
        if ticks % 5 == 0:
            drift = cell.drift_mV_per_min * t / 60.0
            logged = detector.add(t, round((lagged + drift + rng.gauss(0.0, cell.noise_mV)) / 0.1) * 0.1)
    away = logged.potential_mV - points[-1] - cell.drift_mV_per_min * step_s * ticks / 60.0
    return Addition(response_s, abs(lagged - points[-1]), abs(away), logged)


# ------------------------------------------------------------------------------------------ cost
class Baseline:
    """Eight float updates in a method call: what reading after reading costs at the least in this language."""

    def __init__(self) -> None:
        self.a = self.b = self.c = self.d = self.e = self.f = self.g = self.h = 0.0

    def add(self, t_s: float, y: float) -> None:
        """Update eight attributes."""
        d = y - self.a
        self.a = y
        self.b = t_s
        self.c += t_s
        self.d += y
        self.e += d * d
        self.f += d * self.g
        self.g = d
        self.h += 1.0


def cost(found: list[Settlement]) -> tuple[float, float]:
    """Microseconds a reading of the detector and of the baseline, best of three, over whole settlements."""
    totals = [0.0, 0.0]
    count = 0
    for s in found:
        count += len(s.readings)
        for which in (0, 1):
            best = math.inf
            for _ in range(3):
                detector = SettlingDetector(s.settings)
                detector.begin(0.0)
                add: Callable[[float, float], object] = (detector, Baseline())[which].add
                began = time.perf_counter()
                for t, y in s.readings:
                    add(t, y)
                best = min(best, time.perf_counter() - began)
            totals[which] += best
    return 1.0e6 * totals[0] / count, 1.0e6 * totals[1] / count


# ------------------------------------------------------------------------------------------ the table
def table_of_kinds() -> tuple[list[str], dict[str, list[Settlement]]]:
    """Markdown rows, and the settlements for the cost."""
    rows = [
        (
            "| class | remainder within bound, % | potential within bound + 2 sd, % | + 3 sd, % | 60 s would have sufficed |"
            " of these not settled by 60 s, % | median bound / noise | median wait / ideal | median wait, s | 95 % of waits,"
            " s | median sd of potential / noise |"
        ),
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    kept = {}
    for kind in KINDS:
        found = [settle(kind, random.Random(f"settlement {kind.name} {k}")) for k in range(SETTLEMENTS)]
        s = summarise(found)
        rows.append(
            f"| {kind.name} | {s.held:.2f} | {s.potential_within_2_sd:.2f} | {s.potential_within_3_sd:.2f} |"
            f" {s.sufficed} | {s.too_late:.2f} | {s.median_bound:.2f} | {s.median_ratio:.2f} |"
            f" {s.median_wait_s:.1f} | {s.p95_wait_s:.1f} | {s.median_sd:.2f} |"
        )
        kept[kind.name] = found[:200]
    return rows, kept


def table_of_cells() -> list[str]:
    """Markdown rows."""
    rows = [
        (
            "| cell | response at the end, s | additions | remainder within bound, % | potential within bound + 3 sd, % |"
            " settled, % | median wait, s | 95 % of waits, s | median remainder / noise | median bound / noise |"
        ),
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    for cell in CELLS:
        found = [add_titrant(cell, random.Random(f"addition {k}")) for k in range(ADDITIONS)]
        for low, high in ((0.0, 3.0), (3.0, 6.0), (6.0, 13.0)):
            some = [a for a in found if low <= a.response_s < high]
            waits = sorted(a.logged.waited_s for a in some)
            held = sum(a.remainder_mV <= a.logged.remainder_bound_mV for a in some)
            near = sum(a.away_mV <= a.logged.remainder_bound_mV + 3.0 * a.logged.sd_mV for a in some)
            settled = sum(a.logged.settled for a in some)
            rows.append(
                f"| {cell.name} | {max(low, 2.5):g} to {min(high, 12.0):g} | {len(some)} |"
                f" {100.0 * held / len(some):.1f} | {100.0 * near / len(some):.1f} |"
                f" {100.0 * settled / len(some):.1f} | {statistics.median(waits):.1f} |"
                f" {waits[int(0.95 * len(waits))]:.1f} |"
                f" {statistics.median(a.remainder_mV / cell.noise_mV for a in some):.2f} |"
                f" {statistics.median(a.logged.remainder_bound_mV / cell.noise_mV for a in some):.2f} |"
            )
    return rows


def main() -> None:
    """Run everything and write the table beside this file."""
    kinds, kept = table_of_kinds()
    cells = table_of_cells()
    costs = []
    for name in ("white", "quantised", "AR(1)"):
        ours, base = cost(kept[name])
        costs.append(f"| {name} | {ours:.2f} | {base:.2f} | {ours / base:.1f} |")
    text = "\n".join(
        [
            "# Settling: simulated settlements",
            "",
            (
                "Remade by `python benchmarks/settling.py`. Simulated throughout; seeds and the tuning streams stand in"
                " that file."
            ),
            "",
            (
                f"First-order tails, {SETTLEMENTS} a class: response log-uniform 1 to 20 s (the last class: uniform),"
                " amplitude log-uniform 1 to 100 mV of either sign, 10 readings a second, noise sd log-uniform 0.05 to 1"
                " mV; noise and response are told to the detector times a factor log-uniform in 1/2 to 2, each its own;"
                " quantised: steps of 0.1 mV (coarsely: 0.5 mV), noise of one reading then with step/√12; AR(1):"
                f" correlation time uniform 0.1 to 2 s, told to nobody. Longest wait {LONGEST_S:g} s, least 3 s."
            ),
            "",
            (
                "Ideal: the later of 3 s and the moment from which the true remainder stays below the noise of one reading."
                ' "60 s would have sufficed": that moment is no later than 60 s; counted against the detector if it has not'
                " logged a settled reading by 60 s. The bound is meant for 99 %."
            ),
            "",
            *kinds,
            "",
            "## Additions in a cell",
            "",
            (
                f"{ADDITIONS} additions at random places of a redox curve: mixing and electrode in series, response rising"
                " from 2.5 to 12 s with the curve's steepness (so that it changes while the potential moves), noise white,"
                " steps of 0.1 mV, slow drift; the detector is told one response for all (5 s) and the mixing time (1.5 s)."
            ),
            "",
            *cells,
            "",
            "## Cost",
            "",
            (
                "Per reading over whole settlements, best of three; differs from machine to machine and with its load. The"
                " baseline is a method call with eight float updates."
            ),
            "",
            "| class | detector, µs | baseline, µs | ratio |",
            "|---|---|---|---|",
            *costs,
            "",
        ]
    )
    Path(__file__).with_suffix(".md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
