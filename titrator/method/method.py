"""The method file as a whole."""

from typing import Literal

from pydantic import Field

from titrator.files import StrictModel
from titrator.files.texts import Text
from titrator.method.additions import Additions
from titrator.method.cautions import Cautions
from titrator.method.electrode import Electrode
from titrator.method.ends_when import EndsWhen
from titrator.method.find import Find
from titrator.method.medium import Medium
from titrator.method.reaction import Reaction
from titrator.method.reading import Reading
from titrator.method.rehearsal import Rehearsal
from titrator.method.result import Result
from titrator.method.sample import Sample
from titrator.method.titrant import Titrant
from titrator.method.vessel import Vessel


class Method(StrictModel):
    """A method: everything about a titration that does not depend on the bench it runs on."""

    format: Literal[1] = Field(description="Version of this file's format: 1.")
    name: Text = Field(description="Name of the method, shown in reports and used in the names of run folders.")
    rehearsal: Rehearsal = Field(
        default=Rehearsal(), description="Simulated cell and rig for a dry run, so that it needs no options."
    )
    reaction: Reaction = Field(description="Analyte, titrant and the ratio in which they react.")
    titrant: Titrant = Field(description="The solution in the burette.")
    sample: Sample = Field(description="The portion of sample in the vessel.")
    medium: Medium = Field(description="The acid added to it.")
    electrode: Electrode = Field(description="Indicator and reference electrode, and where a titration may start.")
    vessel: Vessel = Field(description="The vessel, and the liquid in it at the start.")
    additions: Additions = Field(description="The rule by which titrant is added.")
    reading: Reading = Field(description="What is known of electrode and stirring, and how long to wait.")
    ends_when: EndsWhen = Field(description="What ends the titration, whichever comes first.")
    find: Find = Field(description="What is sought on the curve.")
    result: Result = Field(description="What is reported.")
    cautions: Cautions = Field(description="What is shown, and has to be acknowledged, before a start.")
