"""Section `sample`: what is titrated, and how it came into the vessel."""

from collections.abc import Iterable
from typing import Literal

from pydantic import Field

from titrator.files import Finding, StrictModel, UncertainNumber, UncertainVolume
from titrator.method.expected import Expected

UNDILUTED = UncertainNumber.model_validate({"value": 1, "u": 0})


class Sample(StrictModel):
    """The portion of sample in the vessel. The result is for the sample before its dilution."""

    kind: Literal["unknown", "standard", "blank"] = Field(
        description="`unknown` is to be determined; `standard` has a known content, as a control; `blank` has all "
        "reagents and no analyte."
    )
    aliquot: UncertainVolume = Field(
        description="Volume of (diluted) sample brought into the vessel, with its standard uncertainty."
    )
    dilution: UncertainNumber = Field(
        default=UNDILUTED,
        description="How many times the sample was diluted before the aliquot was taken (10: one part made up to "
        "ten), with its standard uncertainty. Without this key the sample is undiluted, exactly 1.",
    )
    expected: Expected | None = Field(
        None,
        description="Between which concentrations the sample is expected. The checks use it (does the burette hold "
        "enough?); neither the titration nor its evaluation does. A sample may lie outside.",
    )

    def findings(self) -> Iterable[Finding]:
        """Refuse a dilution that concentrates, and expectations of a blank."""
        if self.kind == "blank" and self.expected is not None:
            yield Finding(("expected",), "expected no key expected for a blank (it has no analyte), got one")
        if self.dilution.value < 1:
            yield Finding(("dilution", "value"), f"expected a dilution of at least 1, got {self.dilution.value:g}")
