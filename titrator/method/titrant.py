"""Section `titrant`: the solution in the burette."""

from pydantic import Field

from titrator.files import StrictModel, UncertainConcentration
from titrator.method.solution import SolutionTemperature_C


class Titrant(StrictModel):
    """The titrant as its standardisation states it."""

    concentration: UncertainConcentration = Field(
        description="Concentration of the titrant from its standardisation, with its standard uncertainty."
    )
    temperature_C: SolutionTemperature_C = Field(
        alias="temperature", description="Temperature of the titrant in the burette, between 0 and 100 °C."
    )
