"""A mass by difference on a balance, in g, with the balance's linearity taken twice: tare and gross (CG4, A2)."""

from __future__ import annotations

from titrator.evaluate.measurement import Model, model_of
from titrator.evaluate.quantity import Quantity

AIR_KG_PER_M3 = 1.2
WEIGHTS_KG_PER_M3 = 8000.0
"""Conventional densities of air and of weights (OIML R 111)."""


def buoyancy_factor(density_kg_per_m3: float, air_kg_per_m3: float = AIR_KG_PER_M3) -> float:
    """Return mass over balance reading, (1 - ρa/8000)/(1 - ρa/ρ); ValueError for a density not above that of air."""
    if not density_kg_per_m3 > air_kg_per_m3 >= 0.0:
        raise ValueError(f"a density above that of air ({air_kg_per_m3} kg/m3) expected, {density_kg_per_m3!r} came")
    return (1.0 - air_kg_per_m3 / WEIGHTS_KG_PER_M3) / (1.0 - air_kg_per_m3 / density_kg_per_m3)


def weighed_g(
    name: str,
    reading_g: float,
    linearity_g: float,
    *,
    repeatability_g: float = 0.0,
    factor: Quantity | None = None,
    buoyancy: float = 1.0,
) -> Model:
    """Return a mass as a model.

    `linearity_g`: half-width that the balance's certificate allows, rectangular, independent for tare and gross.
    `repeatability_g`: standard deviation of a weighing by difference. `factor`: calibration of the balance (value 1),
    the same source for all its weighings. `buoyancy`: see buoyancy_factor. ValueError for a mass not above 0.
    """
    if not reading_g > 0.0:
        raise ValueError(f"{name}: a mass above 0 g expected, {reading_g!r} came")
    mass = reading_g + model_of(Quantity.bounded(f"{name}, balance linearity (gross)", 0.0, linearity_g, "g"))
    mass = mass - Quantity.bounded(f"{name}, balance linearity (tare)", 0.0, linearity_g, "g")
    if repeatability_g > 0.0:
        mass = mass + Quantity(f"{name}, repeatability of weighing", 0.0, repeatability_g, "g")
    if factor is not None:
        mass = mass * factor
    return (mass * buoyancy).in_unit("g")
