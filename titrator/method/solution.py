"""The range of temperature in which an aqueous solution can be titrated."""

from typing import Annotated

from titrator.files.quantities import TEMPERATURE, Quantity

SolutionTemperature_C = Annotated[float, Quantity(TEMPERATURE, above=0, below=100)]
"""A temperature in °C at which water is liquid."""
