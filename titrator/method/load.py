"""From a method file to a Method."""

from pathlib import Path

from titrator.files import load
from titrator.method.meaning import CHECKS
from titrator.method.method import Method


def load_method(path: str | Path) -> Method:
    """Read a method file and check what it means. Raises FileProblem with every problem, in order of line."""
    return load(path, Method, across=CHECKS)
