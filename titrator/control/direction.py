"""Which way the potential goes while titrant comes."""

from typing import Literal

Direction = Literal["rising", "falling", "unknown"]
