"""JSON as it is stored and printed: for people and programs alike."""

from __future__ import annotations

import json
import re
from typing import Any

_LONE = re.compile("[\ud800-\udfff]")


def json_text(document: dict[str, Any], *, ascii_only: bool = False) -> str:
    """Return `document` indented, without NaN (ValueError), and always encodable.

    Bytes of a file name that are not UTF-8 reach Python as lone surrogates; they are told as a backslash and `udcff`.
    """
    text = json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False)
    text = _LONE.sub(lambda found: rf"\\u{ord(found[0]):04x}", text)
    # Outside of strings JSON is ASCII, so that escapes can only come to stand within them.
    return re.sub(r"[^\x00-\x7f]", _escape, text) if ascii_only else text


def _escape(found: re.Match[str]) -> str:
    return json.dumps(found[0])[1:-1]
