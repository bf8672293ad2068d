"""The rig file's section `board`: which board it is, and where it may be found."""

import re
from collections.abc import Iterable
from typing import Final

from pydantic import Field

from titrator.files.models import Finding, StrictModel
from titrator.files.quantities import PositiveCount
from titrator.files.texts import Identity, Text

ANY_PORT: Final = "any"
_ADDRESS = re.compile(r"socket://(\[[0-9a-fA-F:]+\]|[^\s:/\[\]]+):([0-9]{1,5})")


def identity_text(identity: int) -> str:
    """An identity as files and messages write it."""
    return f"{identity:08x}"


def wrong_address(port: str) -> bool:
    """Whether a text that looks like an address is none that can be opened."""
    if "://" not in port:
        return False
    found = _ADDRESS.fullmatch(port)
    return found is None or not 0 < int(found.group(2)) < 1 << 16


class BoardSection(StrictModel):
    """The board behind a rig of kind `serial`."""

    identity: Identity = Field(
        description="What the board reports as its own number, 8 hexadecimal digits in quotes. Another board is "
        "refused, whatever port it is on."
    )
    port: Text = Field(
        ANY_PORT,
        description="Where the board is: a device such as /dev/ttyACM0, an address such as socket://127.0.0.1:4717, or "
        "`any`: all ports of this computer are asked for the identity.",
    )
    baud: PositiveCount = Field(115200, description="Speed of the serial line in bits a second; an address has none.")

    @property
    def identity_text(self) -> str:
        """The identity as files write it."""
        return identity_text(self.identity)

    def findings(self) -> Iterable[Finding]:
        """Refuse addresses that nothing can open."""
        if wrong_address(self.port):
            yield Finding(("port",), f"expected an address such as socket://127.0.0.1:4717, got {self.port}")
