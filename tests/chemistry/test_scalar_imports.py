"""The scalar chemistry answers without numpy: `titrator check` and a simulated cell need not load it."""

import subprocess
import sys

SCALAR = (
    "acid_base", "acids", "activity", "balance", "chelates", "complexation", "constants", "couple_table", "couples",
    "pools", "precipitation", "redox", "redox_cell", "references", "side_reactions", "sourced", "system", "titration",
    "water",
)  # fmt: skip


def test_scalar_modules_do_not_import_numpy():
    imports = "; ".join(f"import titrator.chemistry.{name}" for name in SCALAR)
    answer = subprocess.run([sys.executable, "-c", f"{imports}; import sys; print('numpy' in sys.modules)"], capture_output=True, text=True, check=True)  # fmt: skip # noqa: E501
    assert answer.stdout.strip() == "False"
