"""Section `reading`: when a potential counts as settled."""

from collections.abc import Iterable

from pydantic import Field

from titrator.files import Finding, StrictModel
from titrator.files.quantities import Duration_s, PositiveDrift_mV_per_s, PositiveDuration_s, PositivePotential_mV
from titrator.method.told_drift import least_told_drift_mV_per_s

BRIEFEST_s = 3.0  # a drift needs a few seconds of readings to be seen at all
FASTEST_READINGS_PER_SECOND = 100  # no rig file may say more; what a slower one can tell is checked with the rig


class Reading(StrictModel):
    """What is known beforehand of electrode and stirring; limits that are left out are derived from it."""

    noise_mV: PositivePotential_mV = Field(
        alias="noise", description="Standard deviation of single readings of a potential at rest."
    )
    response_s: PositiveDuration_s = Field(
        alias="response", description="Time constant of the electrode, as expected within a factor of two or so."
    )
    mixing_s: Duration_s = Field(alias="mixing", description="Time constant of mixing in the stirred vessel.")
    least_wait_s: Duration_s | None = Field(
        None,
        alias="least_wait",
        description="No reading is logged sooner after an addition. Without this key it is derived from `mixing` and "
        "`response`.",
    )
    longest_wait_s: PositiveDuration_s = Field(
        alias="longest_wait",
        description='A reading is logged after this time even if it is not settled; it then says "not settled" and '
        "by how much it may still be off.",
    )
    drift_below_mV_per_s: PositiveDrift_mV_per_s | None = Field(
        None,
        alias="drift_below",
        description="A reading is settled only when the potential drifts less. Without this key it is derived from "
        "`noise` and `response`.",
    )

    def findings(self) -> Iterable[Finding]:
        """Refuse waits in the wrong order, and a longest wait in which nothing can settle."""
        if self.least_wait_s is not None and self.least_wait_s > self.longest_wait_s:
            text = f"expected at most the longest wait of {self.longest_wait_s:g} s, got {self.least_wait_s:g} s"
            yield Finding(("least_wait",), text)
        shortest_s = max(BRIEFEST_s, self.response_s + 2 * self.mixing_s)
        if self.longest_wait_s < shortest_s:
            yield Finding(
                ("longest_wait",),
                f"expected at least {shortest_s:g} s (response and twice the mixing: nothing settles sooner), got "
                f"{self.longest_wait_s:g} s",
            )
        else:
            yield from self.drift_findings(FASTEST_READINGS_PER_SECOND, self.noise_mV, "the fastest amplifier")

    def drift_findings(self, readings_per_second: float, noise_mV: float, amplifier: str) -> Iterable[Finding]:
        """Refuse a limit of the drift that so many readings with such noise can never tell to be met."""
        least_mV_per_s = least_told_drift_mV_per_s(
            noise_mV=noise_mV,
            response_s=self.response_s,
            mixing_s=self.mixing_s,
            longest_wait_s=self.longest_wait_s,
            readings_per_second=readings_per_second,
        )
        if self.drift_below_mV_per_s is not None and self.drift_below_mV_per_s < least_mV_per_s:
            yield Finding(
                ("drift_below",),
                f"expected at least {least_mV_per_s:.2g} mV/s (no smaller drift can be told from {noise_mV:.3g} mV of "
                f"noise within the longest wait of {self.longest_wait_s:g} s, with {readings_per_second:g} "
                f"reading{'s' * (readings_per_second != 1)} a second of {amplifier}; without the key the limit is "
                f"derived), got {self.drift_below_mV_per_s:.3g} mV/s: no reading would ever count as settled",
            )
