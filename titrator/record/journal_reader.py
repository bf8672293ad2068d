"""Reading a journal: the chain is checked, a torn last line is recognised, everything before it is kept."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from titrator.files import InputProblem
from titrator.record.journal import FIRST_PREV, Behind
from titrator.record.lines import misfits

_SHOWN: Final = 60
"""So many bytes of a line that is none are shown."""


class JournalDamagedError(InputProblem):
    """A line is not what this program writes: the record cannot be trusted from there on."""


@dataclass(frozen=True, slots=True)
class JournalContents:
    """The lines in order, what was found of a torn last line (empty when there is none), and where to go on."""

    lines: tuple[dict[str, Any], ...]
    torn_tail: bytes
    behind: Behind

    def of_kind(self, kind: str) -> list[dict[str, Any]]:
        """All lines of one kind, in order."""
        return [line for line in self.lines if line["kind"] == kind]


def read_journal(path: Path) -> JournalContents:
    """Read and check `path`: chain and fields. Raises `OSError` when it cannot be read, else `JournalDamagedError`.

    Only the last line may be torn (a power cut in the middle of a write); it is handed back, not believed. A journal
    without any whole line is no damage: a run may have been cut off there.
    """
    raw_lines = path.read_bytes().split(b"\n")
    torn = raw_lines.pop()  # what stands behind the last newline: nothing, or a torn line
    lines: list[dict[str, Any]] = []
    prev = FIRST_PREV
    size = 0
    for position, raw in enumerate(raw_lines):
        line = _parse(raw)
        last = position == len(raw_lines) - 1
        if line is None and last and not torn:
            torn = raw + b"\n"
            break
        if line is None or line.get("n") != position or line.get("prev") != prev:
            raise JournalDamagedError(
                f"{path}:{position + 1}: {_broken_chain(position, raw, line)}: the file was changed after it was "
                f"written. Use a copy that was not changed"
            )
        lines.append(line)
        prev = hashlib.sha256(raw).hexdigest()
        size += len(raw) + 1
    for line in lines:  # behind the chain: a changed byte is told as what it is
        _check_fields(path, line)
    return JournalContents(tuple(lines), torn, Behind(len(lines), size, prev))


def _check_fields(path: Path, line: dict[str, Any]) -> None:
    position = line["n"]
    wrong = next(misfits(line), None)
    if (line["kind"] == "run") != (position == 0):
        wrong = f"kind: expected `run` in the first line and nowhere else, got {line['kind']!r}"
    if wrong is not None:
        raise JournalDamagedError(
            f"{path}:{position + 1}: {wrong} (in a line of kind {line['kind']!r}). Use the journal as it was written"
        )


def _broken_chain(position: int, raw: bytes, line: dict[str, Any] | None) -> str:
    """What is wrong with a line that does not follow the one before it, in words that can be read on one line."""
    if line is None:
        text = "".join(sign if sign.isprintable() else "·" for sign in raw[:_SHOWN].decode(errors="replace"))
        cut = f" … ({len(raw)} bytes)" if len(raw) > _SHOWN else ""
        return f"expected line {position} of the journal as JSON with its kind and time, got `{text}`{cut}"
    if line.get("n") != position:
        return f"expected line {position} of the journal, got a line with the number {str(line.get('n'))[:_SHOWN]}"
    return (
        f"expected line {position} of the journal chained to the line before by its SHA-256, got another one in "
        f"`prev`: this line or the one before is not as it was"
    )


def _parse(raw: bytes) -> dict[str, Any] | None:
    try:
        line = json.loads(raw)
    except (ValueError, RecursionError):
        return None
    if isinstance(line, dict) and isinstance(line.get("kind"), str) and isinstance(line.get("t_ms"), int):
        return line
    return None
