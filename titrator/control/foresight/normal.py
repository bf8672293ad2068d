"""Normal equations of a handful of unknowns: Cholesky's decomposition in plain numbers, lower triangles by rows."""

from __future__ import annotations

import math


def decomposed(matrix: list[list[float]]) -> list[list[float]]:
    """L of a symmetric positive definite matrix L Lᵀ (lower triangle given by rows). ValueError where it is none."""
    lower: list[list[float]] = []
    for i, row in enumerate(matrix):
        new: list[float] = []
        for j in range(i + 1):
            above = lower[j] if j < i else new
            rest = row[j]
            for k in range(j):
                rest -= new[k] * above[k]
            if j < i:
                new.append(rest / above[j])
            elif rest > 0.0:
                new.append(math.sqrt(rest))
            else:
                raise ValueError(f"expected a positive definite matrix, its row {i} leaves {rest!r}")
        lower.append(new)
    return lower


def solved(lower: list[list[float]], right: list[float]) -> list[float]:
    """x of L Lᵀ x = right."""
    size = len(lower)
    x = list(right)
    for i in range(size):
        row = lower[i]
        rest = x[i]
        for k in range(i):
            rest -= row[k] * x[k]
        x[i] = rest / row[i]
    for i in range(size - 1, -1, -1):
        rest = x[i]
        for k in range(i + 1, size):
            rest -= lower[k][i] * x[k]
        x[i] = rest / lower[i][i]
    return x


def inverse(lower: list[list[float]]) -> list[list[float]]:
    """(L Lᵀ)⁻¹, whole rows."""
    size = len(lower)
    columns = []
    for i in range(size):
        unit = [0.0] * size
        unit[i] = 1.0
        columns.append(solved(lower, unit))
    return columns
