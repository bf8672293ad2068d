"""The table of keys in a file's documentation, made from its model so that the two cannot differ.

`python -m titrator.files.key_table titrator.method.method:Method docs/method-file.md` writes it anew between the two
marks in the document.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from titrator.files.keys import documented_keys, models_in
from titrator.files.quantities import Plain, Quantity
from titrator.files.texts import Hexadecimal, RelativePath, Words

BEGIN: Final = "<!-- keys: written by titrator.files.key_table -->"
END: Final = "<!-- end of keys -->"


def key_table(model: type[BaseModel]) -> str:
    """Return the keys of a model as a Markdown table: key, what it takes, whether it must be there, what it means."""
    fields: dict[str, list[FieldInfo]] = {}
    for key in documented_keys(model):  # variants share keys such as `rule`: the first one explains it
        fields.setdefault(key.name, []).append(key.field)
    lines = ["| key | takes | must be there | meaning |", "| --- | --- | --- | --- |"]
    for name, variants in fields.items():
        takes = " or ".join(dict.fromkeys(_takes(field) for field in variants))
        must = "yes" if variants[0].is_required() else "no"
        lines.append(f"| `{name}` | {takes} | {must} | {variants[0].description} |")
    return "\n".join(lines)


def refreshed(document: str, model: type[BaseModel]) -> str:
    """Return the document with the table between its marks written anew. Raises ValueError without the marks."""
    head, mark, rest = document.partition(BEGIN)
    _, end, tail = rest.partition(END)
    if not mark or not end:
        raise ValueError(f"expected the lines {BEGIN} and {END} in the document, got none")
    return f"{head}{BEGIN}\n{key_table(model)}\n{END}{tail}"


def _takes(field: FieldInfo) -> str:
    listed = any(get_origin(part) is tuple for part in (field.annotation, *get_args(field.annotation)))
    return f"a list: {_taken(field)} each" if listed else _taken(field)


def _taken(field: FieldInfo) -> str:
    for annotation in _parts(field):
        if isinstance(annotation, Quantity):
            return f"{annotation.dimension.name}, `{annotation.dimension.example}`"
        if isinstance(annotation, Plain):
            return "a whole number" if annotation.whole else "a number"
        if isinstance(annotation, Words):
            return "text"
        if isinstance(annotation, Hexadecimal):
            return '8 hexadecimal digits, `"51301a7e"`'
        if isinstance(annotation, RelativePath):
            return "a path"
        if get_origin(annotation) is Literal:
            return ", ".join(f"`{choice}`" for choice in get_args(annotation))
        if annotation is bool:
            return "`true` or `false`"
    return "a section"


def _parts(field: FieldInfo) -> Iterator[Any]:
    """Yield what an annotation is made of: its metadata, and the parts of unions and lists."""
    yield from field.metadata
    if not models_in(field.annotation):
        yield from _inner(field.annotation)


def _inner(annotation: Any) -> Iterator[Any]:
    yield annotation
    for part in getattr(annotation, "__metadata__", ()):
        yield part
    if get_origin(annotation) is not Literal:
        for part in get_args(annotation):
            yield from _inner(part)


def main(arguments: list[str]) -> None:
    """Write the table of `MODULE:MODEL` into a document."""
    where, document = arguments
    module, _, name = where.partition(":")
    path = Path(document)
    path.write_text(refreshed(path.read_text("utf-8"), getattr(importlib.import_module(module), name)), "utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
