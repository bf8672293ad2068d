"""Section `electrode`: what measures, against what, and how a living one shows itself."""

from collections.abc import Iterable

from pydantic import Field

from titrator.chemistry.reactions import Indicator
from titrator.chemistry.references import REFERENCES
from titrator.chemistry.suitability import BRIDGES
from titrator.files import Finding, StrictModel
from titrator.files.quantities import PositiveVolume_mL, Potential_mV
from titrator.files.schema import one_of
from titrator.files.texts import Text

WIDEST_mV = 2000.0  # water itself is oxidised or reduced long before


class Electrode(StrictModel):
    """Indicator and reference electrode, and the potentials at which a titration may start."""

    indicator: Indicator = Field(
        description="The indicator electrode: `platinum` follows redox potentials, `glass` the pH, `silver` silver and "
        "halides, `calcium-ion` and `copper-ion` their ion (the latter other metals too, beside the reagent copper(II) "
        "EDTA complex)."
    )
    reference: Text = Field(
        description='The reference electrode: "silver/silver chloride" or "calomel".',
        json_schema_extra=one_of(lambda: [known.electrode for known in REFERENCES]),
    )
    filling: Text = Field(
        description='Filling of the reference electrode, "3 mol/L KCl".',
        json_schema_extra=one_of(lambda: [known.filling for known in REFERENCES]),
    )
    bridge: Text | None = Field(
        None,
        description='Outer filling of a double junction, which touches the solution in place of `filling`: "1 mol/L '
        'KNO3". A single junction without this key.',
        json_schema_extra=one_of(lambda: BRIDGES),
    )
    start_window_mV: tuple[Potential_mV, Potential_mV] = Field(
        alias="start_window",
        description="Lowest and highest plausible potential before the first addition, against the reference: "
        "[150 mV, 480 mV]. A start outside it ends the run before anything is delivered.",
    )
    answers_within_mL: PositiveVolume_mL = Field(
        alias="answers_within",
        description="Volume of titrant by which a living electrode must have moved. One that has not is taken for "
        "open, shorted or poisoned, and the run ends.",
    )

    def findings(self) -> Iterable[Finding]:
        """Refuse a window that is no window, and reference electrodes that the table does not have."""
        low_mV, high_mV = self.start_window_mV
        if not -WIDEST_mV <= low_mV < high_mV <= WIDEST_mV:
            yield Finding(
                ("start_window",),
                f"expected the lower potential first, both within {WIDEST_mV:g} mV of zero, "
                f"got {low_mV:g} mV and {high_mV:g} mV",
            )
        fillings = [known.filling for known in REFERENCES if known.electrode == self.reference]
        if not fillings:
            known_electrodes = " or ".join(sorted({known.electrode for known in REFERENCES}))
            yield Finding(("reference",), f"expected {known_electrodes}, got {self.reference}")
        elif self.filling not in fillings:
            yield Finding(("filling",), f"expected {', '.join(fillings)} for {self.reference}, got {self.filling}")
        if self.bridge is not None and self.bridge not in BRIDGES:
            yield Finding(("bridge",), f"expected {', '.join(BRIDGES)}, got {self.bridge}")
