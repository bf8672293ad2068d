"""A simulated cell whose curve is a table that another code made: for shapes that the evaluation does not model."""

import json
import math
from bisect import bisect_right
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from scipy.interpolate import PchipInterpolator

from sim.contents import Contents
from sim.recorded import DeliveredChemistry
from sim.unframed import UnframedBoard
from titrator.chemistry.constants import nernst_slope_per_decade_mV

CURVES = Path(__file__).with_name("phreeqc_curves.json")
FINE = 12
"""Places between two of the table's, by monotone cubics; between these it is straight."""
AT_NEUTRAL = {"acid": (7.0, 0.0), "silver": (0.0, 592.0)}
"""Where the electrode's scale lies: (pH or pAg, mV against the reference). 592: 0.80 V less silver chloride's 0.21 V."""


@cache
def curves(shape: str) -> dict[float, tuple[list[float], list[float]]]:
    """By equivalence volume in mL: volumes of titrant of the table's strength, pH or pAg."""
    table = json.loads(CURVES.read_text(encoding="utf-8"))[shape]
    return {float(volume): _finer(rows) for volume, rows in table.items()}


def _finer(rows: Sequence[Sequence[float]]) -> tuple[list[float], list[float]]:
    volume, p = np.array(rows).T
    between = np.arange(FINE) / FINE
    places = np.append((volume[:-1, None] + between * np.diff(volume)[:, None]).ravel(), volume[-1])
    return places.tolist(), PchipInterpolator(volume, p)(places).tolist()


class TabledChemistry(DeliveredChemistry):
    """The protocol `sim.contents.Chemistry` for a curve by table; `strength` is the titrant's over the table's."""

    def __init__(self, shape: str, equivalence_mL: float, strength: float, slope_mV: float, offset_mV: float) -> None:
        super().__init__()
        self._volumes_mL, self._p = curves(shape)[equivalence_mL]
        self._strength, self._slope_mV = strength, slope_mV
        neutral, at_mV = AT_NEUTRAL[shape]
        self._zero_mV = at_mV + offset_mV + slope_mV * neutral
        self._equivalence_mL = equivalence_mL

    @property
    def scale_mol(self) -> float:
        """Mol of titrant of 0.1 mol/L that the point takes."""
        return 1e-4 * self._equivalence_mL

    @property
    def scale_mL(self) -> float:
        """The same as a volume of titrant as delivered, in mL."""
        return self._equivalence_mL / self._strength

    def rest(self, contents: Contents) -> tuple[float, float]:
        """(potential in mV, poise 1/G)."""
        del contents
        volumes, p = self._volumes_mL, self._p
        at = min(max(self._delivered_mL * self._strength, volumes[0]), volumes[-1])
        right = min(max(bisect_right(volumes, at), 1), len(volumes) - 1)
        slope = (p[right] - p[right - 1]) / (volumes[right] - volumes[right - 1])
        shown_mV = self._zero_mV - self._slope_mV * (p[right - 1] + slope * (at - volumes[right - 1]))
        steepness = self._equivalence_mL * abs(slope) * math.log(10.0)
        return shown_mV, 1.0 / max(steepness, 1e-9)


def put_in(shape: str, seed: int, board: UnframedBoard) -> dict[str, Any]:
    """Put a curve of the table in the place of the cell's own; its truth, as `UnframedBoard.truth` names it.

    The curve is chosen by the seed; titrant, aliquot, dilution, slope and offset are those that the world drew.
    """
    truth = board.truth()
    drawn = truth["drawn"]
    volumes = list(curves(shape))
    equivalence_mL = volumes[seed % len(volumes)]
    strength = drawn["titrant_mol_per_L"] / 0.1
    slope_mV = drawn["slope_share"] * nernst_slope_per_decade_mV(20.0)
    board.put_in(TabledChemistry(shape, equivalence_mL, strength, slope_mV, drawn["offset_mV"]))
    delivered_mL = equivalence_mL / strength
    name = truth["results"][0]["name"]
    found = 0.1 * equivalence_mL / drawn["aliquot_mL"] * drawn["dilution"]
    return {
        "equivalence_points_delivered_mL": [delivered_mL],
        "equivalence_points_mL": [delivered_mL / (1.0 + drawn["burette_calibration"])],
        "results": [{"name": name, "value": found, "unit": "mol/L"}],
    }
