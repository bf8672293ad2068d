"""Every titration of the table of reactions through the engine, for any admissible vessel: balances, curves, limits.

The balances are written out from the species that the engine reports and from the couples, formulas and charges, not
with the engine's own totals. The sources are conservation of matter, electrons and charge, and Nernst's equation.
"""

import math
from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from titrator.chemistry import chelates
from titrator.chemistry.acid_base import acid_base_system
from titrator.chemistry.acids import ACETIC, AMMONIUM, CARBONIC, CITRIC, METALS, PHOSPHORIC
from titrator.chemistry.complexation import conditional_log_K, edta_system, metal_fraction, pM
from titrator.chemistry.constants import nernst_slope_per_decade_mV
from titrator.chemistry.precipitation import HALIDES, silver_potential_mV, silver_system
from titrator.chemistry.reactions import REACTIONS, KnownMedium, Reaction
from titrator.chemistry.redox_cell import RedoxCell
from titrator.chemistry.titration import Titration

S_mV = nernst_slope_per_decade_mV(25.0)
IDS = ["-".join((*r.analytes, r.titrant)).replace(" ", "_") for r in REACTIONS]
EVERY = pytest.mark.parametrize("reaction", REACTIONS, ids=IDS)

ACIDS = (ACETIC, CITRIC, PHOSPHORIC, CARBONIC, AMMONIUM)
ACID_BASE = acid_base_system(ACIDS, METALS, activity="davies")
CHARGES = {
    species.name: species.charge
    for pool in ACID_BASE.pools
    for species in pool.species
} | {"H+": 1, "OH-": -1}  # fmt: skip

AMOUNT_mol = st.one_of(st.floats(1e-12, 1e-6), st.floats(1e-6, 0.02))
STRENGTH = st.floats(1e-3, 0.5)
VOLUME_mL = st.floats(5.0, 500.0)
SHARES = (1e-3, 0.01, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99, 0.999, 1.0, 1.001, 1.01, 1.1, 1.3, 2.0, 3.0)


@dataclass
class Case:
    """A titration of the table: what was put in, its curve, and the potential that its indicator shows."""

    reaction: Reaction
    vessel_mol: dict[str, float]
    titrant_mol_per_L: dict[str, float]
    titration: Titration
    points_mL: list[float]
    shown: dict = field(default_factory=dict)

    def put_in(self, volume_mL):
        """Mol of everything that was put in after `volume_mL`, by species."""
        names = self.vessel_mol.keys() | self.titrant_mol_per_L.keys()
        return {
            name: self.vessel_mol.get(name, 0.0) + volume_mL / 1000 * self.titrant_mol_per_L.get(name, 0.0)
            for name in names
        }

    def potential_mV(self, volume_mL):
        """Of the ideal indicator, up to a constant: platinum, glass, silver, a membrane for the (first) metal."""
        if self.reaction.family == "complexation":
            return -S_mV / 2 * pM(self.titration, volume_mL, self.reaction.steps[0].species, self.shown["free"])
        p = self.titration.p(volume_mL)
        return {"redox": S_mV * p, "acid-base": -S_mV * p, "precipitation": silver_potential_mV(p)}[
            self.reaction.family
        ]

    def held(self, volume_mL):
        """Mol of every species at equilibrium."""
        found = self.titration.equilibrium(volume_mL)
        return self.titration.system.species_mol(self.titration.state(volume_mL), found.y, found.g)


def points_mL(reaction: Reaction, amounts_mol, strength):
    """Where the steps end, by the ratios of the table: each step's own amount, and what the steps before left over.

    In phosphoric acid and carbonate the product of the first step is what the second uses up.
    """
    passed_on = reaction.steps[0].species in ("H3PO4", "CO3-2")
    ends, total, before = [], 0.0, 0.0
    for step, amount in zip(reaction.steps, amounts_mol, strict=True):
        used = amount + (before if passed_on else 0.0)
        total += 1000.0 * used / step.analyte_per_titrant / strength
        before = used
        ends.append(total)
    return ends


def build(reaction: Reaction, medium: KnownMedium, amounts_mol, strength, volume_mL, *, pH=0.0, companions=0.0):
    """The titration in the engine: species and potentials of the table, counter-ions to match."""
    vessel = {step.species: amount for step, amount in zip(reaction.steps, amounts_mol, strict=True)}
    titrant, shown = {reaction.titrant_species: strength}, {}
    if reaction.family == "redox":
        couples = [*(step.couple for step in reaction.steps), reaction.titrant_couple]
        system = RedoxCell(list(zip(couples, reaction.potentials_V(medium.name), strict=True))).system.at_pH(pH)
        for recipe in (vessel, titrant):  # triiodide stands in an excess of iodide
            if "triiodide" in recipe:
                recipe["iodide"] = 4 * recipe["triiodide"] + companions
    elif reaction.family == "acid-base":
        system = ACID_BASE
        if reaction.analytes == ("free acid",):
            vessel |= {"Fe+3": 0.1 * companions, "Fe+2": companions, "Zn+2": 0.3 * companions}
        for recipe in (vessel, titrant):
            charge = math.fsum(CHARGES[name] * amount for name, amount in recipe.items())
            recipe["Cl-" if charge > 0 else "Na+"] = abs(charge)
    elif reaction.family == "precipitation":
        system = silver_system(HALIDES, activity="davies")
        vessel |= {"Na+": math.fsum(amounts_mol) + companions, "NO3-": companions}
        titrant |= {"NO3-": strength}
    else:
        chelate = next(c for c in chelates.CHELATES if c.metal == reaction.steps[0].species)
        ammonia = companions if medium.name == "ammonia buffer" else 0.0
        shown["log_K"] = conditional_log_K(chelate, pH, ammonia).value
        system = edta_system({chelate.metal: shown["log_K"]})
        shown["free"] = metal_fraction(chelate, pH, ammonia)
    titration = Titration(system, vessel, volume_mL, titrant)
    return Case(reaction, vessel, titrant, titration, points_mL(reaction, amounts_mol, strength), shown)


@st.composite
def cases(draw, reaction: Reaction):
    """Any vessel of a reaction in any medium of the table."""
    medium = draw(st.sampled_from(reaction.media))
    amounts = [draw(AMOUNT_mol) for _ in reaction.steps]
    pH = draw(st.floats(*medium.pH)) if medium.pH else draw(st.floats(-0.5, 2.0))
    companions = draw(st.one_of(st.just(0.0), st.floats(1e-6, 0.02)))
    return build(reaction, medium, amounts, draw(STRENGTH), draw(VOLUME_mL), pH=pH, companions=companions)


def plain(medium_of: Reaction, amount=0.002, strength=0.1, volume_mL=50.0, companions=0.0):
    """One ordinary vessel: 2 mmol of each analyte, 0.1 mol/L."""
    medium = medium_of.media[0]
    pH = sum(medium.pH) / 2 if medium.pH else 0.0
    return build(medium_of, medium, [amount] * len(medium_of.steps), strength, volume_mL, pH=pH, companions=companions)


def close(left, right, scale):
    """To 1e-9 of what there is, and to what doubles hold of the smallest amounts."""
    return abs(left - right) <= 1e-9 * scale + 1e-25


def masses(case: Case, held, put_in):
    """Each element's amount is what was put in: by pool of the system, units by the table of couples."""
    for pool in case.titration.system.pools:
        left = math.fsum(form.units * held[form.name] for form in pool.forms)
        right = math.fsum(form.units * put_in.get(form.name, 0.0) for form in pool.forms)
        # A solid holds what is not dissolved; doubles keep 1e-15 of it.
        assert close(left, right, right), pool.name


def electrons(case: Case, held, put_in):
    """What the analytes lost is what the titrant gained: Σ z·(oxidised now − oxidised put in) = 0."""
    moved, scale = [], 0.0
    for couple in (*(step.couple for step in case.reaction.steps), case.reaction.titrant_couple):
        moved.append(couple.electrons * (held[couple.oxidised] - put_in.get(couple.oxidised, 0.0)))
        scale += couple.electrons * (held[couple.oxidised] + put_in.get(couple.oxidised, 0.0))
    assert close(math.fsum(moved), 0.0, scale)


def charges(case: Case, held, put_in):
    """The solution is neutral, which the engine does not use as such; hydroxides that precipitate have no charge."""
    del case, put_in
    parts = [CHARGES.get(name, 0) * amount for name, amount in held.items()]
    assert close(math.fsum(parts), 0.0, math.fsum(map(abs, parts)))


def compounds(case: Case, held, put_in):
    """Silver, or EDTA, is free or bound one to one."""
    name = case.reaction.titrant_species
    bound = [amount for other, amount in held.items() if other.endswith(("(s)", "-EDTA"))]
    whole = put_in[name]
    scale = whole + 1e-5 * math.fsum(case.vessel_mol.values())  # what a solid leaves over is a difference
    assert close(held[name] + math.fsum(bound), whole, scale)


BALANCES = {"redox": electrons, "acid-base": charges, "precipitation": compounds, "complexation": compounds}


@EVERY
@settings(max_examples=25)
@given(st.data())
def test_balances_close_and_nothing_is_nan(reaction, data):
    case = data.draw(cases(reaction))
    for share in SHARES:
        volume_mL = share * case.points_mL[-1]
        assume(volume_mL > 0.0)
        held, put_in = case.held(volume_mL), case.put_in(volume_mL)
        assert all(math.isfinite(amount) and amount >= -1e-18 for amount in held.values())
        assert not math.isnan(case.potential_mV(volume_mL))
        masses(case, held, put_in)
        BALANCES[reaction.family](case, held, put_in)


@EVERY
@settings(max_examples=25)
@given(st.data())
def test_curves_are_monotone_in_the_direction_of_the_table(reaction, data):
    """`rising` says how the potential of the indicator goes; 1e-6 mV is what the search for the root leaves.

    Triiodide is the exception that the chemistry asks for: E goes with [I3−]/[I−]³, which dilution alone raises and
    iodide lowers, so its curves are asked as if the titrant took no room and brought triiodide only.
    """
    case = data.draw(cases(reaction))
    sign = 1 if reaction.rising else -1
    shown = sign * np.array([_undiluted_mV(case, share * case.points_mL[-1]) for share in SHARES])
    assert np.all(np.diff(shown) >= -1e-6)
    assert shown[-1] > shown[0]


def _undiluted_mV(case, volume_mL):
    """The potential; with iodine, at the start's volume and without the iodide that the titrant brings along."""
    pools = case.titration.system.pools
    if "triiodide/iodide" not in {pool.name for pool in pools}:
        return case.potential_mV(volume_mL)
    state = case.titration.state(volume_mL)
    brought_mol = case.titrant_mol_per_L.get("iodide", 0.0) * volume_mL / 1000
    amounts = [
        amount - (brought_mol if pool.name == "triiodide/iodide" else 0.0)
        for pool, amount in zip(pools, state.amounts_mol, strict=True)
    ]
    held = state._replace(amounts_mol=tuple(amounts), volume_mL=case.titration.start.volume_mL)
    return S_mV * case.titration.system.equilibrium(held).p


@EVERY
def test_the_curve_is_steepest_at_the_points_of_the_table(reaction):
    """The ratios of the table and the engine's balance, apart from each other, put the jumps in the same place.

    Within 0.5 %: where the jump of a weak acid or base is shallow its steepest point lies a little beside.
    """
    case = plain(reaction)
    for end_mL in case.points_mL:
        volumes_mL = end_mL * (1 + np.arange(-400, 401) / 10_000)
        slopes = np.abs(np.diff([case.potential_mV(v) for v in volumes_mL]))
        steepest_mL = volumes_mL[int(np.argmax(slopes))] + 0.5 * (volumes_mL[1] - volumes_mL[0])
        assert steepest_mL == pytest.approx(end_mL, rel=0.005)


@EVERY
def test_zero_analyte_is_the_titrant_alone(reaction):
    """The fewer mol of analyte, the nearer the curve of the titrant; redox by Nernst, for then no limit is finite."""
    volume_mL, strength = 1.0, 0.1
    case = plain(reaction, amount=1e-12, volume_mL=49.0)
    shown = case.potential_mV(volume_mL)
    if reaction.family == "redox":
        couple, formed = reaction.titrant_couple, case.held(volume_mL)
        assert shown == pytest.approx(_nernst_mV(reaction, couple, formed, 50.0), abs=1e-6)
        assert plain(reaction, amount=0.0, volume_mL=49.0).potential_mV(volume_mL) == pytest.approx(
            _without(reaction, shown), abs=1e-3
        )
        return
    if reaction.family == "complexation":
        assert plain(reaction, amount=0.0, volume_mL=49.0).potential_mV(volume_mL) == -math.inf
        assert case.titration.p(volume_mL) == pytest.approx(-math.log10(strength / 50), abs=1e-6)
        return
    assert shown == pytest.approx(plain(reaction, amount=0.0, volume_mL=49.0).potential_mV(volume_mL), abs=1e-4)


def _without(reaction, shown):
    """What the titrant alone shows: finite where it brings both forms of its couple (iodine in iodide), else ±inf."""
    if reaction.titrant == "iodine":
        return shown
    return math.inf if reaction.rising else -math.inf


def _nernst_mV(reaction, couple, held, volume_mL):
    """E° + S/z·log10([ox]/[red]^u) at pH 0, with the potential of the table."""
    concentration = {name: 1000 * amount / volume_mL for name, amount in held.items()}
    ratio = math.log10(concentration[couple.oxidised]) - couple.units * math.log10(concentration[couple.reduced])
    potentials = reaction.potentials_V(reaction.media[0].name)
    couples = [*(step.couple for step in reaction.steps), reaction.titrant_couple]
    return 1000 * potentials[couples.index(couple)] + S_mV / couple.electrons * ratio


@EVERY
@settings(max_examples=15)
@given(st.data())
def test_every_couple_obeys_nernst_at_one_potential(reaction, data):
    """Redox: each couple by itself, from its own species, gives the potential of the whole."""
    if reaction.family != "redox":
        return
    amounts = [data.draw(st.floats(1e-4, 0.01)) for _ in reaction.steps]
    case = build(reaction, reaction.media[0], amounts, data.draw(STRENGTH), data.draw(VOLUME_mL))
    volume_mL = data.draw(st.floats(0.1, 2.0)) * case.points_mL[-1]
    held, state = case.held(volume_mL), case.titration.state(volume_mL)
    for couple in (*(step.couple for step in reaction.steps), reaction.titrant_couple):
        if min(held[couple.oxidised], held[couple.reduced]) > 1e-250:  # else below what a double can tell apart
            expected_mV = _nernst_mV(reaction, couple, held, state.volume_mL)
            assert case.potential_mV(volume_mL) == pytest.approx(expected_mV, abs=1e-4)


@EVERY
def test_infinite_dilution(reaction):
    """Half-titrated in more and more water, up to 10⁹ mL: the limits that mass action leaves."""
    big_mL = 1e9
    case = plain(reaction, volume_mL=big_mL, amount=1e-9)
    half_mL = 0.5 * case.points_mL[0]
    held, litres = case.held(half_mL), (big_mL + half_mL) / 1000
    if reaction.family == "acid-base":
        # Pure water: half of pKw, 13.997 on the molar scale (IAPWS R11-07).
        assert case.titration.p(half_mL) == pytest.approx(13.997 / 2, abs=0.0005)
    elif reaction.family == "precipitation":
        assert all(amount == 0.0 for name, amount in held.items() if name.endswith("(s)"))
        added = 0.1 * half_mL / 1000 / litres
        assert case.titration.p(half_mL) == pytest.approx(-math.log10(added), abs=1e-3)
    elif reaction.family == "complexation":
        # What is bound falls with dilution: by mass action never more than K''·c of the metal.
        metal, added = reaction.steps[0].species, 0.1 * half_mL / 1000 / litres
        bound = 10 ** case.shown["log_K"] * held["EDTA"] / litres
        assert held[f"{metal}-EDTA"] == pytest.approx(held[metal] * bound, rel=1e-9)
        assert held[f"{metal}-EDTA"] <= 10 ** case.shown["log_K"] * added * case.vessel_mol[metal]
    else:
        # Couples of one unit on either side do not feel dilution: the same as in 50 mL.
        couples = [*(step.couple for step in reaction.steps), reaction.titrant_couple]
        near = plain(reaction)
        if all(couple.units == 1 for couple in couples):
            assert case.potential_mV(half_mL) == pytest.approx(near.potential_mV(0.5 * near.points_mL[0]), abs=1e-3)
        else:
            assert math.isfinite(case.potential_mV(half_mL))
            electrons(case, held, case.put_in(half_mL))
