"""Where a titrant's concentration is from, if it is not stated: weighed in, or standardised against a primary standard.

What is computed here is the value, for plans and checks, and its standard uncertainty by the law of propagation for
products; the evaluation carries every source on its own (titrator/run/chain.py), and a test holds the two together.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

from pydantic import Field

from titrator.chemistry.formula import molar_mass_g_per_mol
from titrator.chemistry.water import BOROSILICATE_PER_K, CALIBRATED_AT_C, expansion
from titrator.files import Finding, StrictModel, UncertainNumber, UncertainVolume
from titrator.files.quantities import NonNegativeRatio, PositiveNumber, Volume_mL
from titrator.files.texts import Text
from titrator.method.measured import (
    BlankVolume,
    MeasuredTemperature,
    MeasuredVolume,
    UncertainMolarMass,
    UncertainTemperature,
    WeighedMass,
)

PURE: Final = UncertainNumber.model_validate({"value": 1, "u": 0})
_PURITY: Final = (
    "Purity as a mass fraction, 1 is pure, with its uncertainty: a certificate's 99.95 % ± 0.05 % is `{value: 0.9995, "
    "half_width: 0.0005}`. Without this key exactly 1."
)
_MOLAR_MASS: Final = (
    "Molar mass, where it is not to be that of the formula by the standard atomic weights of 2021 and their "
    "uncertainties."
)


def liquid_factor(temperature_C: float, expansion_per_K: float | None, glass_per_K: float = 0.0) -> float:
    """Return the volume at 20 °C over that at a temperature: by the stated cubic expansion, else that of water.

    In a vessel whose cubic expansion is `glass_per_K` and whose mark holds for 20 °C, over the volume of the mark.
    """
    above_K = temperature_C - CALIBRATED_AT_C
    liquid = expansion(temperature_C) if expansion_per_K is None else 1.0 / (1.0 + expansion_per_K * above_K)
    return liquid * (1.0 + glass_per_K * above_K)


def liquid_per_K(temperature_C: float, expansion_per_K: float | None) -> float:
    """Return by how much that factor falls per K there, relative (-d ln factor/dT)."""
    if expansion_per_K is not None:
        return expansion_per_K / (1.0 + expansion_per_K * (temperature_C - CALIBRATED_AT_C))
    step_K = 0.5
    return math.log(expansion(temperature_C - step_K) / expansion(temperature_C + step_K)) / (2.0 * step_K)


class _Weighed(StrictModel):
    """A substance weighed in."""

    mass: WeighedMass = Field(description="Mass weighed in.")
    purity: UncertainNumber = Field(default=PURE, description=_PURITY)
    molar_mass: UncertainMolarMass | None = Field(None, description=_MOLAR_MASS)

    def _formula(self) -> str:
        raise NotImplementedError

    def _molar_mass(self) -> tuple[float, float]:
        if self.molar_mass is not None:
            return self.molar_mass.value_g_per_mol, self.molar_mass.u_g_per_mol
        return molar_mass_g_per_mol(self._formula())

    @property
    def amount_mmol(self) -> float:
        """Return the amount of substance."""
        return 1000.0 * self.mass.value_g * self.purity.value / self._molar_mass()[0]

    def _relative(self) -> float:
        """Return its relative standard uncertainty."""
        molar, u_molar = self._molar_mass()
        return math.hypot(self.mass.u_g / self.mass.value_g, self.purity.u / self.purity.value, u_molar / molar)

    def _weighed_findings(self, key: str) -> Iterable[Finding]:
        if self.purity.value > 1.0:
            yield Finding(("purity", "value"), f"expected a mass fraction of at most 1, got {self.purity.value:g}")
        try:
            self._molar_mass()
        except ValueError as error:
            what = str(error).rpartition("came: ")[2]
            yield Finding((key,), f"expected a formula such as KHC8H4O4 (or the key molar_mass), got {what}")


class Prepared(_Weighed):
    """A titrant made by weighing a pure substance and making it up to the mark of a flask."""

    substance: Text = Field(description="Formula of the substance as weighed, K2Cr2O7; crystal water behind a dot.")
    per_substance: PositiveNumber = Field(
        1.0, description="Moles of titrant that one mole of the substance gives. Without this key 1."
    )
    flask: MeasuredVolume = Field(description="The flask in which it is made up to the mark.")
    temperature: MeasuredTemperature = Field(
        default=UncertainTemperature.model_validate({"value": "20 °C", "u": "0 °C"}),
        description="Temperature at which it was made up, `20 °C` or a section with its uncertainty. Without this key "
        "20 °C.",
    )

    def _formula(self) -> str:
        return self.substance

    def findings(self) -> Iterable[Finding]:
        """Refuse what is no formula, and a purity above 1."""
        return self._weighed_findings("substance")

    def value_mol_per_L(self, expansion_per_K: float | None) -> float:
        """Return the concentration at 20 °C."""
        warm_C = self.temperature.value_C
        flask_mL = self.flask.value_mL * liquid_factor(warm_C, expansion_per_K, BOROSILICATE_PER_K)
        return self.per_substance * self.amount_mmol / flask_mL

    def u_mol_per_L(self, expansion_per_K: float | None) -> float:
        """Return its standard uncertainty."""
        warm = self.temperature
        per_K = liquid_per_K(warm.value_C, expansion_per_K) - BOROSILICATE_PER_K
        flask = self.flask.u_mL / self.flask.value_mL
        return self.value_mol_per_L(expansion_per_K) * math.hypot(self._relative(), flask, per_K * warm.u_C)


class OtherBurette(StrictModel):
    """Another burette than that of the titration."""

    calibration: NonNegativeRatio = Field(
        0.0, description="By how much its calibration may be off, relative, `0.2 %`: rectangular."
    )
    tolerance_mL: Volume_mL = Field(
        0.0, alias="tolerance", description="By how much a volume of it may be off, `0.03 mL`: triangular."
    )


class Standardised(_Weighed):
    """A titrant standardised by titrating a weighed primary standard with it."""

    standard: Text = Field(description="Formula of the primary standard as weighed, KHC8H4O4.")
    standard_per_titrant: PositiveNumber = Field(
        description="Moles of the standard that one mole of titrant consumes: 1 for hydrogen phthalate with hydroxide, "
        "0.5 for oxalate with cerium(IV)."
    )
    volume: UncertainVolume = Field(
        description="Volume of titrant at equivalence, the blank not taken off, with its uncertainty (the burette's "
        "calibration apart)."
    )
    burette: OtherBurette | None = Field(
        None,
        description="The burette, where it is another one than that of the titration. Without this key it is the same: "
        "its calibration then cancels between standardisation and sample.",
    )
    temperature: MeasuredTemperature | None = Field(
        None,
        description="Temperature of the titrant then, `20 °C` or a section with its uncertainty. Without this key it "
        "is titrant.temperature, and one source with it: it cancels.",
    )
    blank: BlankVolume | None = Field(None, description="Volume of titrant that the blank took; it is taken off.")
    repeatability: NonNegativeRatio = Field(
        0.0, description="Relative standard deviation of the standardisation as a whole, where it is known as such."
    )

    def _formula(self) -> str:
        return self.standard

    @property
    def taken_mL(self) -> float:
        """Return the volume with the blank taken off."""
        return self.volume.value_mL - (0.0 if self.blank is None else self.blank.value_mL)

    def findings(self) -> Iterable[Finding]:
        """Refuse what is no formula, a purity above 1, and a blank that takes everything."""
        yield from self._weighed_findings("standard")
        if self.blank is not None and self.taken_mL <= 0.0:
            told = f"{self.volume.value_mL:g} mL of volume, got {self.blank.value_mL:g} mL"
            yield Finding(("blank", "value"), f"expected less than the {told}")

    def value_mol_per_L(self, titrant_C: float, expansion_per_K: float | None) -> float:
        """Return the concentration at 20 °C; `titrant_C` where the standardisation has no temperature of its own."""
        warm_C = titrant_C if self.temperature is None else self.temperature.value_C
        volume_mL = self.taken_mL * liquid_factor(warm_C, expansion_per_K)
        return self.amount_mmol / (self.standard_per_titrant * volume_mL)

    def u_mol_per_L(self, titrant_C: float, expansion_per_K: float | None) -> float:
        """Return its standard uncertainty, without what cancels against the sample (same burette, same temperature)."""
        parts = [self._relative(), self.volume.u_mL / self.taken_mL, self.repeatability]
        if self.blank is not None:
            parts.append(self.blank.u_mL / self.taken_mL)
        if self.burette is not None:
            parts.append(self.burette.calibration / math.sqrt(3.0))
            # A shift of all readings cancels where a blank by the same burette is taken off.
            if self.blank is None:
                parts.append(self.burette.tolerance_mL / math.sqrt(6.0) / self.taken_mL)
        if self.temperature is not None:
            parts.append(liquid_per_K(self.temperature.value_C, expansion_per_K) * self.temperature.u_C)
        return self.value_mol_per_L(titrant_C, expansion_per_K) * math.hypot(*parts)
