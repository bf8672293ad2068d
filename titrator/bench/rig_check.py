"""Is the board the one that the rig file describes?"""

from firmware_protocol.messages import Capability, Welcome
from titrator.bench.errors import RigMismatchError
from titrator.bench.rig import Rig


def check_rig(rig: Rig, welcome: Welcome) -> None:
    """Raise RigMismatchError, naming every difference, where the board contradicts the rig file."""
    amplifier, burette = rig.amplifier, rig.burette.arithmetic
    stated = {
        "stroke in steps": (burette.stroke_steps, welcome.stroke_steps),
        "lower end of the range in µV": (round(amplifier.range.low_mV * 1000), welcome.range_low_uV),
        "upper end of the range in µV": (round(amplifier.range.high_mV * 1000), welcome.range_high_uV),
        "converter step in µV": (round(amplifier.step_mV * 1000), welcome.adc_step_uV),
    }
    wrong = [f"{what}: {here} in the rig file, {there} on the board" for what, (here, there) in stated.items()
             if here != there]  # fmt: skip
    if burette.least_step_us < welcome.least_step_us:
        wrong.append(
            f"top speed: a step of {burette.least_step_us} µs in the rig file, at least {welcome.least_step_us} µs on "
            f"the board"
        )
    if rig.burette.refills and not welcome.capabilities & Capability.VALVE:
        wrong.append("refills: on in the rig file, no valve on the board")
    if wrong:
        raise RigMismatchError(
            f"the board should be the one of rig '{rig.name}', but {'; '.join(wrong)}. Next: choose the rig file that "
            f"belongs to this board, or correct it"
        )
