"""Section `rehearsal`: what a dry run uses in place of a bench."""

from pydantic import Field

from titrator.files import StrictModel
from titrator.files.texts import FilePath


class Rehearsal(StrictModel):
    """Cell and rig of a dry run."""

    cell: FilePath | None = Field(
        None, description="The simulated cell: a file, seen from the folder of the method file. `--cell` overrides it."
    )
    rig: FilePath | None = Field(
        None, description="The simulated rig: a file, seen from the folder of the method file. `--rig` overrides it."
    )
