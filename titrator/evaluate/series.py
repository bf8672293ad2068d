"""A series of replicates: mean, scatter, repeatability, flags, and exclusions that stay listed with their reason."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from titrator.evaluate.measurement import Model, mean_of_replicates, model_of
from titrator.evaluate.outliers import OutlierTest, outlier_tests
from titrator.evaluate.propagation import coverage_factor
from titrator.evaluate.quantity import Quantity


@dataclass(frozen=True, slots=True)
class Replicate:
    """One result: a label (a run's number) and its value; `model` where it carries its sources; `excluded`: why."""

    label: str
    value: float
    model: Model | None = None
    excluded: str | None = None

    def __post_init__(self) -> None:
        """Refuse a value that is no number and an exclusion without a reason; raises ValueError."""
        if not math.isfinite(self.value):
            raise ValueError(f"{self.label}: a finite result expected, {self.value!r} came")
        if self.excluded is not None and not self.excluded.strip():
            raise ValueError(
                f"{self.label}: a stated reason expected for leaving a replicate out, none came; "
                "a test that flags it is not a reason, a cause found is (spilled, bubble in the burette, ...)"
            )

    @classmethod
    def of(cls, label: str, model: Model) -> Replicate:
        """Return a replicate whose value is that of its model."""
        return cls(label, model.value, model)


@dataclass(frozen=True, slots=True)
class Series:
    """Replicates of one sample, in order; figures are of those that are not excluded."""

    replicates: tuple[Replicate, ...]
    unit: str = "mol/L"

    def __post_init__(self) -> None:
        """Refuse a series without a replicate left, or a label twice; raises ValueError."""
        if len({each.label for each in self.replicates}) < len(self.replicates):
            raise ValueError("a label of its own expected for each replicate, one came twice")
        if not self.used:
            raise ValueError("one replicate or more expected that is not excluded, none came")

    @property
    def used(self) -> tuple[Replicate, ...]:
        """The replicates that count."""
        return tuple(each for each in self.replicates if each.excluded is None)

    @property
    def excluded(self) -> tuple[Replicate, ...]:
        """The replicates left out, each with its reason."""
        return tuple(each for each in self.replicates if each.excluded is not None)

    @property
    def mean(self) -> float:
        """The mean."""
        return math.fsum(each.value for each in self.used) / len(self.used)

    @property
    def dof(self) -> int:
        """Degrees of freedom of the standard deviation, n - 1."""
        return len(self.used) - 1

    @property
    def sd(self) -> float | None:
        """Standard deviation of a single replicate, None for one replicate."""
        if self.dof < 1:
            return None
        mean = self.mean
        return math.sqrt(math.fsum((each.value - mean) ** 2 for each in self.used) / self.dof)

    @property
    def repeatability_limit(self) -> float | None:
        """What two replicates differ by at most in 95 of 100 cases: t √2 s, with t for n - 1 degrees of freedom.

        ISO 5725-6 takes 2.8 s, which is its limit for many replicates. None for one replicate.
        """
        return None if self.sd is None else coverage_factor(self.dof) * math.sqrt(2.0) * self.sd

    def tests(self) -> tuple[OutlierTest, ...]:
        """Return the outlier tests; they flag and never remove."""
        return outlier_tests([each.value for each in self.used])

    def flags(self) -> tuple[str, ...]:
        """Return a sentence for each test that flags something."""
        labels = [each.label for each in self.used]
        return tuple(test.sentence(labels) for test in self.tests() if test.flagged)

    def without(self, label: str, reason: str) -> Series:
        """Return the series with one replicate left out for a stated reason; it stays listed. ValueError if unknown."""
        if label not in {each.label for each in self.replicates}:
            known = ", ".join(each.label for each in self.replicates)
            raise ValueError(f"a replicate among {known} expected, {label!r} came")
        found = (replace(each, excluded=reason) if each.label == label else each for each in self.replicates)
        return replace(self, replicates=tuple(found))

    def mean_model(self) -> Model:
        """Return the mean with all its sources by the models' own figures (type B for what is each replicate's own).

        Raises ValueError where a replicate carries no model.
        """
        return mean_of_replicates(self._models())

    def mean_with_scatter(self) -> Model:
        """Return the mean: what replicates share by its sources, what is each one's own by their scatter.

        The scatter enters once, as s/√n with n - 1 degrees of freedom (type A), in place of the own sources of the
        single replicates; what two or more share stays whole. Raises ValueError below two replicates or without models.
        """
        if self.sd is None:
            raise ValueError("two replicates or more expected for a scatter, one came: use mean_model")
        models = self._models()
        named = [{each.name for each in model.quantities} for model in models]
        fixed = {
            each.name: each.value
            for place, model in enumerate(models)
            for each in model.quantities
            if not any(each.name in names for other, names in enumerate(named) if other != place)
        }
        mean = mean_of_replicates([_held(model, fixed) for model in models])
        n = len(self.used)
        scatter = Quantity(f"scatter of {n} replicates", 0.0, self.sd / math.sqrt(n), self.unit, "t", self.dof)
        return (mean + scatter).in_unit(self.unit)

    def _models(self) -> list[Model]:
        """Return the models of the replicates that count."""
        found = [each.model for each in self.used if each.model is not None]
        if len(found) < len(self.used):
            raise ValueError("a measurement model for each replicate expected (Replicate.of), some have only a value")
        return found


def _held(model: Model, fixed: dict[str, float]) -> Model:
    """Return the model with some of its inputs held at their values."""
    function = model.function
    free = tuple(each for each in model.quantities if each.name not in fixed)
    if not free:
        return model_of(model.value).in_unit(model.unit)
    return Model(lambda values: function({**fixed, **values}), free, model.unit)
