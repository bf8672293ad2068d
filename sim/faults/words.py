"""The words that ask for a fault: NAME[=SIZE]@WHEN."""

import difflib

from pydantic_core import PydanticCustomError

from sim.faults.catalogue import CATALOGUE
from sim.faults.fault import Fault, PlannedFault
from titrator.files.problems import InputProblem, one_line
from titrator.files.quantities import DURATION, VOLUME, Quantity

_EXAMPLE = '"stirrer-off@8 mL" or "bubble=0.05 mL@5 min"'
_VOLUME, _TIME = Quantity(VOLUME, at_least=0), Quantity(DURATION, at_least=0)


def parse_fault(words: str) -> PlannedFault:
    """A fault with its size and when it strikes. Raises InputProblem: what was expected, what came and where."""
    what, at, when = words.partition("@")
    name, equals, size = what.partition("=")
    if not at:
        raise _problem(words, len(words), f"expected @ and when it strikes after the fault, as in {_EXAMPLE}, got none")
    fault = _named(words, name)
    figure = _size(words, fault, size, len(name) + 1) if equals else fault.size.default if fault.size else 0.0
    column = len(what) + 1
    if when.strip().endswith(tuple(VOLUME.units)):
        return PlannedFault(fault, figure, at_mL=_quantity(words, when, _VOLUME, column))
    if when.strip().endswith(tuple(DURATION.units)):
        return PlannedFault(fault, figure, at_s=_quantity(words, when, _TIME, column))
    raise _problem(
        words,
        column,
        f'expected when it strikes, a volume such as "8 mL" or a time such as "300 s", got {_shown(when)}',
    )


def _named(words: str, name: str) -> Fault:
    found = CATALOGUE.get(name.strip())
    if found is None:
        near = difflib.get_close_matches(name.strip().casefold(), CATALOGUE, n=1, cutoff=0.5)
        hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(CATALOGUE)};"
        raise _problem(
            words,
            0,
            f"expected the name of a fault, got {_shown(name)} ({hint} titrator dry-run --faults tells of each)",
        )
    return found


def _size(words: str, fault: Fault, text: str, column: int) -> float:
    size = fault.size
    if size is None:
        raise _problem(words, column, f"expected no size, for {fault.name} has none, got {_shown(text)}: leave it out")
    figure = _quantity(words, text, size.quantity, column)
    if abs(figure) > size.at_most:
        either = ", with either sign" if figure < 0.0 else ""
        raise _problem(words, column, f"expected at most {size.at_most:g} {size.unit}{either}, got {_shown(text)}")
    return figure


def _quantity(words: str, text: str, quantity: Quantity, column: int) -> float:
    try:
        return quantity.parse(text)
    except PydanticCustomError as error:
        came = (error.context or {}).get("came") or _shown(text)
        raise _problem(words, column, f"{error.message()}, got {came}") from None


def _shown(text: str) -> str:
    return repr(text.strip()) if text.strip() else "nothing"


def _problem(words: str, column: int, text: str) -> InputProblem:
    return InputProblem(one_line(f"fault {words!r}, character {column + 1}: {text}"))
