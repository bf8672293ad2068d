"""Section `find`: what is sought on the curve."""

from pydantic import Field

from titrator.files import StrictModel
from titrator.files.quantities import Count


class Find(StrictModel):
    """What the evaluation is to find."""

    equivalence_points: Count = Field(
        description="How many equivalence points are sought; 0 for a blank, and for nothing else."
    )
