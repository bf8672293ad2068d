"""The electrode pair and the amplifier's input: from the potential that the solution sets to the one that is read."""

import math

from sim.amplifier_input import AmplifierInput
from sim.lag import lagged
from sim.oxide import OxideLaw
from sim.response import ResponseLaw

_COATED_TIMES = 20.0
"""The part of a step that comes through a coating comes so many times more slowly (invented)."""
_COATED_SLOWER = 4.0
"""A full coating makes the rest slower by one more than this (invented)."""


class Electrode:
    """Follows the potential of the mixed solution, first order, with the response time of the present composition.

    What a sound electrode shows stands in the chemistry, whose `rest` gives potentials with the slope share and the
    zero point as drawn, whatever the indicator; how fast it shows it stands in `law`. What can be wrong with it:
    `offset_mV` (of the amplifier or the reference), `drift_mV_per_s` (steady, of the reference), `coated` (0 to 1:
    slower, and so much of every step arrives twenty times later), `cracked` (0 to 1: a leak through the membrane pulls
    the potential towards zero), `oxide_mV` with `oxide` (see `OxideLaw`), `disconnected`, and what the input does (see
    `AmplifierInput`).
    """

    def __init__(
        self,
        law: ResponseLaw,
        *,
        drift_mV_per_s: float = 0.0,
        amplifier: AmplifierInput | None = None,
        oxide: OxideLaw | None = None,
        oxide_mV: float = 0.0,
        coated: float = 0.0,
        cracked: float = 0.0,
        offset_mV: float = 0.0,
    ) -> None:
        """An electrode that has not been dipped in yet: `dip` comes first."""
        self.law = law
        self.drift_mV_per_s = drift_mV_per_s
        self.amplifier = amplifier or AmplifierInput()
        self.oxide = oxide
        self.oxide_mV = oxide_mV
        self._coated = coated
        self.cracked = cracked
        self.offset_mV = offset_mV
        self.tau_s = law.response_s
        """Response time of a sound electrode in what is mixed now, in s."""
        self._fast_mV = self._slow_mV = 0.0
        self._open_since_s: float | None = None

    @property
    def potential_mV(self) -> float:
        """The potential that the electrode has reached, in mV against the reference, before drift, offset and input."""
        if self._coated:
            return (1.0 - self._coated) * self._fast_mV + self._coated * self._slow_mV
        return self._fast_mV

    @property
    def coated(self) -> float:
        """Share of the coating; a coating that comes, grows or is wiped off begins where the electrode stands."""
        return self._coated

    @coated.setter
    def coated(self, share: float) -> None:
        self._fast_mV = self._slow_mV = self.potential_mV
        self._coated = share

    @property
    def disconnected(self) -> bool:
        """Whether the input is open."""
        return self._open_since_s is not None

    def disconnect(self, t_s: float) -> None:
        """The plug comes off at `t_s`."""
        if self._open_since_s is None:
            self._open_since_s = t_s

    def dip(self, rest_mV: float, poise: float, mol_per_L: float = math.inf) -> None:
        """Stand in a solution until at rest; a cover of oxide is there all the same."""
        self.poised(poise, mol_per_L)
        self._fast_mV = self._slow_mV = self._target_mV(rest_mV)

    def poised(self, poise: float, mol_per_L: float = math.inf) -> None:
        """Take the response time from how well the solution is poised now; see `ResponseLaw`."""
        self.tau_s = self.law.tau_s(poise, mol_per_L)

    def follow(self, passed_s: float, start_mV: float, end_mV: float) -> None:
        """Let time pass while the potential of the solution went straight from `start_mV` to `end_mV`."""
        if self.oxide is None and not self._coated and not self.cracked:
            self._fast_mV = lagged(self._fast_mV, start_mV, end_mV, passed_s / self.tau_s)
            return
        tau_s = self.tau_s * (1.0 + _COATED_SLOWER * self._coated)
        if self.oxide is not None:
            self.oxide_mV = self.oxide.after(self.oxide_mV, self._fast_mV, passed_s)
            tau_s *= self.oxide.slowed(self.oxide_mV)
        start_mV, end_mV = self._target_mV(start_mV), self._target_mV(end_mV)
        self._fast_mV = lagged(self._fast_mV, start_mV, end_mV, passed_s / tau_s)
        self._slow_mV = lagged(self._slow_mV, start_mV, end_mV, passed_s / (_COATED_TIMES * tau_s))

    def read_mV(self, t_s: float) -> float:
        """Potential at the amplifier's input at a time, without noise."""
        potential_mV = (self.potential_mV if self._coated else self._fast_mV) + self.drift_mV_per_s * t_s
        amplifier = self.amplifier
        if self.offset_mV:
            potential_mV += self.offset_mV
        if self._open_since_s is not None:
            return amplifier.open_mV(potential_mV, t_s - self._open_since_s, t_s)
        if amplifier.source_MOhm:
            potential_mV *= amplifier.gain
        if amplifier.hum_mV:
            potential_mV += amplifier.humming_mV(t_s)
        return potential_mV

    def _target_mV(self, rest_mV: float) -> float:
        """What the electrode would read in a solution of `rest_mV` after a long wait."""
        if self.oxide is not None and self.oxide_mV:
            rest_mV = self.oxide.raised_mV(self.oxide_mV, rest_mV)
        return (1.0 - self.cracked) * rest_mV
