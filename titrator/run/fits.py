"""Does a method fit a rig? Everything that neither file can know alone, told at the place in the method file.

Used by `titrator check --rig`, and by every run before anything moves.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from titrator.bench.materials import named, objections, serving
from titrator.bench.rig import Rig
from titrator.files import Finding, located
from titrator.method import Method
from titrator.method.plausible import expected_volumes_mL

STEPS_PER_AIM: Final = 3
"""An aim of fewer steps of the converter cannot be told from its rounding, as one of three times the noise cannot."""

ERRORS_APART: Final = 3
"""So many random errors apart two places of the plunger are in their order but for one pair in sixty (derived)."""

ERRORS_PER_ADDITION: Final = 10
"""An addition lies between two positions: at ten times the random error of one it is known to √2/10 = 14 %, so that a
slope stands 7 standard errors above zero (derived)."""

A_YEAR_S: Final = 31_557_600  # longer times are not told to the second


def fits(method: Method, method_path: Path, rig: Rig) -> None:
    """Raise FileProblem, all problems located in the method file, where the rig cannot do what the method asks."""
    found = [finding for check in CHECKS for finding in check(method, rig)]
    if found:
        raise located(method_path, found)


def one_stroke_is_enough(method: Method, rig: Rig) -> Iterable[Finding]:
    """Without refills everything must come out of one stroke."""
    asked_mL, stroke_mL = method.ends_when.volume_above_mL, rig.burette.stroke_mL
    if rig.burette.refills or asked_mL <= stroke_mL:
        return
    volumes_mL = expected_volumes_mL(
        method.sample, method.titrant, method.reaction, max(1, method.find.equivalence_points)
    )
    if volumes_mL is None:
        advice = "take a smaller aliquot, or a burette that is larger or refills (burette.refills)"
    elif volumes_mL[1] < stroke_mL:
        advice = f"lower it, for the strongest expected sample takes {volumes_mL[1]:.4g} mL"
    else:
        advice = (
            f"the strongest expected sample takes {volumes_mL[1]:.4g} mL, so take at most "
            f"{math.floor(100 * stroke_mL / volumes_mL[1])} % of this aliquot, or a burette that is larger or refills"
        )
    yield Finding(
        ("ends_when", "volume_above"),
        f"expected at most {stroke_mL:g} mL, one stroke of the burette of {_named(rig)} with its refills off, got "
        f"{asked_mL:g} mL: {advice}",
    )


def additions_can_be_told(method: Method, rig: Rig) -> Iterable[Finding]:
    """The burette cannot deliver less than a step of its motor, nor place an addition better than its random error."""
    additions, burette = method.additions, rig.burette
    # The rule that knows the law of the curve takes no slope between two neighbours: they may lie closer.
    errors = ERRORS_APART if additions.smallest_key == "finest" else ERRORS_PER_ADDITION
    least_mL, why = burette.step_mL, f"one step of the motor of {_named(rig)}"
    if errors * burette.random_error_mL > least_mL:
        least_mL = errors * burette.random_error_mL
        why = f"{errors} times the random error of the burette of {_named(rig)}, {_volume(burette.random_error_mL)}"
    if additions.smallest_mL < least_mL * (1.0 - 1e-9):
        yield Finding(
            ("additions", additions.smallest_key),
            f"expected at least {_volume(least_mL)}, {why}, got {_volume(additions.smallest_mL)}",
        )


def volume_comes_in_time(method: Method, rig: Rig) -> Iterable[Finding]:
    """The titration must not end by the clock while the burette at its fastest has not delivered what it may."""
    fastest_s = 60 * method.ends_when.volume_above_mL / rig.burette.top_speed_mL_per_min
    if method.ends_when.time_over_s < fastest_s:
        yield Finding(
            ("ends_when", "time_over"),
            f"expected at least {math.ceil(min(fastest_s, A_YEAR_S))} s, in which {_named(rig)} delivers "
            f"{method.ends_when.volume_above_mL:g} mL at its top speed of {rig.burette.top_speed_mL_per_min:g} mL/min, "
            f"got {method.ends_when.time_over_s:g} s",
        )


def potentials_are_in_range(method: Method, rig: Rig) -> Iterable[Finding]:
    """The amplifier can tell the potentials that decide something."""
    low_mV, high_mV = rig.amplifier.range.low_mV, rig.amplifier.range.high_mV
    end_mV = method.ends_when.potential_beyond_mV
    wanted = [(("electrode", "start_window", n), value) for n, value in enumerate(method.electrode.start_window_mV)]
    for at, value_mV in (*wanted, (("ends_when", "potential_beyond"), end_mV)):
        if value_mV is not None and not low_mV < value_mV < high_mV:
            yield Finding(
                at,
                f"expected a potential within {low_mV:g} to {high_mV:g} mV, all that the amplifier of {_named(rig)} "
                f"can tell, got {value_mV:g} mV",
            )


def aim_stands_above_rounding(method: Method, rig: Rig) -> Iterable[Finding]:
    """The change of potential aimed at is more than the converter's rounding."""
    additions, least_mV = method.additions, STEPS_PER_AIM * rig.amplifier.step_mV
    if additions.rule == "adaptive" and additions.aim_mV < least_mV:
        yield Finding(
            ("additions", "aim"),
            f"expected at least {least_mV:g} mV, {STEPS_PER_AIM} steps of the converter of {_named(rig)}, got "
            f"{additions.aim_mV:g} mV",
        )


def drift_can_be_told(method: Method, rig: Rig) -> Iterable[Finding]:
    """A drift as small as the limit can be told from noise and rounding at this rig's rate of readings."""
    noise_mV = math.hypot(method.reading.noise_mV, rig.amplifier.step_mV / math.sqrt(12))
    told = method.reading.drift_findings(rig.amplifier.readings_per_second, noise_mV, _named(rig))
    return [Finding(("reading", *finding.at), finding.text) for finding in told]


def wetted_parts_stand_the_titrant(method: Method, rig: Rig) -> Iterable[Finding]:
    """Nothing that titrant touches uses it up or is eaten by it."""
    titrant, acid = method.reaction.titrant, method.medium.name
    serve = serving(titrant, acid)
    advice = f"{', '.join(serve)} serve" if serve else "enter what is known into titrator/bench/materials.yaml"
    solution = named(titrant, acid)
    if rig.wetted is None:
        yield Finding(
            ("reaction", "titrant"),
            f"expected a rig that names the materials which titrant touches (key wetted), for {solution} attacks some "
            f"({advice}), got none in the file of {_named(rig)}",
        )
        return
    against = objections(titrant, acid, rig.wetted, method.titrant.concentration.value_mol_per_L)
    if against:
        yield Finding(
            ("reaction", "titrant"),
            f"expected wetted parts that stand {solution} ({advice}), got in {_named(rig)}: {'; '.join(against)}",
        )


def _named(rig: Rig) -> str:
    return f'"{rig.name}"'


def _volume(volume_mL: float) -> str:
    return f"{volume_mL:g} mL" if volume_mL >= 0.01 else f"{1000 * volume_mL:g} µL"


CHECKS = (
    one_stroke_is_enough,
    additions_can_be_told,
    volume_comes_in_time,
    potentials_are_in_range,
    aim_stands_above_rounding,
    drift_can_be_told,
    wetted_parts_stand_the_titrant,
)
"""Every check between method and rig."""
