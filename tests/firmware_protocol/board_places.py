"""Where the board is that the conformance suite speaks to: in memory, behind a pty, behind TCP, or at an address."""

import select
import socket
import threading
import time
from collections import deque
from contextlib import contextmanager

import serial

from sim.pty_line import PtyLine
from sim.serve import Server
from sim.tcp_line import TcpLine
from sim.world import Hardware, World, build_board

SPEED = 10
"""Served boards run their clock so much faster, and their time-outs for the host so much longer in it."""
LINES = {"pty": PtyLine, "tcp": TcpLine}


class PlainCell:
    """100 mV for each mL."""

    def sample(self, _t_s, delivered_mL):
        return 100.0 * delivered_mL


def build(speed):
    hardware = Hardware(
        step_mL=0.000625,
        stroke_mL=2.0,  # 3200 steps: room for the suite, and a refill that ends soon
        least_step_us=2000,
        random_error_mL=0.001,
        calibration_half_width=0.002,
        adc_step_mV=0.1,
        range_mV=(-2000.0, 2000.0),
        valve_turn_s=0.2,
        time_out_factor=speed,
    )
    return World(build_board(PlainCell(), hardware, 1))


class SerialLine:
    """A device, by pyserial."""

    def __init__(self, path):
        self._port = serial.Serial(path, 115200, timeout=0, exclusive=True)

    def write(self, data):
        self._port.write(data)

    def read(self, timeout_s):
        select.select([self._port], [], [], timeout_s)
        return self._port.read(4096)

    def now_s(self):
        return time.monotonic()

    def close(self):
        self._port.close()


class SocketLine:
    """A board on a network."""

    def __init__(self, address):
        host, _, port = address.removeprefix("socket://").rpartition(":")
        self._socket = socket.create_connection((host.strip("[]"), int(port)), timeout=5.0)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def write(self, data):
        self._socket.sendall(data)

    def read(self, timeout_s):
        ready, _, _ = select.select([self._socket], [], [], timeout_s)
        data = self._socket.recv(4096) if ready else b""
        assert data or not ready, "the board's server hung up"
        return data

    def now_s(self):
        return time.monotonic()

    def close(self):
        self._socket.close()


def open_line(address):
    return SocketLine(address) if address.startswith("socket://") else SerialLine(address)


class InMemory:
    """The simulated board, in virtual time that its host moves by reading."""

    speed = 1

    def __init__(self):
        self.board = build(1).board

    def open(self):
        return World(self.board)

    def act(self, action):
        """Do something to the board that no host could do."""
        action(self.board)


class Served:
    """The simulated board served by a thread of this process."""

    speed = SPEED

    def __init__(self, name):
        world = build(SPEED)
        self.board = world.board
        self._actions = deque()
        line = LINES[name]()
        waiting = line.wait

        def wait(timeout_s):
            while self._actions:
                action, done = self._actions.popleft()
                action(self.board)
                done.set()
            return waiting(min(timeout_s, 0.02))

        line.wait = wait
        self._server = Server(world, line, speed=SPEED)
        self._thread = threading.Thread(target=self._server.run)
        self._thread.start()

    def open(self):
        return open_line(self._server.address)

    def act(self, action):
        """Let the server's thread do something to the board, and wait for it."""
        done = threading.Event()
        self._actions.append((action, done))
        assert done.wait(10.0)

    def end(self):
        self._server.stop()
        self._thread.join()


class AtAddress:
    """Any board; nobody can do anything to it but speak."""

    speed = 1
    act = None

    def __init__(self, address):
        self._address = address

    def open(self):
        return open_line(self._address)


@contextmanager
def placed(name):
    """`memory`, `pty`, `tcp`, or an address."""
    if name == "memory":
        yield InMemory()
    elif name in LINES:
        served = Served(name)
        try:
            yield served
        finally:
            served.end()
    else:
        yield AtAddress(name)
