"""Load a file into a model; whatever is wrong becomes located problems, all of them at once."""

from __future__ import annotations

import difflib
import inspect
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from titrator.files.keys import documented_keys, fields_by_key, section_model
from titrator.files.models import Finding, StrictModel
from titrator.files.problems import FileProblem, Problem
from titrator.files.strict_yaml import Document, Node, read_yaml

M = TypeVar("M", bound=StrictModel)
Check = Callable[..., Iterable[Finding]]


def load(path: str | Path, model: type[M], *, across: Sequence[Check] = ()) -> M:
    """Read a file and validate it as `model`. Raises FileProblem with every problem, in order of line.

    `across` are checks between sections: functions whose parameters are named as the model's fields. A check runs
    whenever the sections that it names are valid, even if others are not.
    """
    document = read_yaml(path)
    if not isinstance(document.data, dict):
        raise FileProblem([document.problem(document.root, f"expected keys, got {document.root.described()}")])
    problems = _format_problems(document, model)
    loaded: M | None = None
    try:
        loaded = model.model_validate(document.data, context=_context(document))
        sections = {name: getattr(loaded, name) for name in model.model_fields}
    except ValidationError as error:
        details = error.errors(include_url=False)
        misspelt = {
            (*detail["loc"][:-1], _meant(model, detail["loc"]))
            for detail in details
            if detail["type"] == "extra_forbidden"
        }
        for detail in details:
            # A misspelt key is one mistake: that the right one is missing would be a second line for it.
            if detail["type"] != "missing" or detail["loc"] not in misspelt:
                problems.extend(_problems(document, model, detail))
        sections = _valid_sections(document, model, {detail["loc"][0] for detail in details if detail["loc"]})
    for check in across:
        names = list(inspect.signature(check).parameters)
        if all(name in sections for name in names):
            found = check(**{name: sections[name] for name in names})
            problems.extend(_located(document, (), finding) for finding in found)
    if problems:
        raise FileProblem(problems)
    assert loaded is not None
    return loaded


def located(path: str | Path, findings: Iterable[Finding]) -> FileProblem:
    """Return the problem of a file that was good by itself and is not beside something else: each finding located."""
    document = read_yaml(path)
    return FileProblem(_located(document, (), finding) for finding in findings)


def _format_problems(document: Document, model: type[StrictModel]) -> list[Problem]:
    """Refuse another format at once: what its keys mean is unknown, so no other complaint about them would be true.

    `format: true` and `format: 1.0` equal 1, and so would pass as the literal 1 of every model of ours.
    """
    node, field = document.root.children.get("format"), model.model_fields.get("format")
    if node is None or field is None:
        return []
    if isinstance(node.data, (bool, float)):
        return [document.problem(node, f"expected a whole number, the version of the format, got {node.described()}")]
    known = get_args(field.annotation)
    if not isinstance(node.data, int) or node.data in known:
        return []
    later = "a later version of titrator wrote it: use that version, or write the file anew as the documentation says"
    never = "no version ever had it: write 1 if the file follows the documentation"
    text = f"expected {' or '.join(map(str, known))}, the format that this version reads, got {node.data}"
    raise FileProblem([document.problem(node, f"{text}; {later if node.data > max(known) else never}")])


def _context(document: Document) -> dict[str, Path]:
    return {"folder": document.path.parent}


def _valid_sections(document: Document, model: type[StrictModel], bad: set[str | int]) -> dict[str, Any]:
    data, sections = document.data, {}
    for key, (name, info) in fields_by_key(model).items():
        if key in bad:
            continue
        if key in data:
            sections[name] = TypeAdapter(info.rebuild_annotation()).validate_python(
                data[key], context=_context(document)
            )
        elif not info.is_required():
            sections[name] = info.get_default(call_default_factory=True)
    return sections


def _follow(root: Node, location: Sequence[str | int]) -> tuple[Node, list[str | int]]:
    """Return the deepest node on the way and the keys that led to it.

    Steps that the file does not have are skipped: pydantic names the chosen variant of a section in the way.
    """
    node, way = root, list[str | int]()
    for step in location:
        if step in node.children:
            node = node.children[step]
            way.append(step)
    return node, way


def _mark(root: Node, way: Sequence[str | int]) -> tuple[int, int]:
    """Return line and column to show: of a value, or of the key where the value is a section or nothing."""
    node, parent = root, root
    for step in way:
        parent, node = node, node.children[step]
    if way and isinstance(way[-1], str) and (node.children or node.source in (None, "")):
        return parent.key_marks[way[-1]]
    return node.line, node.column


def _located(document: Document, location: Sequence[str | int], finding: Finding) -> Problem:
    _, way = _follow(document.root, [*location, *finding.at])
    return Problem(*_mark(document.root, way), finding.text, document.path)


def _problems(document: Document, model: type[StrictModel], detail: ErrorDetails) -> Iterable[Problem]:
    location = detail["loc"]
    kind, context = detail["type"], detail.get("ctx", {})
    if kind == "findings":
        return [_located(document, location, Finding(*found)) for found in context["findings"]]
    node, way = _follow(document.root, location)
    mark = _mark(document.root, way)
    if kind == "extra_forbidden":
        holder, held = _follow(document.root, location[:-1])
        mark = holder.key_marks[str(location[-1])]
        return [Problem(*mark, _unknown_key(model, location, held), document.path)]
    if kind == "missing":
        return [Problem(*mark, _missing(model, location, way), document.path)]
    if kind == "union_tag_not_found":
        key = context["discriminator"].strip("'")
        text = f"expected the key '{key}' in '{_spoken(way)}', got a section without it"
        return [Problem(*mark, text, document.path)]
    if kind == "union_tag_invalid":
        key = context["discriminator"].strip("'")
        child = node.children.get(key, node)
        text = f"expected {_choice(context['expected_tags'])}, got {child.described()}"
        return [Problem(*_mark(document.root, [*way, key]), text, document.path)]
    expected, came = _expected(model, detail)
    got = node.described() if not came else f"{node.described()} ({came})"
    return [Problem(*mark, f"expected {expected}, got {got}", document.path)]


def _expected(model: type[StrictModel], detail: ErrorDetails) -> tuple[str, str | None]:
    kind, context = detail["type"], detail.get("ctx", {})
    if kind == "expected":
        return context["expected"], context["came"]
    if kind == "literal_error":
        return _choice(context["expected"]), None
    if kind in ("model_type", "model_attributes_type"):
        section = section_model(model, detail["loc"])
        return f"a section with the keys {', '.join(fields_by_key(section))}" if section else "a section", None
    if kind == "too_long":
        return f"a list of {context['max_length']}", None
    simple = {
        "string_type": "text",
        "bool_type": "true or false",
        "tuple_type": "a list such as [first, second]",
        "list_type": "a list",
        "dict_type": "a section",
    }
    if kind in simple:
        return simple[kind], None
    message = detail["msg"]
    return message[:1].lower() + message[1:], None


def _choice(listed: str) -> str:
    """Turn pydantic's "'a', 'b' or 'c'" into words."""
    words = listed.replace(" or ", ", ").replace("'", "").split(", ")
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def _spoken(way: Sequence[str | int]) -> str:
    return ".".join(str(step) for step in way)


def _known_keys(model: type[StrictModel], location: Sequence[str | int]) -> list[str]:
    section = section_model(model, location[:-1])
    return list(fields_by_key(section)) if section else []


def _meant(model: type[StrictModel], location: Sequence[str | int]) -> str | None:
    """Return the known key nearest to an unknown one, or None if none is near."""
    known = _known_keys(model, location)
    return next(iter(difflib.get_close_matches(str(location[-1]).lower(), known, n=1, cutoff=0.6)), None)


def _unknown_key(model: type[StrictModel], location: Sequence[str | int], way: Sequence[str | int]) -> str:
    near = _meant(model, location)
    hint = f"did you mean {near}? " if near else _belongs(model, str(location[-1]), _spoken(way))
    known = ", ".join(_known_keys(model, location))
    return f"expected one of the keys {known}, got '{location[-1]}' ({hint}unknown here)"


def _belongs(model: type[StrictModel], key: str, section: str) -> str:
    """Say where a key belongs that another section has, if only one has it."""
    holders = {name.rpartition(".")[0] for name, _ in documented_keys(model) if name.rpartition(".")[2] == key}
    if len(holders) != 1 or section in holders:
        return ""
    (holder,) = holders
    return f"it belongs into the section {holder}, " if holder else "it belongs outside the sections, "


def _missing(model: type[StrictModel], location: Sequence[str | int], way: Sequence[str | int]) -> str:
    if isinstance(location[-1], int):
        return "expected one more entry, got a list that ends before it"
    section = section_model(model, location[:-1])
    field = fields_by_key(section).get(location[-1]) if section else None
    where = f" in '{_spoken(way)}'" if way else ""
    what = f" ({field[1].description})" if field and field[1].description else ""
    return f"expected the key '{location[-1]}'{where}{what}, got none"
