"""How strong a base is at each point: carbonate in it takes one proton at an alkaline point and two at an acid one.

With the share s of a base's alkalinity that is carbonate, 1 mol of alkalinity takes up 1 - s/2 mol of protons where
carbonate stops as hydrogen carbonate (acetic acid, hydrogen phthalate) and 1 mol where it becomes carbonic acid (a
strong acid, the first point of phosphoric acid): the charge balance of sodium, hydroxide and carbonate.
"""

from __future__ import annotations

from titrator.chemistry.acids import ABOVE_PH_7
from titrator.chemistry.formula import atoms
from titrator.evaluate.evaluation import Evaluation, FitParameter
from titrator.evaluate.measurement import Part, model_of
from titrator.evaluate.quantity import Quantity
from titrator.evaluate.results import own_name
from titrator.method import Method
from titrator.method.titrant import Titrant
from titrator.run.potentials import CARBONATE_SD

SOURCE = "carbonate in the titrant"
FOUND_SHARE = 0.5
"""A share whose uncertainty is more than this part of what was known before is not found by the curve."""
STRONG_STANDARDS = ("H3NSO3", "KH(IO3)2")
"""Sulfamic acid and potassium hydrogen diiodate: standards with an acid point. The others of a base are weak acids."""


def strengths(method: Method, evaluation: Evaluation, label: str = "") -> list[Part]:
    """Return the titrant's strength at each step of the method over the stated one; none where it is 1 throughout.

    A concentration that is only stated is taken as found with a weak acid, at an alkaline point (common practice), as
    potassium hydrogen phthalate is titrated. The share is that which the fit of the whole curve found, a source of the
    run's own; where no curve shows it, none with what is known before, which all runs share.
    """
    reaction = method.reaction.known
    if reaction is None or reaction.titrant != "hydroxide":
        return []
    share: Quantity | None = None
    told: list[Part] = []
    for step in reaction.steps:
        idle = step.analyte in ABOVE_PH_7
        if idle == _idle_when_standardised(method.titrant):
            told.append(1.0)
            continue
        share = share or _share(evaluation, label)
        alkaline = 1.0 - 0.5 * model_of(share)
        told.append(alkaline if idle else 1.0 / alkaline)
    return told


def _idle_when_standardised(titrant: Titrant) -> bool:
    """Return whether carbonate took up one proton only where the concentration was found; weighed, all of it counts."""
    if titrant.prepared is not None:
        return False
    if titrant.standardised is None or titrant.standardised.molar_mass is not None:
        return True
    standard = atoms(titrant.standardised.standard)
    return standard not in [atoms(each) for each in STRONG_STANDARDS]


def _share(evaluation: Evaluation, label: str) -> Quantity:
    found: list[FitParameter] = [
        each for fit in evaluation.fits for each in fit.parameters if each.name == "carbonate_share"
    ]
    if found and found[0].u < FOUND_SHARE * CARBONATE_SD:
        return Quantity(own_name(SOURCE, label), found[0].value, found[0].u)
    return Quantity(SOURCE, 0.0, CARBONATE_SD)
