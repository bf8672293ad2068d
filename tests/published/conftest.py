"""USGS PHREEQC as an oracle: an independent geochemical code with the same constants (small_phreeqc.dat)."""

import math
import re
from pathlib import Path

import pytest
from phreeqc import Phreeqc

DATABASE = Path(__file__).parent / "data" / "small_phreeqc.dat"
NERNST_V = 8.314462618 * 298.15 / 96485.33212 * math.log(10)
"""The slope per decade at 25 °C in V, from CODATA."""

# Constants that a test may change: pKw (molar scale), log10 K of the couples and complexes.
CONSTANTS = {
    "PKW": 13.997,
    "OXYGEN": -86.08,
    "HYDROGEN": -3.15,
    "FE": -0.771 / NERNST_V,
    "HYDROLYSIS": 0.0,  # added to the hydrolysis constants of iron(III); −30 takes them out
    "CE": -1.44 / NERNST_V,
    "MN": -5 * 1.51 / NERNST_V,
    "CR": -6 * 1.33 / NERNST_V,
    "CAY": 10.65,
    "MGY": 8.79,
}


class Oracle:
    """Two solutions mixed in PHREEQC: the vessel, and f litres of titrant; one row of answers for each mixture."""

    def __init__(self, *, formal: bool = False, **constants: float) -> None:
        text = DATABASE.read_text(encoding="utf-8")
        values = CONSTANTS | constants

        def filled(found: re.Match) -> str:
            shift = float(found[2]) + values["HYDROLYSIS"] if found[2] else 0.0
            return repr(values[found[1]] + shift)

        text = re.sub(r"@([A-Z]+)([-+][\d.]+)?@", filled, text)
        if formal:
            lines = [line for line in text.splitlines() if "-gamma" not in line]
            head, species, tail = re.split(r"^(?:SOLUTION_SPECIES|PHASES)$", "\n".join(lines), flags=re.MULTILINE)
            species = re.sub(r"(log_k .*)", r"\1\n\t-gamma 1e10 0", species)
            text = f"{head}SOLUTION_SPECIES{species}PHASES{tail}"
        self._code = Phreeqc()
        assert self._code.LoadDatabaseString(text) == 0, self._code.GetErrorString()
        self._code.SetSelectedOutputStringOn(True)

    def solutions(self, vessel: str, titrant: str, punch: str, volume_mL: float) -> None:
        """Define the vessel (its water is `volume_mL` g) and 1 kg of titrant; `punch` names what is asked for."""
        headings = " ".join("abcdefgh"[: punch.count(",") + 1])
        self._run(
            f"SOLUTION 1\n-water {volume_mL / 1000!r}\n-units mol/kgw\ntemp 25\n{vessel}\n"
            f"SOLUTION 2\n-water 1\n-units mol/kgw\ntemp 25\n{titrant}\n"
            "SELECTED_OUTPUT\n-reset false\n-high_precision true\n"
            f"USER_PUNCH\n-headings {headings}\n-start\n10 PUNCH {punch}\n-end\nEND\n"
        )

    def mixtures(self, volumes_mL, phases: str = "") -> list[tuple[float, ...]]:
        """The row of each mixture with `volumes_mL` of titrant (its water in g), solids at equilibrium if named."""
        solids = f"EQUILIBRIUM_PHASES 1\n{phases}\n" if phases else ""
        self._run("".join(f"MIX 1\n1 1.0\n2 {volume / 1000!r}\n{solids}END\n" for volume in volumes_mL))
        code = self._code
        columns = range(code.GetSelectedOutputColumnCount())
        rows = [
            tuple(code.GetSelectedOutputValue(row, column) for column in columns)
            for row in range(1, code.GetSelectedOutputRowCount())
        ]
        assert len(rows) == len(volumes_mL)
        return rows

    def _run(self, text: str) -> None:
        assert self._code.RunString(text) == 0, self._code.GetErrorString()


@pytest.fixture
def phreeqc():
    """The class of the oracle: a test makes one with the constants it needs."""
    return Oracle
