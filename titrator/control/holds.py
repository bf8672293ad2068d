"""Why a run is held, and where it was when it was held."""

from __future__ import annotations

import enum
from typing import NamedTuple

from titrator.control.states import State


class HoldCause(enum.Enum):
    """Who or what asked for rest. The values are the words of the journal."""

    OPERATOR = "operator"
    QUESTION = "question"
    LINK = "link"


class Hold(NamedTuple):
    """A run at rest until somebody lets it go on; `came_from` is the state in which it was told to rest."""

    cause: HoldCause
    came_from: State


class Question(NamedTuple):
    """Something that only a person at the bench can know. The answer is yes or no; no ends the run.

    `number` counts the questions of a run from 1, so that a late answer is not taken for another question's.
    """

    number: int
    text: str
