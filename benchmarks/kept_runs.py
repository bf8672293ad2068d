"""Runs that a long study keeps in a file of JSON lines, and the sources that they were made with."""

import hashlib
import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]


def digest(patterns: Iterable[str]) -> str:
    """Of every file of the repository that a run depends on."""
    paths = sorted(path for pattern in patterns for path in ROOT.glob(pattern))
    told = "".join(f"{path.relative_to(ROOT)} {hashlib.sha256(path.read_bytes()).hexdigest()}\n" for path in paths)
    return hashlib.sha256(told.encode()).hexdigest()[:16]


def kept(path: Path) -> Iterator[dict[str, Any]]:
    """What stands in the file, if there is one; a torn last line is nothing."""
    if not path.exists():
        return
    for line in path.read_text(encoding="utf-8").splitlines():
        try:
            yield json.loads(line)
        except json.JSONDecodeError:
            continue


def put_out(text: str, table: Path | str) -> None:
    """Write a page to a file, or print it where that is called "-"."""
    if str(table) == "-":
        print(text)
    else:
        Path(table).write_text(text, encoding="utf-8")
