"""Files as people write them: strict YAML, quantities with units, and errors that say where.

Imports nothing of ours. Method, rig and cell files are all read through `load`.
"""

from titrator.files.load import load, located
from titrator.files.models import Finding, StrictModel, UncertainConcentration, UncertainNumber, UncertainVolume
from titrator.files.problems import FileProblem, InputProblem, Problem
from titrator.files.strict_yaml import Document, read_yaml

__all__ = [
    "Document",
    "FileProblem",
    "Finding",
    "InputProblem",
    "Problem",
    "StrictModel",
    "UncertainConcentration",
    "UncertainNumber",
    "UncertainVolume",
    "load",
    "located",
    "read_yaml",
]
