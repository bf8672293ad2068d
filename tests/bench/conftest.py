"""A bench on a simulated board around a plain cell, and a wire that can be told to misbehave."""

from pathlib import Path

import pytest
from serial.urlhandler import protocol_socket

from sim.world import Hardware, World, build_board
from titrator.bench.bench import Bench
from titrator.bench.rig import load_rig

RIG = Path(__file__).parents[2] / "configs" / "rigs" / "simulated.yaml"
FATES = ("pass", "lose", "double", "corrupt", "delay", "cut")


class PlainCell:
    """100 mV for each mL."""

    def sample(self, t_s, delivered_mL):
        return 100.0 * delivered_mL


class FaultyTransport:
    """Between the host and a transport: each frame, either way, meets the fate that `fates` names for it.

    `fates(direction, count)` gives one of FATES; direction is "out" (to the board) or "in". A delayed frame comes
    `delay_s` later, after frames that were sent behind it. `piece` is the most bytes that the host reads
    at once.
    """

    def __init__(self, inner, fates=lambda _direction, _count: "pass", delay_s=0.6, piece=None):
        self.inner = inner
        self.fates = fates
        self.delay_s = delay_s
        self.piece = piece
        self.counts = {"out": 0, "in": 0}
        self.held = []  # (due_s, direction, data)
        self.arrived = b""
        self.sent = []

    def _meet(self, direction, data):
        count = self.counts[direction]
        self.counts[direction] += 1
        fate = self.fates(direction, count)
        if fate == "lose":
            return []
        if fate == "double":
            return [data, data]
        if fate == "corrupt":
            at = 1 + count % (len(data) - 2)
            return [data[:at] + bytes((data[at] ^ (0x10 if data[at] != 0x10 else 0x20),)) + data[at + 1 :]]
        if fate == "cut":
            return [data[: len(data) // 2]]  # the end is missing, with the delimiter
        if fate == "delay":
            self.held.append((self.inner.now_s() + self.delay_s, direction, data))
            return []
        return [data]

    def _release(self):
        now_s = self.inner.now_s()
        due = [item for item in self.held if item[0] <= now_s]
        self.held = [item for item in self.held if item[0] > now_s]
        for _, direction, data in due:
            if direction == "out":
                self.inner.write(data)
            else:
                self.arrived += data

    def write(self, data):
        self._release()
        self.sent.append(data)
        for copy in self._meet("out", data):
            self.inner.write(copy)

    def read(self, timeout_s):
        deadline_s = self.inner.now_s() + timeout_s
        while True:
            self._release()
            if self.arrived:
                size = self.piece or len(self.arrived)
                given, self.arrived = self.arrived[:size], self.arrived[size:]
                return given
            next_s = min([deadline_s, *[due for due, _, _ in self.held]])
            data = self.inner.read(max(0.0, next_s - self.inner.now_s()))
            for copy in self._meet("in", data) if data else []:
                self.arrived += copy
            if not self.arrived and self.inner.now_s() >= deadline_s:
                return b""

    def now_s(self):
        return self.inner.now_s()

    def close(self):
        self.inner.close()


@pytest.fixture(autouse=True)
def no_pause_at_close(monkeypatch):
    """pyserial sleeps 0.3 s when it closes a socket, for servers that need it; this one does not."""
    monkeypatch.setattr(protocol_socket, "time", type("time", (), {"sleep": staticmethod(lambda _s: None)}))


@pytest.fixture(scope="session")
def rig():
    return load_rig(RIG)


@pytest.fixture(scope="session")
def make_world(rig):
    def make(cell=None, seed=1):
        burette = rig.burette
        hardware = Hardware(
            step_mL=burette.step_mL,
            stroke_mL=burette.stroke_mL,
            least_step_us=burette.arithmetic.least_step_us,
            random_error_mL=burette.random_error_mL,
            calibration_half_width=burette.calibration.half_width,
            adc_step_mV=rig.amplifier.step_mV,
            range_mV=(rig.amplifier.range.low_mV, rig.amplifier.range.high_mV),
        )
        return World(build_board(cell or PlainCell(), hardware, seed))

    return make


@pytest.fixture
def world(make_world):
    return make_world()


@pytest.fixture
def bench(world, rig):
    begun = Bench(world, rig)
    begun.begin_run(0xBEEF, 20.0)
    begun.start_readings()
    return begun


@pytest.fixture(scope="session")
def faulty():
    return FaultyTransport
