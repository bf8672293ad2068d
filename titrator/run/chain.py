"""From the method's keys to the sources of a result: what two of them share is one source, by its name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from titrator.chemistry.water import BOROSILICATE_PER_K
from titrator.evaluate.measurement import Model, Part, model_of
from titrator.evaluate.molar_mass import molar_mass
from titrator.evaluate.quantity import Quantity
from titrator.evaluate.results import ResultInputs, own_name
from titrator.evaluate.sample_chain import dilution_factor, with_factor
from titrator.evaluate.titrant_chain import amount_mmol, made_up_mol_per_L, standardised_mol_per_L
from titrator.evaluate.volumes import Burette, Glassware
from titrator.evaluate.weighing import weighed_g
from titrator.files.models import Uncertain
from titrator.method import Method
from titrator.method.measured import BlankVolume, MeasuredVolume, UncertainTemperature, WeighedMass
from titrator.method.sample import Sample
from titrator.method.standard import Prepared, Standardised, liquid_factor, liquid_per_K
from titrator.method.titrant import Titrant


def stated_source(name: str, told: Uncertain, value: float, u: float, unit: str) -> Quantity:
    """Return a value with its uncertainty as a source: rectangular where the file gives limits, else normal."""
    fields = type(told).model_fields
    limits = any((fields[field].alias or field) == "half_width" for field in told.model_fields_set)
    return Quantity(name, value, u, unit, "rectangular" if limits else "normal")


def _volume(name: str, told: MeasuredVolume, filling: str = "") -> Part:
    """Return a volume: glassware with the error of its mark (shared by name) and this filling's, or one source."""
    if told.tolerance_mL is None:
        return stated_source(name, told, told.value_mL, told.u_mL, "mL")
    vessel = told.vessel or name
    return Glassware.within(vessel, told.value_mL, told.tolerance_mL, filling_u_mL=told.filling_mL).filled(filling)


def _mass(name: str, told: WeighedMass) -> Part:
    if told.linearity_g is None:
        return stated_source(name, told, told.value_g, told.u_g, "g")
    return weighed_g(name, told.value_g, told.linearity_g)


def _blank(name: str, told: BlankVolume) -> Quantity:
    return stated_source(name, told, told.value_mL, told.u_mL, "mL")


def _warmth(name: str, told: UncertainTemperature, expansion_per_K: float | None, glass_per_K: float = 0.0) -> Part:
    """Return the volume of titrant at 20 °C over that at a temperature; straight in the temperature about its value."""
    at = liquid_factor(told.value_C, expansion_per_K, glass_per_K)
    if told.u_C == 0.0:
        return at
    above = model_of(stated_source(name, told, told.value_C, told.u_C, "°C")) - told.value_C
    return at * (1.0 - (liquid_per_K(told.value_C, expansion_per_K) - glass_per_K) * above)


def _titrant_warmth(titrant: Titrant) -> Part:
    return _warmth("temperature of the titrant", titrant.warmth, titrant.expansion_per_K)


def _weighed_mmol(formula: str, told: Prepared | Standardised) -> Model:
    """Return the amount of a weighed substance."""
    purity = stated_source(f"purity of {formula}", told.purity, told.purity.value, told.purity.u, "1")
    mass: Part = _mass(f"mass of {formula}", told.mass)
    stated = told.molar_mass
    if stated is None:
        return amount_mmol(mass, purity, molar_mass(formula))
    molar = stated_source(f"molar mass of {formula}", stated, stated.value_g_per_mol, stated.u_g_per_mol, "g/mol")
    return amount_mmol(mass, purity, molar)


def _prepared(prepared: Prepared, titrant: Titrant) -> Model:
    """Return the concentration at 20 °C of a titrant that was weighed in."""
    flask = model_of(_volume("flask of the titrant", prepared.flask))
    factor = _warmth(
        "temperature of the flask", prepared.temperature, titrant.expansion_per_K, BOROSILICATE_PER_K
    )  # fmt: skip
    amount = prepared.per_substance * _weighed_mmol(prepared.substance, prepared)
    return made_up_mol_per_L(amount, flask * factor)


def _standardised(standardised: Standardised, titrant: Titrant, own: Burette) -> Model:
    """Return the concentration at 20 °C of a titrant that was standardised, by the burette `own` unless by another."""
    told, other = standardised.volume, standardised.burette
    if other is None:
        burette = own
    else:
        calibration = Quantity.bounded("calibration of the burette of the standardisation", 1.0, other.calibration)
        shift = Quantity.bounded(
            "tolerance of the burette of the standardisation", 0.0, other.tolerance_mL, "mL", "triangular"
        )  # fmt: skip
        burette = Burette(calibration if calibration.u > 0.0 else None, shift if shift.u > 0.0 else None)
    taken = burette.delivered(stated_source("volume of the standardisation", told, told.value_mL, told.u_mL, "mL"))
    if standardised.blank is not None:
        taken = taken - burette.delivered(_blank("blank of the standardisation", standardised.blank))
    temperature, expansion_per_K = standardised.temperature, titrant.expansion_per_K
    warmth = (
        _titrant_warmth(titrant)
        if temperature is None
        else _warmth("temperature of the standardisation", temperature, expansion_per_K)
    )
    found = standardised_mol_per_L(
        _weighed_mmol(standardised.standard, standardised), taken * warmth, standardised.standard_per_titrant
    )
    if standardised.repeatability > 0.0:
        found = with_factor(found, "repeatability of the standardisation", standardised.repeatability)
    return found


def titrant_mol_per_L(titrant: Titrant, burette: Burette) -> Part:
    """Return the titrant's concentration at 20 °C with its sources; `burette`: that of the titration."""
    if titrant.prepared is not None:
        return _prepared(titrant.prepared, titrant)
    if titrant.standardised is not None:
        return _standardised(titrant.standardised, titrant, burette)
    stated = titrant.stated
    assert stated is not None
    return stated_source("titrant concentration", stated, stated.value_mol_per_L, stated.u_mol_per_L, "mol/L")


def burette_of(told: Mapping[str, float] | None) -> Burette:
    """Return the burette by what the first line of a journal says of it."""
    half_width = told["calibration_half_width"] if told else 0.0
    return Burette.within(half_width) if half_width > 0.0 else Burette()


def _dilution(sample: Sample) -> Part:
    stated = sample.stated_dilution
    if stated is not None:
        return stated_source("dilution", stated, stated.value, stated.u, "1")
    steps = [
        (_volume(f"portion {number}", step.portion, f"of step {number}"),
         _volume(f"flask {number}", step.made_up_to, f"of step {number}"))
        for number, step in enumerate(sample.dilutions, start=1)
    ]  # fmt: skip
    return dilution_factor(steps) if steps else 1.0


def result_inputs(
    method: Method, burette: Mapping[str, float] | None, *, label: str = "", blank_mL: Part | None = None
) -> list[ResultInputs]:
    """Return what stands between equivalence volumes and results, for each step of the method in order.

    `burette` is what the first line of a journal says of it. `label` names what is the own of one run of a series: the
    filling of its pipette, the scatter of its volume. `blank_mL`: of a blank run, in place of `sample.blank`.
    """
    own, sample, result = burette_of(burette), method.sample, method.result
    if blank_mL is None and sample.blank is not None:
        blank_mL = _blank("blank", sample.blank)
    shared = ResultInputs(
        name=result.name,
        unit=result.unit,
        molar_mass_g_per_mol=result.molar_mass_g_per_mol,
        titrant_mol_per_L=titrant_mol_per_L(method.titrant, own),
        warmth=_titrant_warmth(method.titrant),
        aliquot_mL=_volume("aliquot", sample.aliquot, own_name("of the aliquot", label)),
        dilution=_dilution(sample),
        burette=own,
        blank_mL=None if blank_mL is None else _factored(own, blank_mL),
        sample_g=None if sample.mass is None else _mass(own_name("mass of the sample", label), sample.mass),
        made_up_to_mL=None
        if sample.made_up_to is None
        else _volume("flask of the sample", sample.made_up_to, own_name("of the sample", label)),
        sampling=sample.sampling,
        repeatability=result.repeatability,
        label=label,
    )
    steps = zip(result.names, result.molar_masses_g_per_mol, method.reaction.ratios, strict=False)
    return [
        replace(
            shared,
            name=name,
            molar_mass_g_per_mol=Quantity("molar mass", molar_mass_g_per_mol, 0.0, "g/mol"),
            analyte_per_titrant=ratio,
        )
        for name, molar_mass_g_per_mol, ratio in steps
    ]


def _factored(burette: Burette, blank_mL: Part) -> Part:
    """Return the blank as this burette delivers it: a shift of all its readings cancels, its factor does not."""
    return blank_mL if burette.factor is None else model_of(blank_mL) * burette.factor
