"""The GUM result held against the propagation of distributions (JCGM 101:2008, clause 8), and which interval to tell.

The two agree where both ends of the interval agree within the numerical tolerance: half a unit in the last of two
significant digits of u. Where they do not (one rectangular source dominates, the model bends within the uncertainty,
a value near a bound) the interval is that of the Monte Carlo, and a sentence says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from titrator.evaluate.budget import Correlations, budget
from titrator.evaluate.measurement import Model, Part, model_of
from titrator.evaluate.monte_carlo import IntervalKind, Simulated, numerical_tolerance, simulate
from titrator.evaluate.propagation import Propagated

_NONE: Correlations = {}
_SHAPED_SHARE = 0.15
"""Share of u² below which the shapes of sources do not move an end by what is worth a sentence."""
_CERTAIN = 0.05
_SHAPED = ("rectangular", "triangular", "arcsine", "t")


@dataclass(frozen=True, slots=True)
class Validated:
    """The GUM budget, the Monte Carlo beside it, and the 95 % interval to report with where it comes from.

    `differences`: GUM end minus Monte Carlo end, lower and upper, in the result's unit; `tolerance` what they may be.
    `warning` is a sentence for the chemist, None where the two agree. `simulated` is None where nothing was drawn, as
    the two are known to agree.
    """

    gum: Propagated
    simulated: Simulated | None
    tolerance: float
    differences: tuple[float, float]
    agree: bool
    warning: str | None

    @property
    def value(self) -> float:
        """The value by the formula where the GUM is confirmed, the mean of the draws where not."""
        return self.gum.value if self.agree or self.simulated is None else self.simulated.value

    @property
    def u(self) -> float:
        """Standard uncertainty, from where the interval is from."""
        return self.gum.u if self.agree or self.simulated is None else self.simulated.u

    @property
    def interval_95(self) -> tuple[float, float]:
        """The GUM's interval where it is confirmed, that of the Monte Carlo where not."""
        return self.gum.interval_95 if self.agree or self.simulated is None else self.simulated.interval_95

    @property
    def U(self) -> float:
        """Expanded uncertainty: half the width of the interval (which need not lie evenly about the value)."""
        return (self.interval_95[1] - self.interval_95[0]) / 2.0

    @property
    def k(self) -> float:
        """Coverage factor: Student's t where the GUM is confirmed, else what U/u comes to."""
        return self.gum.k if self.agree or self.u == 0.0 else self.U / self.u

    @property
    def notable(self) -> bool:
        """Whether the two intervals differ by more than a twentieth of U: then the warning is worth a reader's time."""
        return not self.agree and max(abs(each) for each in self.differences) > 0.05 * self.gum.U

    @property
    def interval_from(self) -> Literal["GUM", "Monte Carlo"]:
        """Where the interval comes from."""
        return "GUM" if self.agree else "Monte Carlo"


def _cause(gum: Propagated) -> str:
    """Return what lies behind the difference: the shapes of sources that dominate, else the model's curvature."""
    shaped = sorted((each for each in gum.budget if each.distribution in _SHAPED), key=lambda each: -each.share)
    together = sum(each.share for each in shaped)
    if together < _SHAPED_SHARE:
        return "the formula bends within the uncertainty of its inputs"
    largest = shaped[0]
    told = f"{100.0 * largest.share:.0f} % of u²"
    if largest.share < 0.5:
        return (
            f"{100.0 * together:.0f} % of u² is from sources with bounds or with few readings, the largest "
            f"{largest.name} ({told})"
        )
    if largest.distribution == "t":
        return f"{told} is one source seen in few readings, {largest.name}"
    return f"{told} is one {largest.distribution} source, {largest.name}"


def _warning(gum: Propagated, drawn: Simulated, unit: str) -> str:
    """Return the sentence that says which interval is told and why."""
    low, high = drawn.interval_95
    told = "" if unit == "1" else f" {unit}"
    text = (
        f"the 95 % interval is from a Monte Carlo propagation of {drawn.trials} trials (seed {drawn.seed}, "
        f"{drawn.kind}): {low:.6g} to {high:.6g}{told}, where value ± U would give {gum.interval_95[0]:.6g} to "
        f"{gum.interval_95[1]:.6g}{told}; {_cause(gum)}"
    )
    if drawn.ends_tolerance <= _CERTAIN * gum.u:
        return text
    return f"{text}; its ends are certain to {drawn.ends_tolerance:.2g}{told} only"


def validated(
    measured: Part,
    *,
    seed: int | str,
    correlations: Correlations = _NONE,
    kind: IntervalKind = "symmetric",
    most_trials: int = 1_000_000,
    digits: int = 2,
) -> Validated:
    """Return the budget of a model, checked by a Monte Carlo propagation; errors as in budget() and simulate().

    A fifth of the tolerance is asked of the Monte Carlo (JCGM 101, 8.2); where the most trials do not reach it, a
    difference counts only beyond tolerance plus what the Monte Carlo itself leaves open.
    """
    model = model_of(measured)
    gum = budget(model, correlations)
    tolerance = numerical_tolerance(gum.u, digits)
    drawn = simulate(
        model, seed=seed, correlations=correlations, kind=kind, tolerance=tolerance / 5.0, most_trials=most_trials
    )
    return compared(model, gum, drawn, tolerance)


def compared(
    model: Model, gum: Propagated, drawn: Simulated, tolerance: float, *, agree: bool | None = None
) -> Validated:
    """Return GUM and Monte Carlo of a model held against each other; `agree` where that is decided already."""
    low, high = gum.interval_95
    differences = (low - drawn.interval_95[0], high - drawn.interval_95[1])
    if agree is None:
        allowed = tolerance if drawn.stable else tolerance + drawn.ends_tolerance
        agree = max(abs(each) for each in differences) <= allowed + 1e-12 * abs(gum.value)
    return Validated(
        gum, drawn, tolerance, differences, agree, None if agree else _warning(gum, drawn, model.unit)
    )  # fmt: skip
