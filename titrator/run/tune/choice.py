"""From judged runs to a choice: what a setting takes and how far it errs, which settings no other beats, and which one
a preference picks.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Any, Final, Literal, TypeAlias

from titrator.run.tune.judge import Judged

Prefer: TypeAlias = Literal["fast", "balanced", "exact"]
MEANS: Final[dict[Prefer, str]] = {
    "fast": "the fastest setting whose rms error is at most four times the smallest one",
    "balanced": "the setting whose duration times rms error is smallest: half the time is worth twice the error",
    "exact": "the fastest setting whose rms error is at most the smallest one and its standard error",
}
"""What is picked among the settings that no other beats. The standard error is granted by a rule of statistics for
choosing among estimates: what is nearer cannot be told apart."""
FAST_ALLOWED: Final = 4.0


@dataclass(frozen=True, slots=True)
class Figures:
    """What a setting does, over its runs. Times in s, errors of the equivalence volumes in µL.

    `rms_uL` is over all points of all runs that found them, `u_rms_uL` its standard error; None where no run did.
    `held`: share of the 95 % intervals that hold the truth.
    """

    setting: int
    runs: int
    failures: tuple[str, ...]
    duration_s: float
    additions: float
    rms_uL: float | None
    bias_uL: float | None
    u_rms_uL: float | None
    held: float | None

    @classmethod
    def of(cls, runs: Sequence[Judged]) -> Figures:
        """Return the figures of the runs of one setting."""
        errors = [error for each in runs for error in each.errors_uL]
        rms_uL = math.sqrt(fmean(error * error for error in errors)) if errors else None
        return cls(
            setting=runs[0].setting,
            runs=len(runs),
            failures=tuple(f"run {each.run}: {each.failed}" for each in runs if each.failed),
            duration_s=fmean(each.duration_s for each in runs),
            additions=fmean(each.additions for each in runs),
            rms_uL=rms_uL,
            bias_uL=fmean(errors) if errors else None,
            u_rms_uL=None if rms_uL is None else rms_uL / math.sqrt(2.0 * len(errors)),
            held=sum(each.held for each in runs) / len(errors) if errors else None,
        )

    @property
    def sound(self) -> bool:
        """Whether every run found what the method seeks."""
        return not self.failures and self.rms_uL is not None

    @property
    def objectives(self) -> tuple[float, float] | None:
        """Return duration in s and rms error in µL, None without an error."""
        return None if self.rms_uL is None else (self.duration_s, self.rms_uL)

    def to_json(self) -> dict[str, Any]:
        """Return the figures, rounded to what can be meant."""
        return {
            "runs": self.runs,
            "failures": list(self.failures),
            "duration_s": round(self.duration_s, 1),
            "additions": round(self.additions, 1),
            "rms_error_uL": _rounded(self.rms_uL),
            "u_rms_error_uL": _rounded(self.u_rms_uL),
            "bias_uL": _rounded(self.bias_uL),
            "intervals_that_hold": _rounded(self.held),
        }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)


def unbeaten(figures: Iterable[Figures]) -> list[Figures]:
    """Return the sound settings that no other is both faster and at least as exact than, from the fastest on."""
    kept: list[Figures] = []
    for each in sorted((one for one in figures if one.sound), key=_by_time):
        if not kept or _error(each) < _error(kept[-1]):
            kept.append(each)
    return kept


def picked(figures: Sequence[Figures], prefer: Prefer) -> Figures | None:
    """Return the setting that a preference picks among these; None where none is sound."""
    front = unbeaten(figures)
    if not front:
        return None
    if prefer == "balanced":
        return min(front, key=lambda each: each.duration_s * _error(each))
    best = front[-1]
    assert best.u_rms_uL is not None
    limit_uL = FAST_ALLOWED * _error(best) if prefer == "fast" else _error(best) + best.u_rms_uL
    return next(each for each in front if _error(each) <= limit_uL)


def finalists(figures: Sequence[Figures], count: int) -> list[int]:
    """Return the numbers of the settings to confirm: the method as it stands (0), then the unbeaten, layer by layer.

    From a layer that is too large those are taken that lie evenly along it, its ends first.
    """
    chosen = [0]
    left = [each for each in figures if each.setting != 0]
    while len(chosen) < count and any(each.sound for each in left):
        layer = unbeaten(left)
        left = [each for each in left if each not in layer]
        chosen += [layer[place].setting for place in _spread(len(layer), count - len(chosen))]
    rest = sorted(left, key=lambda each: (len(each.failures), *(each.objectives or (math.inf, math.inf)), each.setting))
    chosen += [each.setting for each in rest if each.setting not in chosen][: count - len(chosen)]
    return sorted(chosen)


def _spread(of: int, count: int) -> list[int]:
    """Return `count` places of a row of `of`, its ends among them."""
    if count >= of:
        return list(range(of))
    if count == 1:
        return [(of - 1) // 2]
    return [int(k * (of - 1) / (count - 1) + 0.5) for k in range(count)]


def _error(figures: Figures) -> float:
    assert figures.rms_uL is not None
    return figures.rms_uL


def _by_time(figures: Figures) -> tuple[float, float, int]:
    return figures.duration_s, _error(figures), figures.setting
