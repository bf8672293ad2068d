"""Draws of a source in units of its u about 0, kept: results of the same seed and source names draw the same numbers.

A study evaluates thousands of curves with the same burette, titrant and aliquot; their numbers are drawn once. What was
seen in few readings (a t distribution) has its own degrees of freedom each time and is drawn anew.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from titrator.evaluate.curve import FloatArray
from titrator.evaluate.quantity import Quantity

_KEPT_BLOCKS = 10


class _Source:
    """One source's stream, and the first blocks drawn from it."""

    def __init__(self, standard: Quantity, seed: int | str, size: int) -> None:
        self._standard, self._size = standard, size
        self._stream: np.random.Generator = standard.stream(seed)
        self._blocks: list[FloatArray] = []

    def block(self, number: int) -> FloatArray:
        """Return block `number` (from 0) of the first few."""
        while len(self._blocks) <= number:
            drawn = self._standard.drawn(self._stream, self._size)
            drawn.flags.writeable = False  # shared by all that ask
            self._blocks.append(drawn)
        return self._blocks[number]


@lru_cache(maxsize=32)
def _kept(standard: Quantity, seed: int | str, size: int) -> _Source:
    return _Source(standard, seed, size)


def standard_draws(quantity: Quantity, seed: int | str, block: int, size: int) -> FloatArray:
    """Return block `block` of `size` draws of a quantity; each block has a stream of its own behind the kept ones."""
    if quantity.u == 0.0:
        return np.full(size, quantity.value)
    standard = replace(quantity, value=0.0, u=1.0, unit="1", note="")
    if block < _KEPT_BLOCKS and quantity.distribution != "t":
        return quantity.value + quantity.u * _kept(standard, seed, size).block(block)
    drawn = standard.drawn(standard.stream(f"{seed}/block {block}"), size)
    return quantity.value + quantity.u * drawn
