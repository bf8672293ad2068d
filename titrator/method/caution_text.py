"""The cautions of a method in words: hazards of its substances, what to wear, where the waste goes.

Suppliers differ; the safety data sheet in hand comes first, and the text says so.
"""

from __future__ import annotations

from titrator.chemistry.interferences import interferences
from titrator.method.hazards import Band, Hazard, hazard_file
from titrator.method.method import Method


def cautions_text(method: Method) -> list[str]:
    """Return the cautions of a method, a line each: hazards, protection and waste, the laboratory's notes, general."""
    file = hazard_file()
    table, statements = file.substances, file.statements
    lines = []
    wastes: dict[str, None] = {}  # in order, each once
    for substance in method.cautions.substances:
        hazard = table[substance.name]
        band = hazard.band(substance.concentration_mol_per_L)
        lines.append(f"{_named(substance.name, substance.concentration_mol_per_L, hazard)}: {_classified(band)}.")
        if band is not None:
            lines.extend(f"  {code} {statements[code]}" for code in band.statements)
        lines.append(f"  Source: {hazard.source}")
        lines.extend(f"  {each}" for each in hazard.handling)
        wastes[hazard.waste] = None
    lines.extend(f"Waste: {waste}" for waste in wastes)
    lines.extend(_disturbances(method))
    lines.extend(method.cautions.notes)
    lines.extend(file.general)
    return lines


def _disturbances(method: Method) -> list[str]:
    """Return what else the sample contains that disturbs without being refused."""
    known, medium = method.reaction.known, method.medium
    assert known is not None  # a method with another reaction is not loaded
    found = interferences(known, medium.name, medium.reagents, method.sample.contains)
    return [f"The sample contains {companion}: {does.why} ({does.source})." for companion, does in found]


def _named(name: str, concentration_mol_per_L: float | None, hazard: Hazard) -> str:
    if concentration_mol_per_L is None:
        return name
    if hazard.density is None:
        return f"{name}, {concentration_mol_per_L:g} mol/L"
    percent = 100 * hazard.density.mass_fraction(concentration_mol_per_L)
    return f"{name}, {concentration_mol_per_L:g} mol/L (about {percent:.1f} % by mass)"


def _classified(band: Band | None) -> str:
    if band is None or not band.statements:
        return "not classified as hazardous"
    signs = f" ({', '.join(band.pictograms)})" if band.pictograms else ""
    return f"{band.signal}{signs}" if band.signal != "none" else f"no signal word{signs}"
