"""Where the board is that the conformance suite speaks to."""

import itertools
import secrets

import pytest
from board_host import BoardHost
from board_places import placed


def pytest_addoption(parser):
    parser.addoption(
        "--board",
        metavar="ADDRESS",
        help="hold this board to the wire's specification instead of the simulated ones: a serial port such as "
        "/dev/ttyACM0 or an address such as socket://127.0.0.1:4717. Its motor will move",
    )


def pytest_generate_tests(metafunc):
    if "place" in metafunc.fixturenames:
        address = metafunc.config.getoption("--board", default=None)
        names = [address] if address else ["memory", "pty", "tcp"]
        metafunc.parametrize("place", names, indirect=True, scope="module")


@pytest.fixture(scope="module")
def place(request):
    with placed(request.param) as at:
        at.any_board = request.param not in {"memory", "pty", "tcp"}
        # A board remembers the sessions of earlier tests: each has its own, and so has each run of this suite.
        at.sessions = itertools.count(1 + (secrets.randbits(31) if at.any_board else 0xBEEF))
        yield at


@pytest.fixture
def host(place):
    """A host with a session of its own that nobody has opened yet."""
    host = BoardHost(place.open(), next(place.sessions))
    yield host
    host.boot = None
    host.open(next(place.sessions))  # ends what moves and streams
    host.close()
