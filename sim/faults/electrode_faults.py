"""Faults of the electrode and of the way from it to the amplifier."""

from typing import Final

from sim.faults.fault import Fault, Size, drift_mV_per_s, percent, potential_mV
from sim.faults.parts import Parts
from sim.noise import white
from sim.oxide import OxideLaw
from titrator.files.quantities import POTENTIAL, RESISTANCE, Quantity


def _coated(parts: Parts, size_percent: float) -> None:
    parts.cell.electrode.coated = size_percent / 100.0


def _cracked(parts: Parts, size_percent: float) -> None:
    parts.cell.electrode.cracked = size_percent / 100.0


def _oxide(parts: Parts, size_mV: float) -> None:
    electrode = parts.cell.electrode
    electrode.oxide = electrode.oxide or OxideLaw()
    electrode.oxide_mV = size_mV


def _reference_shift(parts: Parts, size_mV: float) -> None:
    parts.cell.electrode.offset_mV += size_mV


def _disconnected(parts: Parts, _size: float) -> None:
    parts.cell.electrode.disconnect(parts.now_s)


def _input_leak(parts: Parts, size_MOhm: float) -> None:
    parts.cell.electrode.amplifier.input_MOhm = size_MOhm


def _hum(parts: Parts, size_mV: float) -> None:
    parts.cell.electrode.amplifier.hum_mV = size_mV


def _noise(parts: Parts, size_mV: float) -> None:
    parts.added.append(white(size_mV, parts.random()))


def _drift(parts: Parts, size_mV_per_s: float) -> None:
    began_s = parts.now_s
    parts.added.append(lambda t_s: size_mV_per_s * (t_s - began_s))


ELECTRODE_FAULTS: Final = (
    Fault(
        "electrode-coated", "electrode", percent(80.0),
        "A film covers so much of the electrode: it answers more slowly, and so much of each step twenty times so.",
        _coated,
    ),
    Fault(
        "electrode-cracked", "electrode", percent(80.0),
        "A leak past the membrane or the seal: so much of the potential is lost.", _cracked,
    ),
    Fault(
        "electrode-oxide", "electrode", Size(Quantity(POTENTIAL, at_least=0), 30.0, 190.0),
        "Oxide covers platinum: it reads so much too high below some 700 mV, and slowly; the cover goes there, and "
        "comes again above.",
        _oxide,
    ),
    Fault(
        "reference-shift", "electrode", potential_mV(20.0, 1000.0),
        "The potential of the reference jumps; every reading is so much higher.", _reference_shift,
    ),
    Fault(
        "electrode-disconnected", "electrode", None,
        "The plug is off: the amplifier's input climbs to its rail, humming.", _disconnected,
    ),
    Fault(
        "input-leak", "electrode", Size(Quantity(RESISTANCE, above=0), 1000.0, 1e6),
        "Damp at the plug: the input has so little resistance. A glass electrode loses a part of its potential, a "
        "metal one nothing.",
        _input_leak,
    ),
    Fault("hum", "electrode", potential_mV(5.0, 1000.0, signed=False), "Mains hum of this amplitude.", _hum),
    Fault(
        "noise", "electrode", potential_mV(2.0, 1000.0, signed=False),
        "White noise of this standard deviation on top of the usual.", _noise,
    ),
    Fault("drift", "electrode", drift_mV_per_s(0.05, 10.0), "The reading drifts from then on.", _drift),
)  # fmt: skip
