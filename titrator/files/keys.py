"""What keys a file may have, told by its model: for error messages and for the documentation of keys."""

from __future__ import annotations

import types
import typing
from collections.abc import Iterator, Sequence
from typing import Annotated, Literal, NamedTuple, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo


class Key(NamedTuple):
    """A key of a file: the way to it ("additions.least") and the field of the model that takes it."""

    name: str
    field: FieldInfo


def fields_by_key(model: type[BaseModel]) -> dict[str, tuple[str, FieldInfo]]:
    """Return name and field of every key of a section, in the order of the model."""
    return {info.alias or name: (name, info) for name, info in model.model_fields.items()}


def models_in(annotation: object) -> list[type[BaseModel]]:
    """Return the models that an annotation allows (several where a section has variants)."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    origin = get_origin(annotation)
    if origin is Annotated:
        return models_in(get_args(annotation)[0])
    if origin in (Union, types.UnionType, tuple, list):
        return [model for part in get_args(annotation) for model in models_in(part)]
    return []


def section_model(model: type[BaseModel], location: Sequence[str | int]) -> type[BaseModel] | None:
    """Return the model of the section at a location of pydantic's, or None where there is none, or no one variant."""
    candidates = [model]
    for step in location:
        if isinstance(step, int):
            continue
        if len(candidates) > 1:  # this step names the variant
            candidates = [variant for variant in candidates if step in _tags(variant)]
            continue
        if not candidates or step not in fields_by_key(candidates[0]):
            return None
        candidates = models_in(fields_by_key(candidates[0])[step][1].annotation)
    return candidates[0] if len(candidates) == 1 else None


def _tags(model: type[BaseModel]) -> set[str]:
    return {
        value
        for info in model.model_fields.values()
        if get_origin(info.annotation) is Literal
        for value in typing.get_args(info.annotation)
    }


def documented_keys(model: type[BaseModel], prefix: str = "") -> Iterator[Key]:
    """Yield every key that a file of this model may have, sections before what is in them, variants in turn."""
    for key, (_, info) in fields_by_key(model).items():
        yield Key(prefix + key, info)
        for inner in models_in(info.annotation):
            yield from documented_keys(inner, f"{prefix}{key}.")
