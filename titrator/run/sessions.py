"""Numbers of sessions: each run has another, so that what was meant for one can do nothing in the next."""

from __future__ import annotations

from random import Random, SystemRandom


def session_from(random: Random) -> int:
    """A session number, 1 to 4294967295, drawn from `random`."""
    return random.randrange(1, 1 << 32)


def new_session() -> int:
    """A session number that nobody foresees."""
    return session_from(SystemRandom())
