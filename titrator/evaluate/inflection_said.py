"""How far inflection and equivalence point lie apart on the curve at hand, where they do, and the sentence of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from titrator.evaluate.choice import Stretch
from titrator.evaluate.competing import Fitted
from titrator.evaluate.curve import SignalUnit
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.inflection import Inflection, inflection_of


@dataclass(frozen=True, slots=True)
class PointInflection:
    """The inflection beside one equivalence point (from 1), as the fitted model gives it."""

    point: int
    inflection: Inflection
    signal_unit: SignalUnit

    @property
    def sentence(self) -> str:
        """Say both differences, and that the point reported is the equivalence point."""
        each, unit = self.inflection, self.signal_unit
        digits = 0 if unit == "mV" else 2
        return (
            f"the stoichiometry is unequal: the curve is steepest at {each.inflection_signal:.{digits}f} {unit}, "
            f"{each.signal_difference:+.{digits}f} {unit} from the equivalence point, and in volume "
            f"{1000.0 * each.volume_difference_mL:+.2g} \N{MICRO SIGN}L from it; reported is the equivalence point"
        )

    def to_json(self) -> dict[str, Any]:
        """Return it as JSON: volumes in mL, signals in `signal_unit`."""
        each = self.inflection
        return {
            "point": self.point,
            "signal_unit": self.signal_unit,
            "equivalence_volume_mL": each.equivalence_volume_mL,
            "equivalence_signal": each.equivalence_signal,
            "inflection_volume_mL": each.inflection_volume_mL,
            "inflection_signal": each.inflection_signal,
            "volume_difference_mL": each.volume_difference_mL,
            "signal_difference": each.signal_difference,
            "sentence": self.sentence,
        }


def unequal(expectation: Expectation) -> bool:
    """Return whether the reaction's two couples exchange different numbers of electrons."""
    return expectation.model == "redox" and expectation.analyte_electrons != expectation.titrant_electrons


def inflection_beside(stretch: Stretch, fitted: Fitted, expectation: Expectation) -> PointInflection | None:
    """Return the inflection of a point placed by the fit of an unequal reaction; None where there is nothing to say."""
    if fitted.fit is None or not unequal(expectation):
        return None
    data, jump, found = stretch.data, stretch.jump, fitted.fit
    ends = (float(data.signal[jump.before]), float(data.signal[jump.behind]))
    with np.errstate(all="ignore"):
        try:
            each = inflection_of(found.model, found.x, ends, volume_mL=found.equivalence_volume_mL, sign=stretch.sign)
        except ValueError:
            return None
    if each is None or not all(np.isfinite([each.volume_difference_mL, each.signal_difference])):
        return None
    return PointInflection(stretch.number, each, stretch.unit)
