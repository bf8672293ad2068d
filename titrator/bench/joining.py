"""What is told when a session of a run begins."""

from typing import NamedTuple

from titrator.bench.motions import Ended


class Joined(NamedTuple):
    """A session of a run has begun: what a record needs to tell of it, so that the run can be gone on with.

    `steps` is the board's count, `home` where its home switch last closed (None: not known), `base_ms` what is added to
    the board's milliseconds. `counting_since`: the start of the board with which its count began.
    `reset`: the board restarted since the session before, and `within` more steps may be
    wrong. `ended` is the end of a motion that was not known before; `baseline` the board's newest dose before the run.
    """

    t_s: float
    session: int
    boot: int
    steps: int
    home: int | None
    base_ms: int
    counting_since: int
    within_on_board: int
    baseline: tuple[int, int]
    reset: bool = False
    within: int = 0
    ended: Ended | None = None
