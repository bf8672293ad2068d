"""The simulated cell: titrant runs in, mixes, equilibrates, and an electrode follows with lag, drift and noise."""

from sim.contents import Chemistry, Contents
from sim.electrode import Electrode
from sim.noise import NoiseSource
from sim.stirring import Stirring
from sim.surroundings import Surroundings

_STILL_MV = 1e-4
"""Mixing counts as over when what is not yet mixed would move the potential by less than this."""

_SLOPE_BOUND_MV = 40.0
"""Above s = RT/F at any temperature of a bench, in mV: for the test of stillness only."""


class SimulatedCell:
    """A vessel with stirrer, electrode and titrant, in virtual time from t = 0.

    Its state is what `contents` hold (amounts, volume, temperature), the time, what `stirring` has not mixed yet and
    what the `electrode` has reached; `surroundings` act on the contents while time passes. The parts are open to
    whoever breaks them (see `sim.faults`). At the start everything is at rest.
    """

    def __init__(
        self,
        contents: Contents,
        chemistry: Chemistry,
        electrode: Electrode,
        stirring: Stirring,
        surroundings: Surroundings | None = None,
        *,
        noise: tuple[NoiseSource, ...] = (),
    ) -> None:
        """Start with `contents` in the vessel and nothing delivered; they are changed in place."""
        self.contents = contents
        self.chemistry = chemistry
        self.electrode = electrode
        self.stirring = stirring
        self.surroundings = surroundings or Surroundings()
        self.noise = noise
        self.t_s = 0.0
        self.delivered_mL = 0.0
        self._still = True
        self._scale_mL = chemistry.scale_mL
        self._scale_mmol = 1000.0 * chemistry.scale_mol
        self._rest_mV, self._poise = chemistry.rest(contents)
        electrode.dip(self._rest_mV, self._poise, self._scale_mmol / contents.volume_mL)

    @property
    def rest_mV(self) -> float:
        """Potential that the solution as it is mixed now sets, in mV against the reference."""
        return self._rest_mV

    def sample(self, t_s: float, delivered_mL: float) -> float:
        """Potential in mV at the amplifier's input, noise and drift included, at `t_s` with `delivered_mL` delivered.

        Call it with times that do not decrease. Raises ValueError as `advance`.
        """
        self.advance(t_s, delivered_mL)
        potential_mV = self.electrode.read_mV(t_s)
        for source in self.noise:
            potential_mV += source(t_s)
        return potential_mV

    def advance(self, t_s: float, delivered_mL: float) -> None:
        """Let time pass to `t_s` while the delivered volume went straight to `delivered_mL`; no noise is drawn.

        Raises ValueError if time or volume go backwards: nothing in a real cell does.
        """
        passed_s = t_s - self.t_s
        before_mL = self.delivered_mL
        if passed_s < 0.0 or delivered_mL < before_mL:
            raise ValueError(
                f"time and delivered volume that do not decrease were expected (last {self.t_s} s, {before_mL} mL), "
                f"{t_s} s and {delivered_mL} mL came"
            )
        start_mV = self._rest_mV
        changed = self.surroundings.act(self.contents, self.chemistry, passed_s)
        if not self._still or delivered_mL != before_mL:
            self._mix(passed_s, delivered_mL)
        elif changed:
            self.disturbed()
        self.t_s = t_s
        self.electrode.follow(passed_s, start_mV, self._rest_mV)

    def disturbed(self) -> None:
        """The contents were changed by something else than titrant: take the potential of the solution anew."""
        contents = self.contents
        self._rest_mV, self._poise = self.chemistry.rest(contents)
        self.electrode.poised(self._poise, self._scale_mmol / contents.volume_mL)

    def _mix(self, passed_s: float, delivered_mL: float) -> None:
        """Move the mixed volume towards the delivered one and the potential of rest with it."""
        stirring = self.stirring
        new_mL = stirring.mix(passed_s, delivered_mL)
        # dE = G·s·dV/Ve; a poise of 0 (nothing oxidised yet) counts as not still.
        waiting_mL = abs(stirring.delivered_mL - stirring.mixed_mL)
        self._still = waiting_mL == 0.0 or waiting_mL * _SLOPE_BOUND_MV <= _STILL_MV * self._poise * self._scale_mL
        if self._still:
            new_mL += stirring.finish()
        self.chemistry.add_titrant(self.contents, new_mL)
        self.delivered_mL = delivered_mL
        self.disturbed()
