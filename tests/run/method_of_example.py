"""Method files with the titrant and sample of a published example; all else is a method of the demonstration."""

from pathlib import Path

from titrator.method import Method, load_method

ACETIC = Path(__file__).parents[2] / "configs" / "methods" / "acetic_acid.yaml"


def method_with(folder: Path, edits: dict[str, str]) -> Method:
    """Write the acetic acid method with sections replaced, and load it; each section ends at an empty line."""
    text = ACETIC.read_text("utf-8").replace("../", f"{ACETIC.parents[1]}/")
    text = text.replace("sodium hydroxide, concentration: 0.1 mol/L", "sodium hydroxide, concentration: 0.11 mol/L")
    lines = [line for line in text.splitlines() if not line.lstrip().startswith("#")]
    blocks = {block.split(":")[0].strip(): block for block in "\n".join(lines).split("\n\n") if block.strip()}
    blocks.update({section: f"{section}:{body}" for section, body in edits.items()})
    path = folder / "method.yaml"
    path.write_text("\n\n".join(blocks.values()) + "\n", "utf-8")
    return load_method(path)
