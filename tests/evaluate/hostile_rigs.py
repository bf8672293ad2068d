"""What cables, plugs, bubbles, amplifiers and loggers make of a vessel without an equivalence point, by hand.

One function a kind, as in `hostile_curves`; what is random in them comes from the stream of kind and number.
"""

from collections.abc import Iterator
from random import Random

import numpy as np
from hostile_curves import Shape, volumes
from titration_curves import redox_mV

from titrator.evaluate.curve import Curve


def _noise(random: Random, count: int, sd: float) -> np.ndarray:
    return np.array([random.gauss(0.0, sd) for _ in range(count)])


def _branch(random: Random, volume: np.ndarray) -> np.ndarray:
    """The flat part of a titration that is far from its point, with the noise of a good electrode."""
    far = volume[-1] * random.uniform(2.0, 6.0)
    return np.array([redox_mV(v, equivalence_mL=far) for v in volume]) + _noise(random, len(volume), 0.2)


def _flat_with_steps(random: Random, volume: np.ndarray) -> np.ndarray:
    signal = random.uniform(-200.0, 600.0) + _noise(random, len(volume), random.choice([0.05, 0.3, 1.5]))
    for _ in range(random.randint(1, 4)):
        signal[random.randrange(2, len(volume) - 1) :] += random.choice([-1.0, 1.0]) * random.uniform(15.0, 150.0)
    return signal


def _loose_plug(random: Random, volume: np.ndarray) -> np.ndarray:
    """Two plateaus, and readings that belong to either while the plug works loose."""
    count, height = len(volume), random.choice([-1.0, 1.0]) * random.uniform(80.0, 700.0)
    at, wide = random.randrange(3, count - 3), random.randint(0, 5)
    share = np.where(np.arange(count) < at, 0.0, 1.0)
    for k in range(at, min(count, at + wide)):
        share[k] = random.random()
    return 300.0 + height * share + _noise(random, count, random.choice([0.05, 0.5, 2.0]))


def _plug_on_a_branch(random: Random, volume: np.ndarray) -> np.ndarray:
    step = np.where(np.arange(len(volume)) < random.randrange(3, len(volume) - 3), 0.0, random.uniform(60.0, 600.0))
    return _branch(random, volume) + random.choice([-1.0, 1.0]) * step


def _slow_plug(random: Random, volume: np.ndarray) -> np.ndarray:
    """A step that a filter lets through slowly: a sharp beginning and a tail."""
    at, tail = random.uniform(0.2, 0.7) * volume[-1], random.uniform(0.01, 0.15) * volume[-1]
    rise = np.where(volume > at, 1.0 - np.exp(-np.maximum(volume - at, 0.0) / tail), 0.0)
    height = random.choice([-1.0, 1.0]) * random.uniform(60.0, 600.0)
    return 350.0 + height * rise + _noise(random, len(volume), random.choice([0.1, 0.5]))


def _kinked_ramp(random: Random, volume: np.ndarray) -> np.ndarray:
    """A straight drift that is steeper over a stretch in its middle, or that is displaced there."""
    low, wide = random.uniform(0.2, 0.6) * volume[-1], random.uniform(0.1, 0.35) * volume[-1]
    slope = random.choice([-1.0, 1.0]) * random.uniform(1.0, 20.0)
    bend = np.clip((volume - low) / wide, 0.0, 1.0) * random.uniform(20.0, 120.0) * np.sign(slope)
    return 200.0 + slope * volume + bend + _noise(random, len(volume), 0.3)


def _mains_bursts(random: Random, volume: np.ndarray) -> np.ndarray:
    signal = _branch(random, volume)
    for _ in range(random.randint(1, 3)):
        at, wide = random.randrange(len(volume)), random.randint(2, max(3, len(volume) // 3))
        rows = np.arange(at, min(len(volume), at + wide))
        beat, size = random.uniform(0.3, 2.8), random.uniform(20.0, 300.0)
        signal[rows] += size * np.sin(beat * rows + random.uniform(0.0, 6.28))
    return signal


def _bubble(random: Random, volume: np.ndarray) -> np.ndarray:
    """A bubble at the membrane: off at once, back as it moves on."""
    at, tail = random.uniform(0.1, 0.8) * volume[-1], random.uniform(0.02, 0.3) * volume[-1]
    off = np.where(volume > at, np.exp(-np.maximum(volume - at, 0.0) / tail), 0.0)
    return _branch(random, volume) + random.choice([-1.0, 1.0]) * random.uniform(40.0, 500.0) * off


def _saturating(random: Random, volume: np.ndarray) -> np.ndarray:
    """A drift between the rails of an amplifier, or up to one of them."""
    drift = random.uniform(20.0, 200.0) * (volume - random.uniform(0.2, 0.8) * volume[-1])
    low, high = random.choice([(-250.0, 250.0), (-1e4, 150.0), (-150.0, 1e4)])
    if random.random() < 0.5:
        drift = high * np.tanh(drift / high) if high < 1e4 else drift
    return random.choice([-1.0, 1.0]) * np.clip(drift, low, high) + _noise(random, len(volume), 0.1)


def _sign_swap(random: Random, volume: np.ndarray) -> np.ndarray:
    signal = _branch(random, volume)
    at = random.randrange(3, len(volume) - 2)
    back = random.choice([len(volume), random.randrange(at + 1, len(volume) + 1)])
    signal[at:back] *= -1.0
    return signal


def _repeated(random: Random, volume: np.ndarray) -> np.ndarray:
    """A logger that shows its last value again and again."""
    signal, held = _branch(random, volume) * random.choice([1.0, 3.0]), random.randint(2, 12)
    return signal[(np.arange(len(volume)) // held) * held]


def _ageing(random: Random, volume: np.ndarray) -> np.ndarray:
    """An electrode that finds its potential late: a first-order rise from a delayed beginning, both ends flat."""
    middle, wide = random.uniform(0.3, 0.7) * volume[-1], random.uniform(0.05, 0.3) * volume[-1]
    rise = np.clip((volume - middle) / wide, -0.5, 0.5)
    return 300.0 + random.uniform(50.0, 500.0) * (rise + 0.5) + _noise(random, len(volume), 0.3)


def _two_lines(random: Random, volume: np.ndarray) -> np.ndarray:
    """Another electrode or channel from some reading on: a level and a drift of its own."""
    at = random.randrange(3, len(volume) - 3)
    behind = random.uniform(-400.0, 400.0) + random.uniform(-3.0, 3.0) * volume
    signal = np.where(np.arange(len(volume)) < at, random.uniform(-3.0, 3.0) * volume, behind)
    return signal + _noise(random, len(volume), random.choice([0.1, 1.0]))


RIGS: dict[str, Shape] = {
    "flat with steps": _flat_with_steps,
    "loose plug": _loose_plug,
    "plug on a branch": _plug_on_a_branch,
    "slow plug": _slow_plug,
    "kinked ramp": _kinked_ramp,
    "mains bursts": _mains_bursts,
    "bubble": _bubble,
    "saturating": _saturating,
    "sign swap": _sign_swap,
    "repeated": _repeated,
    "ageing": _ageing,
    "two lines": _two_lines,
}


def hostile_rigs(each_kind: int, draw: str = "rigs") -> Iterator[tuple[str, Curve]]:
    """Yield name and curve, `each_kind` of every kind; every fourth shrunk to the size of pH."""
    for kind, shape in RIGS.items():
        for number in range(each_kind):
            random = Random(f"{draw}/{kind}/{number}")
            volume = volumes(random, random.choice([10, 15, 25, 40, 80]))
            signal = shape(random, volume)
            ph = number % 4 == 3
            yield f"{kind}/{number}", Curve(volume, signal / 59.16 if ph else signal, "pH" if ph else "mV")
