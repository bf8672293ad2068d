"""Section `sample`: what is titrated, and how it came into the vessel."""

import difflib
import math
from collections.abc import Iterable
from typing import Literal, NamedTuple

from pydantic import Field

from titrator.chemistry.interferences import COMPANIONS
from titrator.files import Finding, StrictModel, UncertainConcentration, UncertainNumber
from titrator.files.quantities import NonNegativeRatio
from titrator.files.schema import one_of
from titrator.files.texts import Text
from titrator.method.expected import Expected
from titrator.method.measured import BlankVolume, MeasuredVolume, WeighedMass


class Dilution(NamedTuple):
    """A factor of dilution with its standard uncertainty."""

    value: float
    u: float


class DilutionStep(StrictModel):
    """One step of a dilution."""

    portion: MeasuredVolume = Field(description="What is taken.")
    made_up_to: MeasuredVolume = Field(description="The flask in which it is made up to the mark.")

    def findings(self) -> Iterable[Finding]:
        """Refuse a flask smaller than what it takes."""
        if self.made_up_to.value_mL < self.portion.value_mL:
            told = f"{self.portion.value_mL:g} mL of portion, got {self.made_up_to.value_mL:g} mL"
            yield Finding(("made_up_to", "value"), f"expected at least the {told}")


class Sample(StrictModel):
    """The portion of sample in the vessel. The result is for the sample before its dilution."""

    kind: Literal["unknown", "standard", "blank"] = Field(
        description="`unknown` is to be determined; `standard` has a known content, as a control; `blank` has all "
        "reagents and no analyte."
    )
    aliquot: MeasuredVolume = Field(
        description="Volume of (diluted) sample brought into the vessel, with its standard uncertainty, or with the "
        "tolerance of the pipette; of a weighed sample that is in the vessel as a whole, the volume it is dissolved in."
    )
    stated_dilution: UncertainNumber | None = Field(
        None,
        alias="dilution",
        description="How many times the sample was diluted before the aliquot was taken (10: one part made up to "
        "ten), with its standard uncertainty. Without this key and `dilutions` the sample is undiluted, exactly 1.",
    )
    dilutions: tuple[DilutionStep, ...] = Field(
        default=(), description="The steps of the dilution, each by the glassware used; in place of `dilution`."
    )
    mass: WeighedMass | None = Field(
        None, description="Mass of a weighed sample. The result is then a mass fraction or an amount."
    )
    made_up_to: MeasuredVolume | None = Field(
        None,
        description="The flask in which a weighed sample was made up, before dilution and aliquot. Without this key "
        "all of it is in the vessel.",
    )
    blank: BlankVolume | None = Field(
        None, description="Volume of titrant that the blank of this method takes; it is taken off."
    )
    certified: UncertainConcentration | None = Field(
        None,
        description="What a control sample (kind `standard`) is certified or known to hold, before its dilution; the "
        "recovery is reported.",
    )
    sampling: NonNegativeRatio = Field(
        0.0,
        description="Relative standard uncertainty with which the sample stands for the whole, `0.5 %`, as you declare "
        "it: a line of the budget.",
    )
    expected: Expected | None = Field(
        None,
        description="Between which concentrations the sample is expected. The checks use it (does the burette hold "
        "enough?); neither the titration nor its evaluation does. A sample may lie outside.",
    )
    then: tuple[Expected, ...] = Field(
        default=(),
        description="The same for the analytes of further equivalence points, in their order; as many as "
        "`reaction.then` has, or none.",
    )
    contains: tuple[Text, ...] = Field(
        default=(),
        description="What else is in the sample, from the list in `titrator/chemistry/interferences.py`: what disturbs "
        "is refused with the reason, or told among the cautions.",
        json_schema_extra=one_of(lambda: COMPANIONS),
    )

    @property
    def dilution(self) -> Dilution:
        """Return the factor of dilution, whichever way it is told."""
        if self.stated_dilution is not None:
            return Dilution(self.stated_dilution.value, self.stated_dilution.u)
        volumes = [each for step in self.dilutions for each in (step.portion, step.made_up_to)]
        value = math.prod(step.made_up_to.value_mL / step.portion.value_mL for step in self.dilutions)
        return Dilution(value, value * math.hypot(*(each.u_mL / each.value_mL for each in volumes)))

    @property
    def expectations(self) -> tuple[Expected, ...]:
        """Return what is expected of each analyte in order, empty where nothing is."""
        return () if self.expected is None else (self.expected, *self.then)

    def findings(self) -> Iterable[Finding]:
        """Refuse a dilution that concentrates, and expectations of a blank."""
        if self.kind == "blank" and self.expected is not None:
            yield Finding(("expected",), "expected no key expected for a blank (it has no analyte), got one")
        if self.then and self.expected is None:
            yield Finding(("then",), "expected the key expected (the first analyte) beside then, got then alone")
        for number, companion in enumerate(self.contains):
            if companion not in COMPANIONS or companion in self.contains[:number]:
                near = difflib.get_close_matches(companion, set(COMPANIONS) - {companion}, n=1)
                meant = f"did you mean {near[0]}?" if near else ", ".join(COMPANIONS)
                yield Finding(
                    ("contains", number),
                    f"expected companions of the list in titrator/chemistry/interferences.py, each once ({meant}), got "
                    f"{companion}",
                )
        if self.stated_dilution is not None and self.stated_dilution.value < 1:
            yield Finding(("dilution", "value"), f"expected a dilution of at least 1, got {self.dilution.value:g}")
        yield from self._at_odds()

    def _at_odds(self) -> Iterable[Finding]:
        """Refuse keys that exclude each other."""
        whole = self.mass is not None and self.made_up_to is None
        if self.dilutions and self.stated_dilution is not None:
            yield Finding(("dilutions",), "expected one of dilution and dilutions, got both")
        if self.made_up_to is not None and self.mass is None:
            yield Finding(("made_up_to",), "expected the key made_up_to beside mass only, got it without")
        if whole and (self.dilutions or self.stated_dilution is not None):
            at = "dilutions" if self.dilutions else "dilution"
            yield Finding(
                (at,), f"expected no {at} of a weighed sample without made_up_to (all of it is in the vessel), got one"
            )
        if self.certified is not None and self.kind != "standard":
            yield Finding(
                ("certified",), f"expected the key certified for the kind standard only, got it for {self.kind}"
            )
        if self.certified is not None and self.mass is not None:
            yield Finding(("certified",), "expected no key certified (a concentration) of a weighed sample, got one")
        if self.blank is not None and self.kind == "blank":
            yield Finding(("blank",), "expected no key blank in the method of a blank itself, got one")
