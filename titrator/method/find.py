"""Section `find`: what is sought on the curve."""

from typing import Literal

from pydantic import Field

from titrator.files import StrictModel
from titrator.files.quantities import Count


class Find(StrictModel):
    """What the evaluation is to find."""

    equivalence_points: Count = Field(
        description="How many equivalence points are sought; 0 for a blank, and for nothing else."
    )
    by: Literal["jump", "extrapolation"] = Field(
        "jump",
        description="`extrapolation`: the result is taken from the straight lines' meeting (a Gran line), not from a "
        "jump, and is marked as coming from an estimate. Without this key, or with `jump`, it is taken from the jump.",
    )
