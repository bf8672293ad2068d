"""Section `additions`: how much titrant comes next. Three rules, told apart by the key `rule`."""

from collections.abc import Iterable
from typing import Annotated, Literal

from pydantic import Field

from titrator.files import Finding, StrictModel
from titrator.files.quantities import Plain, PositivePotential_mV, PositiveVolume_mL


class _Stepwise(StrictModel):
    """The keys of additions that aim at equal changes of potential."""

    rule: str
    aim_mV: PositivePotential_mV = Field(
        alias="aim", description="Change of potential that each addition aims at (rule adaptive)."
    )
    first_mL: PositiveVolume_mL | None = Field(
        None,
        alias="first",
        description="The first addition, made before anything is known of the curve (rule adaptive). Without this "
        "key it is `least`.",
    )
    least_mL: PositiveVolume_mL = Field(alias="least", description="No addition is smaller (rule adaptive).")
    most_mL: PositiveVolume_mL = Field(alias="most", description="No addition is larger (rule adaptive).")
    growth: Annotated[float, Plain(above=1)] = Field(
        description="An addition is at most so many times as large as the one before (rule adaptive)."
    )

    @property
    def smallest_mL(self) -> float:
        """Return the smallest addition of this rule in mL."""
        return self.least_mL

    @property
    def smallest_key(self) -> str:
        """Return the key that states it."""
        return "least"

    @property
    def begins_with_mL(self) -> float:
        """Return the first addition in mL."""
        return self.least_mL if self.first_mL is None else self.first_mL

    @property
    def begins_with_key(self) -> str:
        """Return the key that states it."""
        return "least" if self.first_mL is None else "first"

    @property
    def largest_mL(self) -> float:
        """Return the largest addition of this rule in mL."""
        return self.most_mL

    @property
    def largest_key(self) -> str:
        """Return the key that states it."""
        return "most"

    def findings(self) -> Iterable[Finding]:
        """Refuse bounds in the wrong order."""
        if self.least_mL > self.most_mL:
            text = f"expected at most the {self.most_mL:g} mL of the key most, got {self.least_mL:g} mL"
            yield Finding(("least",), text)
        elif self.first_mL is not None and not self.least_mL <= self.first_mL <= self.most_mL:
            yield Finding(
                ("first",),
                f"expected a first addition from {self.least_mL:g} mL (least) to {self.most_mL:g} mL (most), "
                f"got {self.first_mL:g} mL",
            )


class AdaptiveAdditions(_Stepwise):
    """Additions that aim at equal changes of potential: small where the curve is steep, larger elsewhere."""

    rule: Literal["adaptive"] = Field(
        description="`adaptive`: each addition aims at the same change of potential; `fixed`: each is as large as the "
        "others; `foreseeing`: one stretch to near the jump, then a few readings where they tell most."
    )


class FixedAdditions(StrictModel):
    """Additions of one size, as for a curve that is to be compared with a hand-made one."""

    rule: Literal["fixed"] = Field(description="See above.")
    step_mL: PositiveVolume_mL = Field(alias="step", description="Every addition is this large (rule fixed).")

    @property
    def smallest_mL(self) -> float:
        """Return the size of every addition in mL."""
        return self.step_mL

    @property
    def smallest_key(self) -> str:
        """Return the key that states it."""
        return "step"

    @property
    def begins_with_mL(self) -> float:
        """Return the first addition in mL."""
        return self.step_mL

    @property
    def begins_with_key(self) -> str:
        """Return the key that states it."""
        return "step"

    @property
    def largest_mL(self) -> float:
        """Return the size of every addition in mL."""
        return self.step_mL

    @property
    def largest_key(self) -> str:
        """Return the key that states it."""
        return "step"


class ForeseeingAdditions(_Stepwise):
    """One stretch to a safe distance from the jump, then readings where they tell most per second of waiting.

    The keys of the rule adaptive say how the run goes on where the curve is not what was foreseen.
    """

    rule: Literal["foreseeing"] = Field(description="See above.")
    near: Annotated[int, Plain(whole=True, at_least=3, at_most=12)] = Field(
        4, description="So many readings are sought close about each jump (rule foreseeing)."
    )
    patience: Annotated[float, Plain(above=0)] = Field(
        0.4,
        description="A reading is waited for until its own error costs this share of the burette's (rule foreseeing): "
        "less is slower and more exact.",
    )
    far_mV: PositivePotential_mV | None = Field(
        None,
        alias="far",
        description="An error of a reading that serves far from the jump (rule foreseeing); "
        "where it is left out, three times the noise of a reading.",
    )
    finest_mL: PositiveVolume_mL = Field(
        alias="finest", description="No addition close about the jump is smaller (rule foreseeing)."
    )

    def findings(self) -> Iterable[Finding]:
        """Refuse bounds in the wrong order."""
        yield from super().findings()
        if self.finest_mL > self.most_mL:
            text = f"expected at most the {self.most_mL:g} mL of the key most, got {self.finest_mL:g} mL"
            yield Finding(("finest",), text)

    @property
    def smallest_mL(self) -> float:
        """Return the smallest addition of this rule in mL."""
        return min(self.least_mL, self.finest_mL)

    @property
    def smallest_key(self) -> str:
        """Return the key that states it."""
        return "finest" if self.finest_mL <= self.least_mL else "least"


Additions = Annotated[AdaptiveAdditions | FixedAdditions | ForeseeingAdditions, Field(discriminator="rule")]
"""Any rule."""
