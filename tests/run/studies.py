"""Modules of benchmarks/, for the tests that run a smaller part of a study."""

import importlib
import sys
from pathlib import Path

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"


def study_module(name):
    """A module of benchmarks/, whose folder is on the path only while it is loaded: it has names of packages in it."""
    sys.path.insert(0, str(BENCHMARKS))
    try:
        return importlib.import_module(name)
    finally:
        sys.path.remove(str(BENCHMARKS))
