"""`titrator new`: a first method, rig and simulated cell from a few questions."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

import click
from pydantic_core import PydanticCustomError

from titrator.chemistry.reactions import find_reaction
from titrator.chemistry.references import REFERENCES
from titrator.cli.failure import Failure, input_errors
from titrator.files.quantities import CONCENTRATION, TEMPERATURE, VOLUME, Plain, Quantity

if TYPE_CHECKING:
    _ParamType: TypeAlias = click.ParamType[Any]
else:
    _ParamType = click.ParamType  # generic in newer versions of click only

FILES = ("method.yaml", "rig.yaml", "cell.yaml")
_REACTION = find_reaction("iron(II)", "cerium(IV)")
_ELECTRODES = {f"{each.electrode} in {each.filling}": each for each in REFERENCES}


class _Asked(_ParamType):
    """A value as it is written in a file, "10 mL": the same words are refused with the same message."""

    def __init__(self, name: str, parse: Callable[[object], Any]) -> None:
        self.name = name
        self._parse = parse

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if not isinstance(value, str):
            return value
        try:
            return self._parse(value)
        except PydanticCustomError as error:
            came = (error.context or {}).get("came")
            self.fail(f'{error.message()}, got "{value}"{f" ({came})" if came else ""}', param, ctx)


def _number(value: object) -> Any:
    """A number typed at a prompt; what is no number goes on as it is and is refused there."""
    number = value
    with contextlib.suppress(ValueError):
        number = float(str(value))
    return Plain(above=0).parse(number)


def _text(value: object) -> str:
    from pydantic import TypeAdapter, ValidationError

    from titrator.files.texts import Text

    try:
        return TypeAdapter(Text).validate_python(value)
    except ValidationError as error:
        detail = error.errors(include_url=False)[0]
        raise PydanticCustomError("expected", "{said}", {"said": detail["msg"]}) from error


# Limits far outside of any laboratory: what lies beyond them is a slip of the unit.
_VOLUME = _Asked("volume", Quantity(VOLUME, above=0.001, below=5000).parse)
_CONCENTRATION = _Asked("concentration", Quantity(CONCENTRATION, above=1e-6, below=50).parse)
_TEMPERATURE = _Asked("temperature", Quantity(TEMPERATURE, above=0, below=100).parse)
_NUMBER = _Asked("number", _number)
_NAME = _Asked("text", _text)

# Name of the option, what it takes, the question, and the answer suggested.
QUESTIONS: tuple[tuple[str, _ParamType, str, str], ...] = (
    ("name", _NAME, "Name of the method", "Iron(II) by cerium(IV)"),
    ("lowest", _CONCENTRATION, "Lowest iron(II) concentration that you expect in the sample", "1.2 mol/L"),
    ("highest", _CONCENTRATION, "Highest that you expect", "2.2 mol/L"),
    ("dilution", _NUMBER, "How many times is the sample diluted before the aliquot is taken (1: not)", "10"),
    ("aliquot", _VOLUME, "Aliquot brought into the vessel", "10 mL"),
    ("titrant", _CONCENTRATION, "Concentration of the cerium(IV) in the burette", "0.1 mol/L"),
    ("acid", click.Choice(_REACTION.acids), "Acid of the medium, 1 mol/L", "sulfuric acid"),
    ("temperature", _TEMPERATURE, "Temperature in the vessel", "20 °C"),
    ("reference", click.Choice(list(_ELECTRODES)), "Reference electrode and its filling", next(iter(_ELECTRODES))),
    ("tip", click.Choice(["immersed", "above"]), "Is the burette's tip immersed, or above the liquid", "immersed"),
    ("capacity", _VOLUME, "What the vessel holds, electrodes in it", "150 mL"),
    ("stroke", _VOLUME, "One filling of the burette", "25 mL"),
)


def _with_questions(command: Callable[..., None]) -> Callable[..., None]:
    for name, kind, question, suggested in reversed(QUESTIONS):
        text = f"{question} (suggested: {suggested})."
        command = click.option(f"--{name}", type=kind, help=text)(command)
    return command


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@_with_questions
@click.option("--refills/--no-refills", default=None, help="Whether the burette refills itself in mid-run.")
@click.option("--defaults", is_flag=True, help="Ask nothing: take the suggested answer where no option gives one.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else there.")
def new(folder: Path, defaults: bool, as_json: bool, **options: Any) -> None:
    """Write a commented method, a rig and a simulated cell into FOLDER, from a few questions.

    The numbers that follow from the answers stand in the files with their derivation. Nothing is overwritten.
    """
    from titrator.cli.output import print_json
    from titrator.run.draft import Answers, draft
    from titrator.run.draft_text import cell_text, method_text, rig_text

    _refuse_existing(folder)
    given = {name: _answer(options, name, defaults=defaults) for name, *_ in QUESTIONS}
    electrode = _ELECTRODES[given["reference"]]
    with input_errors():
        drafted = draft(
            Answers(
                name=given["name"],
                low_mol_per_L=given["lowest"],
                high_mol_per_L=given["highest"],
                dilution=given["dilution"],
                aliquot_mL=given["aliquot"],
                titrant_mol_per_L=given["titrant"],
                acid=given["acid"],
                temperature_C=given["temperature"],
                reference=electrode.electrode,
                filling=electrode.filling,
                tip=given["tip"],
                capacity_mL=given["capacity"],
                stroke_mL=given["stroke"],
                refills=_refills(options["refills"], defaults=defaults),
            )
        )
    texts = (method_text(drafted, FILES[2], FILES[1]), rig_text(drafted), cell_text(drafted))
    written = _write(folder, dict(zip(FILES, texts, strict=True)))
    if as_json:
        kinds = dict(zip(("method", "rig", "cell"), map(str, written), strict=True))
        print_json({**kinds, "name": given["name"]})
        return
    for path in written:
        click.echo(f"wrote {path}")
    click.echo(f"Read them, replace what is marked MEASURE, then: titrator check {written[0]} --rig {written[1]}")


def _answer(options: dict[str, Any], name: str, *, defaults: bool) -> Any:
    if options[name] is not None:
        return options[name]
    _, kind, question, suggested = next(entry for entry in QUESTIONS if entry[0] == name)
    if defaults:
        return kind.convert(suggested, None, None)
    return _asking(name, lambda: click.prompt(question, default=suggested, type=kind, err=True))


def _refills(given: bool | None, *, defaults: bool) -> bool:
    if given is not None or defaults:
        return bool(given)
    return bool(_asking("refills", lambda: click.confirm("Does the burette refill itself in mid-run", err=True)))


def _asking(name: str, ask: Callable[[], Any]) -> Any:
    """Ask; where nobody answers (end of the input, Ctrl-C) say how to do without asking. Nothing is written yet."""
    try:
        return ask()
    except click.Abort:
        raise Failure(
            f"--{name}: expected an answer, got none. Nothing was written. Give --{name}, or --defaults to take every "
            "suggestion"
        ) from None


def _refuse_existing(folder: Path) -> None:
    for name in FILES:
        if (folder / name).exists() or (folder / name).is_symlink():
            raise Failure(
                f"{folder / name}: expected no such file, for nothing is overwritten, got one. Choose another folder"
            )


def _write(folder: Path, texts: dict[str, str]) -> list[Path]:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in texts.items():
            with (folder / name).open("x", encoding="utf-8") as file:
                file.write(text)
    except OSError as error:
        raise Failure(f"{folder}: expected a folder that can be written, got: {error}") from error
    return [folder / name for name in texts]
