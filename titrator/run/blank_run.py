"""What a blank says: a volume of titrant where its curve shows a point, else less than the first addition."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from titrator.evaluate.blanks import blank_below, blank_below_sentence, blank_sentence
from titrator.evaluate.curve import Curve
from titrator.evaluate.equivalence import find_equivalence_points
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.measurement import model_of
from titrator.evaluate.propagation import coverage_factor
from titrator.evaluate.quantity import Quantity
from titrator.evaluate.results import volume_quantity
from titrator.method import Method
from titrator.run.chain import result_inputs

_SHARE: Final = 0.5
"""Share of all change that the first addition makes where it is more than the blank takes (common practice)."""


@dataclass(frozen=True, slots=True)
class Blank:
    """The blank as a source in mL; `below_mL` where it is only known to lie below the first addition.

    `concentration_below_mol_per_L`: what the sample would hold that took so much (None for a weighed sample).
    """

    volume: Quantity
    below_mL: float | None
    concentration_below_mol_per_L: float | None
    sentence: str

    def to_json(self) -> dict[str, Any]:
        """Return the blank as JSON; volume and u are null where it is only known to lie below the first addition."""
        measured = self.below_mL is None
        return {
            "volume_mL": self.volume.value if measured else None,
            "u_mL": self.volume.u if measured else None,
            "below_mL": self.below_mL,
            "concentration_below_mol_per_L": self.concentration_below_mol_per_L,
            "sentence": self.sentence,
        }


def blank_of_run(
    method: Method, curve: Curve, burette: Mapping[str, float] | None, expectation: Expectation
) -> tuple[Blank | None, list[str]]:
    """Return what the curve of a blank says, or None with a sentence why it says nothing."""
    points = find_equivalence_points(curve, replace(expectation, points_sought=1)).equivalence_points
    if points:
        volume = volume_quantity(points[0], "blank")
        sentence = blank_sentence(volume, coverage_factor(volume.dof))
        return Blank(volume, None, None, sentence), []
    ordered = curve.in_order()
    if len(ordered) < 2 or not ordered.volume_mL[1] > ordered.volume_mL[0]:
        return None, [
            "the blank says nothing: a reading before and one behind an addition expected, there are not both"
        ]
    first_mL = float(ordered.volume_mL[1] - ordered.volume_mL[0])
    if not _passed(ordered, expectation):
        told = (
            f"the blank says nothing: it shows no point, and the first addition ({first_mL:g} mL) did not bring the "
            "electrode to the titrant's side: it takes more titrant than was delivered, or the electrode is silent"
        )
        return None, [told]
    volume = blank_below(first_mL)
    bound = _bound_mol_per_L(method, burette, first_mL)
    sentence = blank_below_sentence(first_mL)
    if bound is not None:
        sentence += f"; as {method.result.name} in the sample less than {bound:.2g} mol/L"
    return Blank(volume, first_mL, bound, sentence), []


def _passed(ordered: Curve, expectation: Expectation) -> bool:
    """Whether the titrant is in excess behind the first addition."""
    signal = ordered.signal
    whole = float(np.max(signal) - np.min(signal))
    if whole <= 0.0 or abs(float(signal[1] - signal[0])) < _SHARE * whole:
        return False
    analyte_mV, titrant_mV = expectation.analyte_potential_mV, expectation.titrant_potential_mV
    if expectation.model != "redox" or ordered.signal_unit != "mV" or analyte_mV is None or titrant_mV is None:
        return True
    middle_mV = 0.5 * (analyte_mV + titrant_mV)
    return bool((float(signal[1]) > middle_mV) == (titrant_mV > analyte_mV))


def _bound_mol_per_L(method: Method, burette: Mapping[str, float] | None, first_mL: float) -> float | None:
    if method.sample.mass is not None:
        return None
    inputs = result_inputs(method, burette)[0]
    amount_mmol = inputs.analyte_per_titrant * model_of(inputs.titrant_mol_per_L).value * first_mL
    diluted = amount_mmol * model_of(inputs.warmth).value / model_of(inputs.aliquot_mL).value
    return diluted * model_of(inputs.dilution).value
