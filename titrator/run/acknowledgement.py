"""Cautions that were acknowledged: once for each content of a method, person and day.

Remembered in one small file of the user's, `titrator/acknowledged.json` in the state folder of the XDG base directory
specification ($XDG_STATE_HOME, by default ~/.local/state). Losing it costs one more question.
"""

from __future__ import annotations

import contextlib
import datetime
import json
import os
import tempfile
from pathlib import Path


def state_folder() -> Path:
    """The user's folder for what a program remembers from run to run."""
    named = os.environ.get("XDG_STATE_HOME", "")
    base = Path(named) if named.startswith("/") else Path.home() / ".local" / "state"  # relative ones are to be ignored
    return base / "titrator"


class Acknowledgements:
    """What was acknowledged on `today`; anything older, or a file that cannot be read, counts for nothing."""

    def __init__(self, today: datetime.date, folder: Path | None = None) -> None:
        self._day = today.isoformat()
        self._path = (folder or state_folder()) / "acknowledged.json"

    def has(self, method_sha256: str, person: str) -> bool:
        """Whether `person` acknowledged the cautions of this method content on this day."""
        return [method_sha256, person, self._day] in self._read()

    def add(self, method_sha256: str, person: str) -> None:
        """Remember it. OSError when it cannot be written; then the next run asks again."""
        entries = [entry for entry in self._read() if entry[2] == self._day]
        entry = [method_sha256, person, self._day]
        if entry in entries:
            return
        self._path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        # A file of its own, then renamed: a second run at the same moment never reads half of it. Made mode 0600.
        handle, name = tempfile.mkstemp(dir=self._path.parent, prefix="acknowledged-")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                json.dump({"format": 1, "acknowledged": [*entries, entry]}, file, indent=1)
            Path(name).replace(self._path)
        except OSError:
            with contextlib.suppress(OSError):
                Path(name).unlink()
            raise

    def _read(self) -> list[list[str]]:
        try:
            document = json.loads(self._path.read_text(encoding="utf-8"))
            entries = document["acknowledged"] if document["format"] == 1 else []
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            return []
        return (
            [entry for entry in entries if isinstance(entry, list) and len(entry) == 3]
            if isinstance(entries, list)
            else []
        )
