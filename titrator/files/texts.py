"""Texts in files: names, notes and paths."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from titrator.files.quantities import wrong

LONGEST: Final = 500  # characters
_EIGHT_DIGITS: Final = re.compile(r"[0-9a-fA-F]{8}")


def _printable(value: object, expected: str = "some text") -> str:
    if not isinstance(value, str) or not value.strip():
        raise wrong(expected)
    text = value.strip()
    if len(text) > LONGEST:
        raise wrong(f"a text of at most {LONGEST} characters", f"{len(text)} characters")
    strange = next((letter for letter in text if not letter.isprintable()), None)
    if strange is not None:
        raise wrong("printable text on one line", f"with the character U+{ord(strange):04X}")
    return text


@dataclass(frozen=True, slots=True)
class Words:
    """Validator of a text of one line, printable, not blank."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Return the schema that pydantic validates with."""
        return core_schema.no_info_plain_validator_function(_printable)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Return the JSON Schema for editors."""
        return {"type": "string", "pattern": r"\S", "maxLength": LONGEST}


@dataclass(frozen=True, slots=True)
class RelativePath:
    """Validator of a path: taken from the folder of the file that names it, never from the current folder."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Return the schema that pydantic validates with; `load` gives the folder as context."""
        return core_schema.with_info_plain_validator_function(self._resolve)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Return the JSON Schema for editors."""
        return {"type": "string", "minLength": 1}

    def _resolve(self, value: object, info: core_schema.ValidationInfo) -> Path:
        folder = info.context["folder"] if info.context else Path()
        try:
            return Path(folder, _printable(value, "the path of a file")).resolve()
        except (OSError, RuntimeError):  # a circle of links
            raise wrong("a path that leads to a file") from None


@dataclass(frozen=True, slots=True)
class Hexadecimal:
    """Validator of an identity: 8 hexadecimal digits, not all zero; in the program a whole number."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Return the schema that pydantic validates with."""
        return core_schema.no_info_plain_validator_function(self.parse)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Return the JSON Schema for editors."""
        return {"type": "string", "pattern": f"^(?!0+$){_EIGHT_DIGITS.pattern}$", "examples": ["51301a7e"]}

    def parse(self, value: object) -> int:
        """Return the number. Raises PydanticCustomError saying what was expected."""
        expected = '8 hexadecimal digits in quotes, such as "51301a7e" (`titrator rig list` shows a board\'s)'
        if isinstance(value, (int, float)):
            # Without quotes YAML reads 12345678 and 1234e567 as numbers, and leading zeros are lost.
            raise wrong(expected, "a number; put it in quotes")
        if not isinstance(value, str) or not _EIGHT_DIGITS.fullmatch(value) or int(value, 16) == 0:
            raise wrong(expected)
        return int(value, 16)


Identity = Annotated[int, Hexadecimal()]
Text = Annotated[str, Words()]
FilePath = Annotated[Path, RelativePath()]
