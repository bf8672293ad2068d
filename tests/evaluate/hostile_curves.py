"""Curves on which no equivalence point can be seen, and true ones beside them: a printed seed gives each again.

The hostile ones are made by hand, one function a kind; what is random in them comes from `random.Random`'s stream of
kind and number. None of them is a titration through its equivalence point.
"""

from collections.abc import Callable, Iterator
from random import Random

import numpy as np
from titration_curves import redox_mV, strong_acid_ph, weak_acid_ph

from titrator.evaluate.curve import Curve

Shape = Callable[[Random, np.ndarray], np.ndarray]


def _normal(random: Random, count: int, sd: float) -> np.ndarray:
    return np.array([random.gauss(0.0, sd) for _ in range(count)])


def _flat(random: Random, volume: np.ndarray) -> np.ndarray:
    return np.full(len(volume), random.uniform(-300.0, 900.0)) + _normal(
        random, len(volume), 10 ** random.uniform(-2, 1)
    )


def _noise_only(random: Random, volume: np.ndarray) -> np.ndarray:
    return _normal(random, len(volume), 10 ** random.uniform(1, 2.7))


def _uniform(random: Random, volume: np.ndarray) -> np.ndarray:
    return np.array([random.uniform(-500.0, 1500.0) for _ in volume])


def _heavy_tails(random: Random, volume: np.ndarray) -> np.ndarray:
    return 400.0 + np.array([random.gauss(0.0, 2.0) / max(0.05, abs(random.gauss(0.0, 1.0))) for _ in volume])


def _random_walk(random: Random, volume: np.ndarray) -> np.ndarray:
    return 400.0 + np.cumsum(_normal(random, len(volume), 10 ** random.uniform(-0.5, 1.5)))


def _slow_noise(random: Random, volume: np.ndarray) -> np.ndarray:
    """Noise that is correlated from one reading to the next (first order, 0.5 to 0.95)."""
    level, keep, out = 0.0, random.uniform(0.5, 0.95), []
    for _ in volume:
        level = keep * level + random.gauss(0.0, 15.0)
        out.append(level)
    return np.array(out) + 300.0


def _random_rises(random: Random, volume: np.ndarray) -> np.ndarray:
    return np.cumsum([random.expovariate(1.0 / 12.0) for _ in volume])


def _sinusoid(random: Random, volume: np.ndarray) -> np.ndarray:
    turns, phase = random.uniform(1.2, 6.0), random.uniform(0.0, 6.28)
    wave = np.sin(6.283 * turns * volume / volume[-1] + phase) * 10 ** random.uniform(1.3, 2.5)
    return 400.0 + wave + _normal(random, len(volume), 0.3)


def _chirp(random: Random, volume: np.ndarray) -> np.ndarray:
    turns = random.uniform(1.5, 4.0)
    return 400.0 + 100.0 * np.sin(6.283 * turns * (volume / volume[-1]) ** 2) + _normal(random, len(volume), 0.3)


def _sawtooth(random: Random, volume: np.ndarray) -> np.ndarray:
    teeth = random.uniform(1.5, 6.0)
    sign = random.choice([-1.0, 1.0])
    return 400.0 + sign * 150.0 * ((teeth * volume / volume[-1]) % 1.0) + _normal(random, len(volume), 0.3)


def _square_wave(random: Random, volume: np.ndarray) -> np.ndarray:
    return (
        400.0
        + 200.0 * ((random.uniform(1.3, 5.0) * volume / volume[-1]) % 1.0 > 0.5)
        + _normal(random, len(volume), 0.3)
    )


def _ramp(random: Random, volume: np.ndarray) -> np.ndarray:
    return 100.0 + random.uniform(-60.0, 60.0) * volume + _normal(random, len(volume), random.choice([0.0, 0.1, 2.0]))


def _bent_ramp(random: Random, volume: np.ndarray) -> np.ndarray:
    bend = random.uniform(0.2, 0.8) * volume[-1]
    steep, flat = random.uniform(10.0, 60.0), random.uniform(0.0, 5.0)
    slopes = (steep, flat) if random.random() < 0.5 else (flat, steep)
    signal = np.where(volume < bend, slopes[0] * volume, slopes[0] * bend + slopes[1] * (volume - bend))
    return signal + _normal(random, len(volume), 0.3)


def _power(random: Random, volume: np.ndarray) -> np.ndarray:
    share = volume / volume[-1]
    return 300.0 * share ** random.choice([0.3, 0.5, 2.0, 3.0, 6.0]) + _normal(random, len(volume), 0.3)


def _decay(random: Random, volume: np.ndarray) -> np.ndarray:
    sign = random.choice([-1.0, 1.0])
    shape = np.exp(-volume / (random.uniform(0.03, 0.5) * volume[-1]))
    return 400.0 + sign * 300.0 * shape + _normal(random, len(volume), 0.3)


def _blank(random: Random, volume: np.ndarray) -> np.ndarray:
    return 1200.0 + 25.3 * np.log(volume + 0.01) + _normal(random, len(volume), 0.2)


def _spikes(random: Random, volume: np.ndarray) -> np.ndarray:
    signal = 400.0 + 2.0 * volume + _normal(random, len(volume), 0.2)
    for _ in range(random.randint(1, 4)):
        at, wide = random.randrange(len(volume)), random.randint(1, 4)
        signal[at : at + wide] += random.choice([-1.0, 1.0]) * random.uniform(50.0, 800.0)
    return signal


def _bump(random: Random, volume: np.ndarray) -> np.ndarray:
    middle, width = random.uniform(0.2, 0.8) * volume[-1], random.uniform(0.05, 0.2) * volume[-1]
    sign = random.choice([-1.0, 1.0])
    return 400.0 + sign * 250.0 * np.exp(-(((volume - middle) / width) ** 2)) + _normal(random, len(volume), 0.3)


def _step(random: Random, volume: np.ndarray) -> np.ndarray:
    """A loose contact: two flat levels."""
    at = random.randrange(3, len(volume) - 3)
    height = random.choice([-1.0, 1.0]) * random.uniform(40.0, 700.0)
    return (
        400.0
        + np.where(np.arange(len(volume)) < at, 0.0, height)
        + _normal(random, len(volume), random.choice([0.05, 0.5, 2.0]))
    )


def _stairs(random: Random, volume: np.ndarray) -> np.ndarray:
    """A converter that shows only coarse steps of a drift, or an electrode that sticks."""
    height = random.uniform(30.0, 120.0)
    return height * np.floor(random.uniform(3.0, 8.0) * volume / volume[-1]) + _normal(random, len(volume), 0.2)


def _rail(random: Random, volume: np.ndarray) -> np.ndarray:
    at = random.randrange(3, len(volume) - 3)
    return np.where(np.arange(len(volume)) < at, 400.0 + 0.5 * volume + _normal(random, len(volume), 0.3), 2000.0)


def _outliers(random: Random, volume: np.ndarray) -> np.ndarray:
    signal = 400.0 + _normal(random, len(volume), 1.0)
    for k in range(len(volume)):
        if random.random() < 0.25:
            signal[k] = random.uniform(-1000.0, 2000.0)
    return signal


def _cut_before(random: Random, volume: np.ndarray) -> np.ndarray:
    equivalence = volume[-1] * random.uniform(1.001, 1.4)
    return np.array([redox_mV(v, equivalence_mL=equivalence) for v in volume]) + _normal(random, len(volume), 0.2)


def _only_behind(random: Random, volume: np.ndarray) -> np.ndarray:
    equivalence = volume[0] * random.uniform(0.3, 0.98)
    return np.array([redox_mV(v, equivalence_mL=equivalence) for v in volume]) + _normal(random, len(volume), 0.2)


HOSTILE: dict[str, Shape] = {
    name.removeprefix("_"): shape
    for name, shape in (
        ("flat", _flat), ("noise only", _noise_only), ("uniform", _uniform), ("heavy tails", _heavy_tails),
        ("random walk", _random_walk), ("slow noise", _slow_noise), ("random rises", _random_rises),
        ("sinusoid", _sinusoid), ("chirp", _chirp), ("sawtooth", _sawtooth), ("square wave", _square_wave),
        ("ramp", _ramp), ("bent ramp", _bent_ramp), ("power", _power), ("decay", _decay), ("blank", _blank),
        ("spikes", _spikes), ("bump", _bump), ("step", _step), ("stairs", _stairs), ("rail", _rail),
        ("outliers", _outliers), ("cut before", _cut_before), ("only behind", _only_behind),
    )
}  # fmt: skip


def volumes(random: Random, count: int) -> np.ndarray:
    """Return rising volumes in mL: equally spaced, or at random as additions of varying size."""
    if random.random() < 0.5:
        return np.linspace(0.25, random.uniform(5.0, 25.0), count)
    return 0.1 + np.cumsum([random.uniform(0.02, 1.0) for _ in range(count)])


def hostile(each_kind: int, draw: str = "hostile") -> Iterator[tuple[str, Curve]]:
    """Yield name and curve, `each_kind` of every kind; a quarter of them shrunk to the size of pH.

    The limits of evaluate/doubt.py were chosen on the draw "hostile"; tests take another.
    """
    for kind, shape in HOSTILE.items():
        for number in range(each_kind):
            random = Random(f"{draw}/{kind}/{number}")
            volume = volumes(random, random.choice([10, 15, 25, 40, 80]))
            signal = shape(random, volume)
            if number % 4 == 3:
                yield f"{kind}/{number}", Curve(volume, signal / 59.16, "pH")
            else:
                yield f"{kind}/{number}", Curve(volume, signal, "mV")


def true_ones(each_kind: int, draw: str = "true") -> Iterator[tuple[str, Curve, float]]:
    """Yield name, curve and equivalence volume in mL of titrations with noise of 0.1 to 3 mV (or its worth in pH)."""
    for number in range(each_kind):
        random = Random(f"{draw}/{number}")
        equivalence, sd = random.uniform(4.0, 16.0), 10 ** random.uniform(-1.0, 0.5)
        spacing = random.choice([0.1, 0.25, 0.5])
        volume = np.arange(spacing, equivalence * random.uniform(1.2, 1.6), spacing)
        gap = random.uniform(250.0, 800.0)
        noise = _normal(random, len(volume), sd)
        redox = np.array([redox_mV(v, equivalence_mL=equivalence, titrant_mV=470.0 + gap) for v in volume])
        yield f"redox/{number}", Curve(volume, redox + noise, "mV"), equivalence
        yield f"falling/{number}", Curve(volume, 500.0 - redox + noise, "mV"), equivalence
        strong = np.array([strong_acid_ph(v, equivalence_mL=equivalence) for v in volume])
        yield f"strong/{number}", Curve(volume, strong + noise / 59.16, "pH"), equivalence
        weak = np.array([weak_acid_ph(v, equivalence_mL=equivalence) for v in volume])
        yield f"weak/{number}", Curve(volume, weak + noise / 59.16, "pH"), equivalence
