"""Faults of the burette: what is counted and what comes into the vessel part ways."""

from typing import Final

from sim.faults.fault import VOLUME_RATE, Fault, Size, percent, steps, volume_mL
from sim.faults.parts import Parts
from titrator.files.quantities import Quantity


def _bubble(parts: Parts, size_mL: float) -> None:
    parts.burette.bubble(parts.now_us, size_mL)


def _lost_steps(parts: Parts, count: float) -> None:
    parts.burette.slip_next(round(count), parts.now_us)


def _stall(parts: Parts, _size: float) -> None:
    parts.burette.stall(parts.now_us)


def _drop_hangs(parts: Parts, drop_mL: float) -> None:
    parts.burette.hang_drops(parts.now_us, drop_mL)


def _tip_blocked(parts: Parts, _size: float) -> None:
    parts.burette.block_tip(parts.now_us)


def _calibration_shift(parts: Parts, size_percent: float) -> None:
    parts.burette.shift_calibration(parts.now_us, size_percent / 100.0)


def _backlash(parts: Parts, play_mL: float) -> None:
    parts.burette.loosen(parts.now_us, round(play_mL / parts.burette.step_mL))


def _tip_diffusion(parts: Parts, mL_per_h: float) -> None:
    parts.burette.leak_by_diffusion(parts.now_us, mL_per_h / 3600.0)


BURETTE_FAULTS: Final = (
    Fault(
        "bubble", "burette", volume_mL(0.05, 1.0),
        "A gas bubble before the tip gives way to each push by up to a tenth of its size, gives that back slowly, and "
        "leaves 0.3 mL later in the place of liquid: its size is missing from then on.",
        _bubble,
    ),
    Fault(
        "lost-steps", "burette", steps(80, 1e6),
        "The motor counts so many steps that move nothing; after them all moves again.", _lost_steps,
    ),
    Fault("stall", "burette", None, "The motor counts on, and nothing moves any more.", _stall),
    Fault(
        "drop-hangs", "burette", volume_mL(0.04, 0.5),
        "The tip is above the liquid: titrant hangs on it until a drop of about this size falls.", _drop_hangs,
    ),
    Fault(
        "tip-blocked", "burette", None,
        "Nothing gets out of the tip any more; what is pushed is lost past the seal of the plunger.", _tip_blocked,
    ),
    Fault(
        "calibration-shift", "burette", percent(0.5, signed=True),
        "Every step delivers so much more (negative: less) from then on.", _calibration_shift,
    ),
    Fault(
        "backlash", "burette", volume_mL(0.01, 1.0),
        "The spindle gets so much more play: lost once at once, and again after every reversal.", _backlash,
    ),
    Fault(
        "tip-diffusion", "vessel", Size(Quantity(VOLUME_RATE, at_least=0), 0.06, 600.0),
        "At rest titrant leaves the immersed tip by diffusion, up to 0.02 mL ahead of what is pushed; the next push "
        "makes up for it.",
        _tip_diffusion,
    ),
)  # fmt: skip
