"""Which model a curve is fitted with: the method's, or the one that explains the readings best."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from titrator.evaluate.acid_model import AcidModel
from titrator.evaluate.complexation_model import ComplexationModel
from titrator.evaluate.curve import FloatArray, SignalUnit
from titrator.evaluate.exchange_model import ExchangeModel
from titrator.evaluate.expectation import Expectation
from titrator.evaluate.mixture_model import MixtureModel
from titrator.evaluate.model_fit import MODEL_MISFIT, Fit, FitData, fit
from titrator.evaluate.models import Start
from titrator.evaluate.redox_model import RedoxModel
from titrator.evaluate.symmetric_model import SymmetricModel

GOOD_MISFIT = 2.0
"""A model whose residuals are more than twice as large as stated does not describe the curve."""
GOOD_MISFIT_COMPETING = 1.5
"""The same for a model that nobody stated: it has only the fit to speak for it."""
AS_GOOD = 4.0
"""Models within this difference of Akaike's criterion cannot be told apart by the readings."""


@dataclass(frozen=True, eq=False)
class Fitted:
    """A fit with the start it came from (its priors), or the reason why no model gave an estimate.

    `u_choice_mL`: what the choice leaves open where another model explains the readings nearly as well.
    """

    fit: Fit | None
    start: Start | None
    reason: str = ""
    u_choice_mL: float = 0.0

    @property
    def misfit(self) -> float:
        """Root mean square of the residuals in standard deviations, those of outliers cut to Huber's limit."""
        if self.fit is None:
            return np.inf
        return float(np.sqrt(np.mean((self.fit.weight * self.fit.residual) ** 2)))


def for_rising(expectation: Expectation, sign: int) -> Expectation:
    """Return what is expected of the signal times `sign`."""
    if sign > 0:
        return expectation
    analyte, titrant = expectation.analyte_potential_mV, expectation.titrant_potential_mV
    neutral = expectation.neutral_mV
    return replace(
        expectation,
        analyte_potential_mV=None if analyte is None else -analyte,
        titrant_potential_mV=None if titrant is None else -titrant,
        neutral_mV=None if neutral is None else -neutral,
    )


def data_sd_mL(data: FitData, jump_mL: float) -> FloatArray:
    """Return the standard deviation of the volumes by the data's own chords, in mL, shape (n,): no model needed."""
    order = np.argsort(data.volume_mL, kind="stable")
    volume, signal = data.volume_mL[order], data.signal[order]
    rise = np.maximum(np.abs(signal[2:] - signal[:-2]), 2.0 * data.sd_signal[order][1:-1])
    chord = (volume[2:] - volume[:-2]) / np.maximum(rise, 1e-9)
    chord = np.concatenate([chord[:1], chord, chord[-1:]])
    back = np.empty_like(chord)
    back[order] = chord
    model = MODEL_MISFIT * (data.volume_mL - jump_mL)
    return np.asarray(np.sqrt(data.sd_volume_mL**2 + (back * data.sd_signal) ** 2 + model**2), dtype=np.float64)


def _starts(data: FitData, jump_mL: float, unit: SignalUnit, expectation: Expectation) -> list[Start]:
    models: list[RedoxModel | SymmetricModel | AcidModel | ComplexationModel | ExchangeModel | MixtureModel] = []
    own, following = expectation.own_slopes, expectation.next_step
    if expectation.model == "redox":
        models = [RedoxModel(expectation.analyte_electrons, expectation.titrant_electrons, own, following)]
    elif expectation.model == "symmetric":
        models = [MixtureModel(unit) if following else SymmetricModel(unit)]
    elif expectation.model == "acid":
        models = [AcidModel(unit, expectation.sites, following)]
    elif expectation.model == "complexation":
        models = [ComplexationModel(unit, own)]
    elif expectation.model == "exchange":
        models = [ExchangeModel(unit)]
    elif unit == "mV":
        models = [SymmetricModel(unit), RedoxModel()]
    elif unit == "pH":
        models = [SymmetricModel(unit), AcidModel(unit)]
    else:
        models = [SymmetricModel(unit)]
    return [model.start(data.volume_mL, data.signal, jump_mL, expectation) for model in models]


def _information(found: Fit, data: FitData, sd_mL: FloatArray) -> float:
    """Return Akaike's criterion with its correction for few readings, under weights common to all models."""
    count, size = len(data.volume_mL), len(found.x) + 1
    residual = (data.volume_mL - found.model.volume_mL(data.signal, found.x)) / sd_mL
    square = float(np.mean(np.minimum(residual**2, 100.0)))
    penalty = 2.0 * size * count / max(count - size - 1, 0.5)
    return count * float(np.log(square + 0.01)) + penalty


def best_fit(data: FitData, jump_mL: float, unit: SignalUnit, expectation: Expectation) -> Fitted:
    """Fit the method's model, or all that may apply, and return the one that explains the readings best.

    `data` in order of volume, the signal rising; `jump_mL` is where a derivative saw the jump.
    """
    if len(data.volume_mL) < 5:
        return Fitted(None, None, f"5 readings with titrant are needed for a fit, {len(data.volume_mL)} are there")
    sd_mL = data_sd_mL(data, jump_mL)
    rivals: list[tuple[float, Fit, Start]] = []
    reason = ""
    for start in _starts(data, jump_mL, unit, expectation):
        found = fit(start, data, sd_mL)
        if isinstance(found, str):
            reason = f"{start.model.name}: {found}"
            continue
        rivals.append((_information(found, data, sd_mL), found, start))
    if not rivals:
        return Fitted(None, None, reason)
    rivals.sort(key=lambda each: each[0])
    value, best, start = rivals[0]
    near = [each.equivalence_volume_mL for criterion, each, _ in rivals if criterion - value < AS_GOOD]
    return Fitted(best, start, u_choice_mL=float(np.ptp(near)) / np.sqrt(12.0))
