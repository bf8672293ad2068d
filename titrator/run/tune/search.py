"""Which settings to try next: one search a rule, by tree-structured Parzen estimators of two objectives (optuna).

A search is asked and told in an order that nothing but its own results decides, so the same seed gives the same
settings whoever makes the runs.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from titrator.run.tune.dials import DIALS, Scale
from titrator.run.tune.extras import MissingExtraError

STARTUP_SHARE: Final = 0.3
"""Share of the settings that are drawn without regard to the others before the search begins to learn."""
FAILED: Final = "failed runs"
"""The constraint of a search: a setting with failed runs is outside."""
PENALTY: Final = (1e5, 1e5)
"""Objectives (s, µL) of a setting none of whose runs is of use; the search only learns that it is outside."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """What a search wants to know: values in the units of the keys, and the trial that waits for the answer."""

    rule: str
    values: dict[str, float]
    trial: Any


class Search:
    """The search for one rule's settings."""

    def __init__(self, rule: str, scale: Scale, seed: int, settings: int) -> None:
        """`settings`: how many it will be asked for in all."""
        optuna = _optuna()
        self.rule = rule
        distributions = optuna.distributions
        self._distributions: dict[str, Any] = {}
        for dial in DIALS[rule]:
            low, high = dial.bounds(scale)
            self._distributions[dial.way] = (
                distributions.IntDistribution(int(low), int(high))
                if dial.whole
                else distributions.FloatDistribution(low, high, log=True)
            )
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # "multivariate" is told to be experimental
            sampler = optuna.samplers.TPESampler(
                seed=seed, multivariate=True, n_startup_trials=max(4, round(STARTUP_SHARE * settings))
            )
        self._study = optuna.create_study(directions=["minimize", "minimize"], sampler=sampler)

    def begin_at(self, values: dict[str, float]) -> None:
        """Let the next proposal be this one."""
        self._study.enqueue_trial(values)

    def ask(self) -> Proposal:
        """Return what to try next."""
        trial = self._study.ask(self._distributions)
        return Proposal(self.rule, dict(trial.params), trial)

    def tell(self, proposal: Proposal, objectives: tuple[float, float] | None, failures: int) -> None:
        """Answer a proposal: duration and error of its runs, None where none was of use, and how many failed."""
        proposal.trial.set_constraint(FAILED, float(failures if objectives is not None else max(failures, 1)))
        self._study.tell(proposal.trial, PENALTY if objectives is None else objectives)


def check_library() -> None:
    """MissingExtraError where the search's library is not installed."""
    _optuna()


def _optuna() -> Any:
    try:
        import optuna
    except ImportError:
        raise MissingExtraError("titrator tune", "optuna", "tune") from None
    optuna.logging.set_verbosity(optuna.logging.ERROR)
    return optuna


def seeds_of(seed: int, rules: Sequence[str]) -> dict[str, int]:
    """Return a seed of its own for each rule's search."""
    from random import Random

    return {rule: Random(f"{seed}/search/{rule}").getrandbits(31) for rule in rules}
