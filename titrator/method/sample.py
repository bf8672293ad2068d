"""Section `sample`: what is titrated, and how it came into the vessel."""

import difflib
from collections.abc import Iterable
from typing import Literal

from pydantic import Field

from titrator.chemistry.interferences import COMPANIONS
from titrator.files import Finding, StrictModel, UncertainNumber, UncertainVolume
from titrator.files.schema import one_of
from titrator.files.texts import Text
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
        if self.dilution.value < 1:
            yield Finding(("dilution", "value"), f"expected a dilution of at least 1, got {self.dilution.value:g}")
