"""Redox couples beside iron and cerium, with their potentials by medium and the source of each.

Potentials in V against SHE at 25 °C. A couple that takes up H+ shifts by protons/electrons · 59.16 mV per unit of pH;
its tabulated potential is for pH 0. Where a medium is named "standard" the value is thermodynamic; a redox cell uses it
as if formal, without activity coefficients, as the page of the redox chemistry says.
"""

from titrator.chemistry.couples import CERIUM, IRON, Couple, Potential

_TEXTBOOK = "a textbook's table of formal potentials (by its layout that of Skoog et al.)"
_MEMORY = "common tables"

TIN = Couple(
    "tin(IV)",
    "tin(II)",
    2,
    (
        Potential(0.139, "1 mol/L hydrochloric acid", "formal", "a worked solution to Harris"),
        Potential(0.154, "standard", "thermodynamic", _MEMORY, "from memory"),
    ),
    exchange=1e-3,
)
PERMANGANATE = Couple(
    "permanganate",
    "manganese(II)",
    5,
    (Potential(1.51, "standard", "thermodynamic", _TEXTBOOK),),
    protons=8,
    exchange=1e-4,
)
DICHROMATE = Couple(
    "dichromate",
    "chromium(III)",
    6,
    (
        Potential(1.33, "standard", "thermodynamic", _TEXTBOOK),
        Potential(1.00, "1 mol/L hydrochloric acid", "formal", _MEMORY, "from memory"),
        Potential(1.15, "4 mol/L sulfuric acid", "formal", _MEMORY, "from memory"),
    ),
    protons=14,
    units=2,
    exchange=1e-4,
)
TRIIODIDE = Couple(
    "triiodide",
    "iodide",
    2,
    (Potential(0.536, "standard", "thermodynamic", _MEMORY, "from memory"),),
    units=3,
)
TETRATHIONATE = Couple(
    "tetrathionate",
    "thiosulfate",
    2,
    (Potential(0.08, "standard", "thermodynamic", _MEMORY, "from memory"),),
    units=2,
    exchange=1e-5,
)
DEHYDROASCORBIC = Couple(
    "dehydroascorbic acid",
    "ascorbic acid",
    2,
    # Two protons as long as ascorbic acid keeps its own (below pH 4.1).
    (Potential(0.390, "standard", "thermodynamic", _MEMORY, "from memory"),),
    protons=2,
    exchange=1e-4,
)
QUINHYDRONE = Couple(
    "benzoquinone",
    "hydroquinone",
    2,
    # 699.2 mV at pH 0: the constant behind the check solutions of quinhydrone.
    (Potential(0.6992, "standard", "thermodynamic", _MEMORY, "from memory"),),
    protons=2,
)
HEXACYANOFERRATE = Couple(
    "hexacyanoferrate(III)",
    "hexacyanoferrate(II)",
    1,
    (
        Potential(0.428, "0.1 mol/L potassium chloride", "formal", "a handbook of methods, ZoBell's solution, 25 °C"),
        Potential(0.43028, "ZoBell's solution after Nordstrom", "formal", "D. K. Nordstrom 1977", "from memory"),
    ),
)

ALL_COUPLES: dict[str, Couple] = {
    couple.name: couple
    for couple in (
        IRON, CERIUM, TIN, PERMANGANATE, DICHROMATE, TRIIODIDE, TETRATHIONATE, DEHYDROASCORBIC, QUINHYDRONE,
        HEXACYANOFERRATE,
    )
}  # fmt: skip
"""Every couple by its name, "tin(IV)/tin(II)"."""
