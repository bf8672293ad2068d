"""`titrator rig move`, `home`, `read`, `watch`, `amplifier`: a rig used by hand."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from titrator.cli.failure import NOT_DONE, Failure, input_errors
from titrator.cli.finite import FiniteRange

if TYPE_CHECKING:
    from titrator.bench.amplifier_check import Measured
    from titrator.bench.rig import Rig

_RIG = click.argument("rig_path", metavar="RIG", type=click.Path(path_type=Path))
_JSON = click.option(
    "--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else there."
)
_SECONDS = click.option(
    "--seconds", type=FiniteRange(min=0.5, max=3600), default=5.0, show_default=True, help="For so long."
)
_MOST_GAIN_ERROR = 0.5
OVER_WASTE = "is the tip over waste?"


@contextlib.contextmanager
def _failures() -> Iterator[None]:
    from titrator.bench.errors import BenchError

    try:
        with input_errors():
            yield
    except BenchError as error:
        raise Failure(str(error), NOT_DONE) from error


def _rig(path: Path) -> Rig:
    from titrator.bench.rig import load_rig

    return load_rig(path)


@click.command()
@_RIG
@click.argument("volume_mL", metavar="VOLUME", type=FiniteRange(min=0.0, min_open=True))
@click.option("--over-waste", is_flag=True, help="The tip is over waste; without it you are asked.")
@_JSON
def move(rig_path: Path, volume_ml: float, over_waste: bool, as_json: bool) -> None:
    """Deliver VOLUME (in mL) by the burette of the rig file RIG, over waste."""
    from titrator.bench.by_hand import by_hand, deliver

    _over_waste(over_waste)
    with _failures(), by_hand(_rig(rig_path), volume_ml) as bench:
        ended = deliver(bench, volume_ml)
    told = {"delivered_mL": ended.volume_mL, "position": ended.steps, "reason": ended.reason}
    _tell(
        told, f"{ended.volume_mL:.4f} mL delivered, the plunger rests at step {ended.steps} ({ended.reason})", as_json
    )


@click.command()
@_RIG
@_JSON
def home(rig_path: Path, as_json: bool) -> None:
    """Fill the burette of the rig file RIG from its reservoir, back to the home switch, and compare the count there."""
    from titrator.bench.by_hand import by_hand, fill
    from titrator.bench.refill import outcome_told

    steps: list[dict[str, object]] = []
    with _failures(), by_hand(_rig(rig_path), 0.0) as bench:
        fill(bench, lambda news: steps.append(outcome_told(news)))
        at, found = bench.plunger.at, bench.plunger.home
    _tell(
        {"position": at, "home": found, "steps": steps}, f"filled: home at step {found}, at rest at step {at}", as_json
    )


@click.command()
@_RIG
@_SECONDS
@_JSON
def read(rig_path: Path, seconds: float, as_json: bool) -> None:
    """Read the electrode of the rig file RIG: mean, scatter, and what went missing."""
    from titrator.bench.by_hand import by_hand, readings

    with _failures(), by_hand(_rig(rig_path), 0.0) as bench:
        found, missed, saturated = readings(bench, seconds)
    told = {**found._asdict(), "missed": missed, "at_an_end_of_the_range": saturated}
    text = f"{found.mean_mV:.3f} mV, standard deviation {found.sd_mV:.3f} mV, {found.readings} readings"
    more = [f"{missed} missed"] * (missed > 0) + [f"{saturated} at an end of the range"] * (saturated > 0)
    _tell(told, ", ".join([text, *more]), as_json)


@click.command()
@_RIG
@_SECONDS
@_JSON
def watch(rig_path: Path, seconds: float, as_json: bool) -> None:
    """Watch the link to the board of the rig file RIG while it sends readings, and count what goes wrong."""
    from titrator.bench.by_hand import by_hand, counters, readings

    with _failures(), by_hand(_rig(rig_path), 0.0) as bench:
        began = bench.now_s
        while bench.now_s - began < seconds:
            readings(bench, min(1.0, seconds))
            told = counters(bench)
            if not as_json:
                click.echo(f"{bench.now_s - began:6.1f} s  {', '.join(f'{n} {name}' for name, n in told.items() if n)}")
    if as_json:
        _tell(told, "", as_json)


@click.command()
@_RIG
@click.option("--voltage", "voltage_mv", type=FiniteRange(), required=True, help="The known voltage in mV.")
@click.option("--seconds", type=FiniteRange(min=1, max=600), default=5.0, show_default=True, help="For each step.")
@click.option("--over-waste", is_flag=True, help="Let the motor run, over waste, while hum is looked for.")
@click.option("--yes", is_flag=True, help="Ask for nothing: whatever switches the sources does it by itself.")
@_JSON
def amplifier(rig_path: Path, as_json: bool, yes: bool, **options: Any) -> None:
    """Check the amplifier of the rig file RIG: offset and noise, gain, input resistance, hum.

    You are asked to short its input, to connect a known voltage, the same through 10 and through 100 MΩ (the loss
    tells the input's resistance), and at last the voltage again with stirrer and motor on (the motor with
    --over-waste only).
    """
    from titrator.bench import amplifier_check as check

    voltage_mV = options["voltage_mv"]
    if voltage_mV == 0.0:
        raise Failure("--voltage: expected a voltage other than 0 mV, got 0")
    steps = [
        ("shorted", "short the input"),
        ("direct", f"connect {voltage_mV:g} mV to the input"),
        ("through 10 MΩ", f"connect {voltage_mV:g} mV through 10 MΩ"),
        ("through 100 MΩ", f"connect {voltage_mV:g} mV through 100 MΩ"),
        ("hum", f"connect {voltage_mV:g} mV without a resistor, and switch the stirrer on"),
    ]
    found: dict[str, Measured] = {}
    with _failures():
        rig = _rig(rig_path)
        for name, what in steps:
            if not yes and not click.confirm(f"Please {what}. Done?", default=True, err=True):
                raise Failure("the check was broken off", NOT_DONE)
            found[name] = _step(rig, options["seconds"], hum=name == "hum", motor=options["over_waste"])
            if name == "direct":
                _connected(check.gain_error(found["shorted"], found["direct"], voltage_mV), voltage_mV)
    shorted, direct = found["shorted"], found["direct"]
    inputs = {
        f"{MOhm:g}": check.input_resistance(shorted, direct, found[f"through {MOhm:g} MΩ"], MOhm)
        for MOhm in check.RESISTORS_MOHM
    }
    told = {
        "offset_mV": shorted.mean_mV,
        "noise_mV": shorted.sd_mV,
        "gain_error": check.gain_error(shorted, direct, voltage_mV),
        "input": {name: each._asdict() for name, each in inputs.items()},
        "hum_mV": check.hum_mV(shorted, found["hum"]),
        "hum_with_motor": options["over_waste"],
        "good_for_glass": inputs["100"].MOhm >= check.LEAST_INPUT_MOHM,
    }
    _tell(told, "\n".join(_lines(told, inputs)), as_json)


def _connected(gain_error: float, voltage_mV: float) -> None:
    """No amplifier is wrong by half: then it is not the voltage that was read."""
    if abs(gain_error) > _MOST_GAIN_ERROR:
        raise Failure(
            f"expected some {voltage_mV:g} mV beyond the shorted input, got {(1.0 + gain_error) * voltage_mV:.3f} mV: "
            f"is the voltage connected, with its sign, and was the input shorted before?",
            NOT_DONE,
        )


def _step(rig: Rig, seconds: float, *, hum: bool, motor: bool) -> Measured:
    from titrator.bench.by_hand import by_hand, check_left, hum_travel_mL, readings, run_motor

    with by_hand(rig, hum_travel_mL(rig, seconds) if motor else 0.0) as bench:
        if motor:
            check_left(bench, hum_travel_mL(rig, seconds))  # from the first step on: it is needed in the last one
        if motor and hum:
            run_motor(bench, seconds)
        found, _, saturated = readings(bench, seconds, hum=hum)
    if saturated:
        raise Failure(
            f"{saturated} readings at an end of the range: is the voltage within it, and connected?", NOT_DONE
        )
    return found


def _lines(told: dict[str, Any], inputs: dict[str, Any]) -> Iterator[str]:
    yield f"Offset:      {told['offset_mV']:.3f} mV, noise {told['noise_mV']:.3f} mV"
    yield f"Gain:        {100 * told['gain_error']:+.3f} %"
    for name, each in inputs.items():
        least = "at least " if each.at_least else ""
        yield f"Over {name:>3} MΩ: loss {100 * each.loss:.4f} %, input resistance {least}{each.MOhm:.3g} MΩ"
    motor = "stirrer and motor on" if told["hum_with_motor"] else "stirrer on, motor at rest"
    yield f"Hum:         {told['hum_mV']:.3f} mV in amplitude, {motor}"
    if not told["good_for_glass"]:
        yield "A glass electrode would lose more than 1 % at this input. Next: clean and dry its socket, check again"


def _over_waste(said: bool) -> None:
    if not said and not click.confirm(f"The burette will deliver: {OVER_WASTE}", default=False, err=True):
        raise Failure("nothing was moved: put the tip over waste first", NOT_DONE)


def _tell(document: dict[str, Any], text: str, as_json: bool) -> None:
    if as_json:
        from titrator.cli.output import print_json

        print_json(document)
    else:
        click.echo(text)
