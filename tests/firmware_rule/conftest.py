"""The C of the rule, compiled once. Where the compiler is missing these tests fail, with how to install it."""

import shutil

import pytest
from studies import study_module


@pytest.fixture(scope="session")
def study():
    """benchmarks/decisions_in_c.py."""
    return study_module("decisions_in_c")


@pytest.fixture(scope="session")
def program(study, tmp_path_factory):
    """The program that replays decisions."""
    if shutil.which("gcc") is None:
        pytest.fail("gcc is missing; as root: apt-get install gcc libc6-dev")
    return study.compiled(tmp_path_factory.mktemp("replay"))


@pytest.fixture(scope="session")
def sizes(study, program):
    """Sizes in bytes by the structures' names."""
    return {name: int(size) for name, size in study.replayed(program, ["sizes"])}
