"""The JSON Schema of a file, for editors that complete and check while one writes.

It follows draft 2020-12 (https://json-schema.org/draft/2020-12/schema). A schema can tell keys, units and signs, not
what keys mean together: a file that it takes may still be refused by `titrator check`, never the other way round.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Final

from titrator.files.models import StrictModel

DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"


def json_schema(model: type[StrictModel], title: str) -> dict[str, Any]:
    """Return the schema of a file of this model."""
    plain = _tidied(model.model_json_schema(by_alias=True))
    return {"$schema": DIALECT, **plain, "title": title}


def one_of(choices: Callable[[], Iterable[str]]) -> Callable[[dict[str, Any]], None]:
    """For `Field(json_schema_extra=…)`: tell editors the words of a table that the model itself only checks later.

    The table is read when a schema is asked for, not before.
    """

    def extend(schema: dict[str, Any]) -> None:
        told = next((choice for choice in schema.get("anyOf", ()) if choice != {"type": "null"}), schema)
        told = told["items"] if told.get("type") == "array" else told
        told["enum"] = list(dict.fromkeys(choices()))

    return extend


def _tidied(schema: Any, *, names: bool = False) -> Any:
    """Drop what pydantic adds that our files do not mean: null for a key left out, titles, defaults in our own units.

    names: the schema is a table of schemas by name (a file may have keys called `default` and `title`).
    """
    if isinstance(schema, list):
        return [_tidied(part) for part in schema]
    if not isinstance(schema, dict):
        return schema
    if names:
        return {name: _tidied(part) for name, part in schema.items()}
    # `discriminator` is a word of another standard.
    left_out = {"title", "discriminator"} | (set() if isinstance(schema.get("default"), bool) else {"default"})
    tidy = {
        word: _tidied(part, names=word in ("properties", "$defs"))
        for word, part in schema.items()
        if word not in left_out
    }
    choices = [choice for choice in tidy.pop("anyOf", []) if choice != {"type": "null"}]
    if len(choices) == 1:
        return choices[0] | tidy
    return {**tidy, "anyOf": choices} if choices else tidy
