"""What it means when something was not reported in time, in sentences a person can act on."""

from __future__ import annotations

from titrator.control.ends import Cause, Ending
from titrator.control.states import State


def halt_overdue(within_s: float, before: Ending | None) -> Ending:
    """The board did not confirm rest within `within_s`; `before` is why the run was halted at all."""
    because = f" (halting because: {before.sentence})" if before else ""
    return Ending(
        Cause.LINK,
        f"the board did not confirm within {within_s:g} s that the motor rests{because}. The delivered volume is "
        "uncertain: look at the burette before anything else",
    )


def work_overdue(state: State, dose: int, target_mL: float, waited_s: float) -> Ending:
    """Nothing came of what `state` waits for: `dose` towards `target_mL`, or readings for `waited_s`."""
    if state is State.REFILLING or state is State.PRIMING:
        sentence = f"{state.value} was not reported done in time: motor or valve stalled, or the link broken"
        return Ending(Cause.BURETTE, sentence)
    if state is State.DOSING:
        sentence = (
            f"dose {dose} to {target_mL:.4f} mL was not reported done in time: motor stalled, board restarted or link "
            "broken"
        )
        return Ending(Cause.BURETTE, sentence)
    return Ending(Cause.LINK, f"no reading arrived in {waited_s:.0f} s of waiting: amplifier or link silent")
