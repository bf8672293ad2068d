"""A number on the command line that is one."""

from __future__ import annotations

import math
from typing import Any

import click


class FiniteRange(click.FloatRange):
    """A range without `nan`, which no bounds refuse, and without infinities. Without bounds: any finite number."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number that `value` tells; click's usage error where it tells none."""
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"expected a finite number, got {value}.", param, ctx)
        return number
