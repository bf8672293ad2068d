"""The rig file: what stands on the bench, and the times that the link to it keeps."""

import difflib
import math
from collections.abc import Iterable
from pathlib import Path
from typing import Literal

from pydantic import Field

from titrator.bench.board_section import BoardSection
from titrator.bench.burette import Burette
from titrator.bench.materials import material_file
from titrator.files.load import load
from titrator.files.models import Finding, StrictModel
from titrator.files.quantities import (
    Duration_s,
    NonNegativeRatio,
    PositiveCount,
    PositiveDuration_s,
    PositivePotential_mV,
    PositiveVolume_mL,
    Potential_mV,
    Speed_mL_per_min,
    Volume_mL,
)
from titrator.files.schema import one_of
from titrator.files.texts import FilePath, Text

WIDEST_CALIBRATION = 0.05
"""A part of the volume; burettes are good to 0.5 % or better (common practice), and ten times that is a slip."""
MOST_STEPS = 2**31 - 1
"""The wire counts steps in 32 bits with sign."""
FEEDS_PER_DEAD_MAN = 4
"""The board hears from us at least this often within its dead-man time while the motor runs."""


class Calibration(StrictModel):
    """How far the burette may be from what it indicates, the same everywhere."""

    half_width: NonNegativeRatio = Field(description="Half the width of its rectangular limits, a part of the volume.")

    def findings(self) -> Iterable[Finding]:
        """A burette that is off by more has a fault, or its file a slip."""
        if self.half_width > WIDEST_CALIBRATION:
            text = f"expected at most {100 * WIDEST_CALIBRATION:g} % of the volume, got {100 * self.half_width:g} %"
            yield Finding(("half_width",), text)

    @property
    def u(self) -> float:
        """Standard uncertainty, a part of the volume: half_width/√3 (JCGM 100:2008, 4.3.7)."""
        return self.half_width / math.sqrt(3)


class BuretteSection(StrictModel):
    """The burette."""

    stroke_mL: PositiveVolume_mL = Field(alias="stroke", description="Volume of one filling.")
    step_mL: PositiveVolume_mL = Field(alias="step", description="Volume of one step of the motor.")
    top_speed_mL_per_min: Speed_mL_per_min = Field(alias="top_speed", description="Fastest delivery.")
    random_error_mL: Volume_mL = Field(
        alias="random_error", description="Standard deviation of the volume about each target, from dose to dose."
    )
    calibration: Calibration = Field(description="What is not known of the burette's own scale.")
    refills: bool = Field(
        False, description="Whether the burette refills itself in mid-run. Without it a run is at most one stroke."
    )
    refill_speed_mL_per_min: Speed_mL_per_min | None = Field(
        None,
        alias="refill_speed",
        description="Fastest filling, at most the top speed, which it is unless stated. Fast suction makes bubbles.",
    )
    settle_after_refill_s: Duration_s = Field(
        2.0,
        alias="settle_after_refill",
        description="Rest between filling and delivering. A small bubble rises some 5 cm in a second (from memory), so "
        "2 s let it leave the barrel.",
    )
    backlash_mL: Volume_mL = Field(
        0.0,
        alias="backlash",
        description="Volume of motion that is lost when the plunger turns round, at most. It is taken up towards the "
        "reservoir after each refill, so that every dose is delivered in one direction.",
    )
    dead_volume_mL: Volume_mL | None = Field(
        None,
        alias="dead_volume",
        description="Volume from valve to tip. Another titrant is let in only with a purge of three times as much.",
    )

    microsteps: PositiveCount = Field(
        16,
        description="Steps in a full step of the motor. Without current it may snap so far either way, so after a loss "
        "of power the volume is uncertain by as much.",
    )

    @property
    def arithmetic(self) -> Burette:
        """Volumes to steps and back."""
        return Burette(self.step_mL, self.stroke_mL, self.top_speed_mL_per_min)

    @property
    def filling_speed_mL_per_min(self) -> float:
        """Speed of a refill."""
        return self.refill_speed_mL_per_min or self.top_speed_mL_per_min

    def findings(self) -> Iterable[Finding]:
        """A step must be small beside the stroke, and so must what a refill loses of it."""
        if self.refill_speed_mL_per_min is not None and self.refill_speed_mL_per_min > self.top_speed_mL_per_min:
            yield Finding(
                ("refill_speed",),
                f"expected at most the top speed, {self.top_speed_mL_per_min:g} mL/min, got "
                f"{self.refill_speed_mL_per_min:g} mL/min",
            )
        if self.backlash_mL * 10 > self.stroke_mL:
            yield Finding(
                ("backlash",),
                f"expected at most {self.stroke_mL / 10:g} mL, a tenth of the stroke, got {self.backlash_mL:g} mL",
            )
        if self.step_mL * 100 > self.stroke_mL:
            yield Finding(
                ("step",),
                f"expected at most {self.stroke_mL / 100:g} mL, a hundredth of the stroke, got {self.step_mL:g} mL",
            )
        if self.stroke_mL / self.step_mL > MOST_STEPS:
            yield Finding(
                ("step",),
                f"expected at least {self.stroke_mL / MOST_STEPS:.3g} mL, so that the wire can count its steps, got "
                f"{self.step_mL:.3g} mL",
            )
        if self.random_error_mL * 1000 > self.stroke_mL:
            yield Finding(
                ("random_error",),
                f"expected at most {self.stroke_mL / 1000:g} mL, a thousandth of the stroke, got "
                f"{self.random_error_mL:g} mL",
            )


class Range(StrictModel):
    """The ends of what the amplifier can tell."""

    low_mV: Potential_mV = Field(alias="low", description="Lower end.")
    high_mV: Potential_mV = Field(alias="high", description="Upper end.")

    def findings(self) -> Iterable[Finding]:
        """Low below high."""
        if not self.low_mV < self.high_mV:
            yield Finding(("low",), f"expected low below high, got low {self.low_mV:g} mV and high {self.high_mV:g} mV")


class AmplifierSection(StrictModel):
    """The electrode's amplifier and converter."""

    range: Range = Field(description="Potentials between the electrodes that it can tell.")
    step_mV: PositivePotential_mV = Field(alias="step", description="One step of the converter.")
    readings_per_second: PositiveCount = Field(description="Readings that the board sends in a second.")
    readings_per_block: PositiveCount = Field(
        5, description="Readings in one frame: more make less traffic, fewer are told sooner. At most 7."
    )

    @property
    def period_ms(self) -> int:
        """Time between two readings in whole ms."""
        return max(1, round(1000 / self.readings_per_second))

    def findings(self) -> Iterable[Finding]:
        """What the wire can carry, and a converter that tells something."""
        span_mV = self.range.high_mV - self.range.low_mV
        if self.step_mV * 1000 > span_mV:
            yield Finding(
                ("step",),
                f"expected at most {span_mV / 1000:g} mV, a thousandth of the range, got {self.step_mV:g} mV",
            )
        if self.readings_per_second > 100:
            yield Finding(
                ("readings_per_second",), f"expected at most 100 readings a second, got {self.readings_per_second}"
            )
        if self.readings_per_block > 7:
            yield Finding(
                ("readings_per_block",), f"expected at most 7 readings in a block, got {self.readings_per_block}"
            )


class LinkSection(StrictModel):
    """Times of the link. Every one has a reason, which the comments of the rig file give."""

    answer_within_s: PositiveDuration_s = Field(
        0.25, alias="answer_within", description="How long an answer may take before the request is repeated."
    )
    attempts: PositiveCount = Field(4, description="How often a request is sent before the link counts as lost.")
    dead_man_s: PositiveDuration_s = Field(
        2.0, alias="dead_man", description="The board stops its motor when it hears nothing valid for so long."
    )

    starts_within_s: PositiveDuration_s = Field(
        5.0,
        alias="starts_within",
        description="How long a board may take to answer after its port was opened: opening restarts some boards.",
    )

    returns_within_s: PositiveDuration_s = Field(
        120.0,
        alias="returns_within",
        description="How long a board that no longer answers is looked for before the run ends. Its motor stands by "
        "then; the sample waits.",
    )

    @property
    def feed_every_s(self) -> float:
        """How often the board is spoken to while its motor runs."""
        return self.dead_man_s / FEEDS_PER_DEAD_MAN

    def findings(self) -> Iterable[Finding]:
        """A lost frame and its repeats must fit into the dead-man time, or one lost frame stops a dose."""
        if self.dead_man_s > 65.0:
            yield Finding(("dead_man",), f"expected a dead-man time of at most 65 s, got {self.dead_man_s:g} s")
        needed_s = self.feed_every_s + self.attempts * self.answer_within_s
        least_s = self.attempts * self.answer_within_s / (1 - 1 / FEEDS_PER_DEAD_MAN)
        if needed_s > self.dead_man_s:
            yield Finding(
                ("dead_man",),
                f"expected at least {math.ceil(10 * min(least_s, 1e6)) / 10:g} s (room for {self.attempts} attempts of "
                f"{self.answer_within_s:g} s in three quarters of it), got "
                f"{self.dead_man_s:g} s",
            )


class RecordSection(StrictModel):
    """How the record is kept."""

    sync: bool = Field(
        True,
        description="Whether every line is forced to the disk before the next step. Only a rehearsal may do without.",
    )


class Rig(StrictModel):
    """A rig file."""

    format: Literal[1] = Field(description="Version of this file format.")
    name: Text = Field(description="What people call this rig.")
    kind: Literal["simulated", "serial"] = Field(
        description="What is behind it: `simulated` for rehearsals only, or `serial`, a board at a port."
    )
    board: BoardSection | None = Field(None, description="Which board it is. A rig of kind `serial` needs it.")
    burette: BuretteSection = Field(description="The burette.")
    wetted: tuple[Text, ...] | None = Field(
        None,
        description="Materials that titrant touches, from plunger to tip, by their names in the table "
        "titrator/bench/materials.yaml: [glass, PTFE, FEP]. No run begins without it.",
        json_schema_extra=one_of(lambda: material_file().materials),
    )
    amplifier: AmplifierSection = Field(description="The electrode's amplifier.")
    memory: FilePath | None = Field(
        None,
        description="File that remembers which titrant this rig holds; `<name of the rig file>.memory.json` beside it "
        "unless stated. Only real runs read and write it.",
    )
    link: LinkSection = Field(default_factory=lambda: LinkSection.model_validate({}), description="Times of the link.")
    record: RecordSection = Field(
        default_factory=lambda: RecordSection.model_validate({}), description="How the record is kept."
    )

    def findings(self) -> Iterable[Finding]:
        """Refuse materials that the table does not name (nothing could be said of them), and half a board."""
        known = {name.lower(): name for name in material_file().materials}
        for number, material in enumerate(self.wetted or ()):
            if material in known.values():
                if material in (self.wetted or ())[:number]:
                    yield Finding(("wetted", number), f"expected each material once, got {material} again")
                continue
            near = difflib.get_close_matches(material.lower(), known, n=1)
            hint = f"; did you mean {known[near[0]]}?" if near else ""
            yield Finding(
                ("wetted", number),
                f"expected a material of the table ({', '.join(known.values())}{hint}), got {material}",
            )
        if self.kind == "serial" and self.board is None:
            yield Finding(
                (), "expected the key board (with the identity of the board) for a rig of kind serial, got none"
            )
        if self.kind == "simulated" and self.board is not None:
            yield Finding(
                ("board",), "expected no board for a rig of kind simulated (did you mean kind: serial?), got one"
            )
        if self.wetted == ():
            yield Finding(("wetted",), "expected at least one material, got an empty list")


def load_rig(path: str | Path) -> Rig:
    """Read a rig file. FileProblem, with line and column, for whatever is wrong in it."""
    return load(path, Rig)
