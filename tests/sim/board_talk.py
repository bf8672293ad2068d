"""A host that speaks to the simulated board in bare frames, one thing at a time."""

from random import Random

from firmware_protocol.frames import FrameReader, frame
from firmware_protocol.messages import (
    EVENTS,
    Hello,
    LimitsInForce,
    Packet,
    Role,
    SetLimits,
    ValvePosition,
    Welcome,
    decode,
    encode,
)
from sim.board import SimulatedBoard
from sim.burette import SimulatedBurette
from sim.motor import BoardSettings
from sim.valve import SimulatedValve

STEP_US = 3750
REFILL_US = 7500
SESSION = 0xBEEF
VESSEL, RESERVOIR = ValvePosition.VESSEL, ValvePosition.RESERVOIR
SECOND_US = 1_000_000


def limits(highest=32000, step_us=STEP_US, dead_man_ms=2000, travel=100_000, refill_us=REFILL_US):
    return (highest, travel, step_us, refill_us, dead_man_ms)


class Recorder:
    """A cell that keeps what it was asked and answers with a ramp."""

    def __init__(self):
        self.asked = []

    def sample(self, t_s, delivered_mL):
        self.asked.append((t_s, delivered_mL))
        return 100.0 * t_s + 0.04


class Talk:
    """A host that says one thing at a time and keeps everything that it hears."""

    def __init__(self, *, backlash_steps=0, valve=True, home_switch=True, **faults):
        self.cell = Recorder()
        burette = SimulatedBurette(
            step_mL=0.000625, calibration=0.001, random_error_mL=0.001, random=Random(5), backlash_steps=backlash_steps
        )
        settings = BoardSettings(40000, STEP_US, -2_000_000, 2_000_000, 100, home_switch=home_switch)
        self.valve = SimulatedValve(turn_us=SECOND_US, **faults) if valve else None
        self.board = SimulatedBoard(burette, self.cell, settings, boot=0xB007, valve=self.valve)
        self.reader = FrameReader()
        self.heard = []
        self.number = 0

    def say(self, message, session=SESSION):
        self.number += 1
        self.board.receive(frame(encode(Role.HOST, Packet(self.number, session, message))))
        return self.answer(self.number)

    def answer(self, number):
        while data := self.board.run_until(self.board.now_us + 100_000):
            for found in self.reader.feed(data):
                packet = decode(Role.HOST, found)
                assert packet.stamp == self.board.boot
                if packet.number == number and not isinstance(packet.message, EVENTS):
                    return packet.message
                self.heard.append(packet.message)
        raise AssertionError("no answer")

    def listen(self, seconds):
        until = self.board.now_us + round(seconds * SECOND_US)
        while data := self.board.run_until(until):
            self.heard += [decode(Role.HOST, found).message for found in self.reader.feed(data)]
        heard, self.heard = self.heard, []
        return heard

    def begin(self, highest=32000, dead_man_ms=2000):
        assert isinstance(self.say(Hello(1)), Welcome)
        assert isinstance(self.say(SetLimits(*limits(highest, dead_man_ms=dead_man_ms))), LimitsInForce)
        return self
