"""What differs from host to host and day to day: kept apart from the journal, in `host.json`."""

from __future__ import annotations

import datetime
import functools
import importlib.metadata
import platform
from typing import Any

_PACKAGES = ("titrator", "numpy", "scipy", "transitions", "pydantic", "pyserial")


@functools.cache
def _versions() -> dict[str, str]:
    """Read from the packages' files once: a sweep makes thousands of runs."""
    return {name: importlib.metadata.version(name) for name in _PACKAGES}


def describe_host(now: datetime.datetime) -> dict[str, Any]:
    """Versions, platform and wall-clock time of the start."""
    return {
        "started": now.isoformat(timespec="seconds"),
        "python": platform.python_version(),
        "platform": platform.platform(),
        "versions": dict(_versions()),
    }
