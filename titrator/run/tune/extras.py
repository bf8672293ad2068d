"""Libraries that only tuning uses: extras, named with their install command where they are missing."""

from __future__ import annotations

from titrator.files import InputProblem


class MissingExtraError(InputProblem):
    """A library that is an extra is not installed."""

    def __init__(self, what: str, library: str, extra: str) -> None:
        super().__init__(
            f"{what}: expected the library {library}, got none. Install it: pip install 'titrator[{extra}]'"
        )
