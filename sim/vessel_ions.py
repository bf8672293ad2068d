"""Acid-base, silver and EDTA titrations as a cell file describes them."""

from sim.chemistry.acid_base import AcidBasePlan, acid_base_chemistry
from sim.chemistry.edta import EdtaPlan, edta_chemistry
from sim.chemistry.ions import contents_of
from sim.chemistry.silver import FILM_SHARE, SilverPlan, silver_chemistry
from sim.vessel import Figures, Vessel, cumulated
from titrator.chemistry.acids import AMMONIUM
from titrator.chemistry.chelates import CHELATES
from titrator.chemistry.complexation import conditional_log_K, free_ammonia_mol_per_L, metal_fraction

ABOVE_PH_7 = ("acetic acid", "citric acid", "dihydrogen phosphate")
"""Acids whose point lies where carbonate of the base has taken up one proton only; at the others it takes two."""

DEFAULT_COPPER_COMPLEX_MOL_PER_L = 1e-5
"""Copper complex in the vessel where a copper-ion electrode follows another metal and the cell file tells none."""

# Put in as salts of ions that take no part.
_SALT: dict[str, dict[str, float]] = {
    "H+": {"H+": 1.0, "Cl-": 1.0},
    "H2PO4-": {"H2PO4-": 1.0, "Na+": 1.0},
    "CO3-2": {"CO3-2": 1.0, "Na+": 2.0},
    "HCO3-": {"HCO3-": 1.0, "Na+": 1.0},
}
_METALS = {"iron(II)": ("Fe+2", 2.0), "iron(III)": ("Fe+3", 3.0), "zinc(II)": ("Zn+2", 2.0)}


def _put(recipe: dict[str, float], salt: dict[str, float], mol: float) -> None:
    for name, count in salt.items():
        recipe[name] = recipe.get(name, 0.0) + count * mol


def used_up(figures: Figures, per_sample: tuple[float, ...]) -> tuple[float, ...]:
    """What each step uses up, of amounts or concentrations as put in.

    A proton more on carbonate or one less on phosphoric acid makes the second step's substance from the first's.
    """
    chained = figures.reaction.family == "acid-base" and len(per_sample) > 1
    return cumulated(per_sample) if chained else per_sample


def acid_base_vessel(figures: Figures) -> Vessel:
    """The vessel of an acid-base titration."""
    reaction, stated, sample = figures.reaction, figures.stated, figures.cell.sample
    at_pH_7_mV = figures.uniform("offset", "offset_mV", figures.cell.potentials.offset)
    slope_share = figures.uniform("slope", "slope_share", figures.cell.potentials.slope)
    carbonate = figures.uniform("carbonate", "carbonate_share", figures.cell.titrant.carbonate)
    recipe: dict[str, float] = {}
    for step, mol in zip(reaction.steps, figures.analytes_mol, strict=True):
        _put(recipe, _SALT.get(step.species, {step.species: 1.0}), mol)
    for name, limits in (("iron(II)", sample.iron_ii), ("iron(III)", sample.iron_iii), ("zinc(II)", sample.zinc_ii)):
        mol = figures.in_vessel_mol(figures.uniform(name, f"{name}_mol_per_L", limits))
        ion, charge = _METALS[name]
        if mol > 0.0 and not stated.blank:
            _put(recipe, {ion: 1.0, "Cl-": charge}, mol)
    # A base's strength is that against potassium hydrogen phthalate, an alkaline point: all of its alkalinity is more.
    c = figures.titrant_mol_per_L / (1.0 - 0.5 * carbonate)
    if reaction.titrant_species == "OH-":
        titrant = {"Na+": c, "OH-": c * (1.0 - carbonate), "CO3-2": 0.5 * c * carbonate}
    else:
        titrant = {"H+": c, "Cl-": c}
    consumed = used_up(figures, figures.analytes_mol)
    needed = cumulated(
        tuple(mol / step.analyte_per_titrant for mol, step in zip(consumed, reaction.steps, strict=True))
    )
    volumes = []
    for mol, step in zip(needed, reaction.steps, strict=True):
        idle = 0.5 * carbonate if step.analyte in ABOVE_PH_7 else 0.0
        volumes.append(1000.0 * mol / (c * (1.0 - idle)))
    plan = AcidBasePlan(recipe, titrant, c, max(needed[-1], figures.trace_mol), at_pH_7_mV, slope_share)
    contents = contents_of(plan.system(stated.temperature_C), recipe, stated.fill_mL, stated.temperature_C)
    return Vessel(contents, acid_base_chemistry(plan, stated.temperature_C), tuple(volumes))


def silver_vessel(figures: Figures) -> Vessel:
    """The vessel of a titration of halides with silver."""
    reaction, stated = figures.reaction, figures.stated
    offset_mV = figures.uniform("offset", "offset_mV", figures.cell.potentials.offset)
    slope_share = figures.uniform("slope", "slope_share", figures.cell.potentials.slope)
    recipe: dict[str, float] = {}
    for step, mol in zip(reaction.steps, figures.analytes_mol, strict=True):
        _put(recipe, {step.species: 1.0, "Na+": 1.0}, mol)
    if figures.cell.reaction.medium != "none" and stated.medium_mL:
        # Nitric acid; its H+ is entered as another ion of the same charge, for it counts in the ionic strength only.
        _put(recipe, {"K+": 1.0, "NO3-": 1.0}, figures.medium_mol)
    needed = cumulated(figures.analytes_mol)
    scale = max(needed[-1], figures.trace_mol)
    _put(recipe, {"Ag+": 1.0, "NO3-": 1.0}, FILM_SHARE * scale)
    c = figures.titrant_mol_per_L
    plan = SilverPlan(
        recipe, {"Ag+": c, "NO3-": c}, c, scale, 1000.0 * stated.reference_potential_V, offset_mV, slope_share
    )
    contents = contents_of(plan.system(stated.temperature_C), recipe, stated.fill_mL, stated.temperature_C)
    chemistry = silver_chemistry(plan, stated.temperature_C)
    return Vessel(contents, chemistry, tuple(1000.0 * mol / c for mol in needed))


def edta_vessel(figures: Figures) -> Vessel:
    """The vessel of a titration with EDTA in a buffer."""
    reaction, stated, potentials = figures.reaction, figures.stated, figures.cell.potentials
    medium = figures.cell.reaction.known_medium()
    assert medium.pH is not None
    pH = stated.pH if stated.pH is not None else 0.5 * sum(medium.pH)
    ammonia = 0.0
    if medium.name == "ammonia buffer":
        total = 1000.0 * figures.medium_mol / stated.fill_mL if stated.medium_mL else 0.1
        ammonia = free_ammonia_mol_per_L(total, pH, AMMONIUM.pKa[0].at(stated.temperature_C))
    by_name = {chelate.metal: chelate for chelate in CHELATES}
    metal = reaction.steps[0].species
    follows = "copper" if (stated.indicator or reaction.indicators[0]) == "copper-ion" else metal
    metals = [metal] if follows == metal else [metal, follows]
    recipe = {metal: max(figures.analytes_mol[0], figures.trace_mol)}
    if follows != metal:
        complex_mol_per_L = potentials.copper_complex_mol_per_L or DEFAULT_COPPER_COMPLEX_MOL_PER_L
        recipe["copper-EDTA"] = complex_mol_per_L * stated.fill_mL / 1000.0
    c, needed = figures.titrant_mol_per_L, figures.analytes_mol[0]
    plan = EdtaPlan(
        vessel_mol=recipe,
        active_mol_per_L=c,
        scale_mol=max(needed, figures.trace_mol),
        log_K={name: conditional_log_K(by_name[name], pH, ammonia).value for name in metals},
        follows=follows,
        free_share=metal_fraction(by_name[follows], pH, ammonia),
        at_1_mol_per_L_mV=figures.uniform("offset", "offset_mV", potentials.offset),
        slope_share=figures.uniform("slope", "slope_share", potentials.slope),
        # Buffered by its complex, copper is followed far below any limit of detection.
        detection_mol_per_L=potentials.detection_mol_per_L if follows == metal else 0.0,
    )
    contents = contents_of(plan.system(), recipe, stated.fill_mL, stated.temperature_C)
    return Vessel(contents, edta_chemistry(plan, stated.temperature_C), (1000.0 * needed / c,))
