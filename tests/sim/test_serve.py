"""The simulated board served: its clock, its line, and what happens when the server itself is late."""

import os
import socket
import time

import pytest

from firmware_protocol.frames import FrameReader, frame
from firmware_protocol.messages import (
    AskStatus,
    DoseState,
    Hello,
    MotionEnded,
    Move,
    Packet,
    Role,
    SetLimits,
    Status,
    Welcome,
    decode,
    encode,
)
from firmware_protocol.served import owner_in
from sim.pty_line import PtyLine
from sim.serve import Server, open_place
from sim.tcp_line import TcpLine
from sim.world import Hardware, World, build_board

SESSION, STEP_US = 0xBEEF, 3750
HARDWARE = {
    "step_mL": 0.000625,
    "stroke_mL": 25.0,
    "least_step_us": STEP_US,
    "random_error_mL": 0.001,
    "calibration_half_width": 0.002,
    "adc_step_mV": 0.1,
    "range_mV": (-2000.0, 2000.0),
}


class Still:
    def sample(self, _t_s, _delivered_mL):
        return 0.0


def world_with(**hardware):
    return World(build_board(Still(), Hardware(**HARDWARE | hardware), 1))


def said(number, message):
    return frame(encode(Role.HOST, Packet(number, SESSION, message)))


BEGIN = (said(1, Hello(1)), said(2, SetLimits(32000, 32000, STEP_US, STEP_US, 2000)), said(3, Move(1, 30000, STEP_US)))


class Script:
    """A line and its clock: bytes arrive at given seconds; the server itself may stand still from one to another."""

    address = "script"

    def __init__(self, arrivals, until_s, standstill_s=(1e9, 1e9)):
        self.arrivals = list(arrivals)
        self.until_s = until_s
        self.standstill_s = standstill_s
        self.time_s = 0.0
        self.departures = 0
        self.sent = []
        self.waits = []
        self.closed = False
        self.server = None

    def clock(self):
        return self.time_s

    def wait(self, timeout_s):
        self.waits.append(timeout_s)
        if self.time_s >= self.until_s and timeout_s > 0.0:
            self.server.stop()
            return b""
        due_s = self.arrivals[0][0] if self.arrivals else 1e9
        self.time_s = max(self.time_s, min(due_s, self.time_s + timeout_s))
        if self.time_s >= self.standstill_s[0]:
            self.time_s, self.standstill_s = self.standstill_s[1], (1e9, 1e9)
        return self.arrivals.pop(0)[1] if due_s <= self.time_s else b""

    def send(self, data):
        self.sent.append(data)

    def close(self):
        self.closed = True

    def messages(self):
        return [decode(Role.HOST, content).message for content in FrameReader().feed(b"".join(self.sent))]


def served(arrivals, until_s, *, speed=1, standstill_s=(1e9, 1e9), **hardware):
    line = Script(arrivals, until_s, standstill_s)
    line.server = Server(world_with(**hardware), line, speed=speed, clock=line.clock)
    line.server.run()
    assert line.closed
    return line, line.server.board


def begun():
    return [(0.0, data) for data in BEGIN]


def told(line, kind):
    return [message for message in line.messages() if isinstance(message, kind)]


def test_the_boards_clock_goes_as_the_computers():
    line, board = served([], 5.0)
    assert board.now_us == pytest.approx(5_000_000, abs=100_000)
    assert max(line.waits) <= 0.1


def test_a_faster_clock_goes_so_many_times_faster():
    line, board = served([], 5.0, speed=20)
    assert board.now_us == pytest.approx(20 * 5_000_000, abs=20 * 100_000)
    assert len(line.waits) < 100


def test_a_request_is_taken_when_it_came_and_not_when_the_waiting_for_it_began():
    line, _ = served([(0.08, said(1, Hello(1)))], 0.5)
    (welcome,) = told(line, Welcome)
    assert welcome.board_ms in {79, 80}


@pytest.mark.parametrize("stood_still_s", [0.2, 60.0])
def test_a_server_that_stood_still_finds_the_hosts_bytes_before_the_boards_time_outs_run(stood_still_s):
    """The dead-man time is 2 s, and every second the host asks something, also while the server stands still."""
    questions = [(float(second), said(10 + second, AskStatus())) for second in range(1, 70)]
    line, board = served(begun() + questions, 65.5, standstill_s=(1.9, 1.9 + stood_still_s))
    assert len(told(line, Status)) == 65
    assert not told(line, MotionEnded)
    lost_s = stood_still_s if stood_still_s > 1.0 else 0.0  # the board stood still as well
    assert board.now_us / 1e6 == pytest.approx(65.5 - lost_s, abs=0.5)


def test_a_host_that_is_silent_lets_the_dead_man_stop_the_motor():
    line, board = served(begun(), 5.0)
    (ended,) = told(line, MotionEnded)
    assert (ended.state, ended.position) == (DoseState.DEAD_MAN, 534)  # 2 s of 3.75 ms steps, the last one finished
    assert board.burette.steps == 534


def test_a_faster_clock_gives_hosts_as_much_of_their_own_time():
    line, board = served([*begun(), (1.9, said(9, AskStatus()))], 3.0, speed=10, time_out_factor=10)
    (status,) = told(line, Status)
    assert status.dose_state is DoseState.MOVING
    assert board.now_us == pytest.approx(30_000_000, abs=1_000_000)
    line, _ = served(begun(), 3.0, speed=10, time_out_factor=10)
    (ended,) = told(line, MotionEnded)
    assert (ended.state, ended.position) == (DoseState.DEAD_MAN, 5334)  # 20 s of 3.75 ms steps


def test_serving_once_ends_with_the_first_host_that_had_opened_a_session():
    line = Script([(1.0, said(1, AskStatus())), (3.0, said(1, Hello(1)))], 10.0)
    leave = line.wait

    def wait(timeout_s):
        line.departures = int(line.time_s > 2.0)  # who only looked does not count
        return leave(timeout_s)

    line.wait = wait
    line.server = Server(world_with(), line, clock=line.clock)
    line.server.run(once=True)
    assert line.server.board.session == SESSION
    assert 3.0 <= line.time_s < 4.0


# ------------------------------------------------------------------------------------------------------- the lines
@pytest.fixture
def tcp():
    line = TcpLine()
    yield line
    line.close()


def dial(line):
    host, _, port = line.address.removeprefix("socket://").rpartition(":")
    return socket.create_connection((host, int(port)), timeout=10)


def turn(line, until):
    """Let the line work until `until(what came)`; the deadline only ends a test that hangs."""
    deadline_s = time.monotonic() + 10
    while True:
        data = line.wait(0.01)
        if until(data):
            return data
        assert time.monotonic() < deadline_s


def test_only_this_computer_can_reach_the_board(tcp):
    assert tcp.address.startswith("socket://127.0.0.1:")


def test_a_second_host_gets_the_owners_name_when_it_speaks_and_the_first_goes_on(tcp):
    first, second = dial(tcp), dial(tcp)
    with first, second:
        first.sendall(b"first")
        assert turn(tcp, bool) == b"first"
        second.sendall(b"second")
        turn(tcp, lambda _data: not tcp._refused or tcp._refused[0].told)
        told = b"".join(iter(lambda: second.recv(4096), b""))
        assert f"process {os.getpid()}" in owner_in(told)
        tcp.send(b"answer")
        assert first.recv(4096) == b"answer"
        assert tcp.departures == 0


def test_a_host_that_goes_makes_room_for_the_next(tcp):
    with dial(tcp) as first:
        first.sendall(b"first")
        turn(tcp, bool)
    turn(tcp, lambda _data: tcp.departures == 1)
    tcp.send(b"to nobody")
    with dial(tcp) as second:
        second.sendall(b"second")
        assert turn(tcp, bool) == b"second"


def test_a_host_that_was_reset_has_gone_too(tcp):
    with dial(tcp) as first:
        first.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\0\0\0\0\0\0\0")
        first.sendall(b"first")
        turn(tcp, bool)
    turn(tcp, lambda _data: tcp.departures == 1)


def test_a_host_that_does_not_listen_loses_bytes_and_holds_nobody_up(tcp):
    with dial(tcp) as deaf:
        deaf.sendall(b"first")
        turn(tcp, bool)
        for _ in range(200):
            tcp.send(b"\0" * 65536)
        assert tcp.departures == 0


def test_a_taken_port_is_an_error(tcp):
    taken = int(tcp.address.rpartition(":")[2])
    with pytest.raises(OSError, match=r"[Aa]ddress already in use"):
        open_place(world_with(), tcp_port=taken)


def test_a_pseudo_terminal_passes_every_byte_as_it_is():
    line = PtyLine()
    try:
        host = os.open(line.address, os.O_RDWR | os.O_NOCTTY)
        every = bytes(range(256))
        os.write(host, every)
        assert turn(line, bool) == every
        line.send(every)
        assert os.read(host, 4096) == every
        os.close(host)
        for _ in range(100):
            line.send(b"\0" * 4096)  # to nobody: lost, and nothing waits
    finally:
        line.close()


def test_a_link_leads_to_the_pseudo_terminal_as_long_as_it_is_served(tmp_path):
    link = tmp_path / "board"
    link.symlink_to(tmp_path / "nowhere")  # left by a server that was killed
    line = PtyLine(link)
    assert line.address == str(link)
    assert str(link.readlink()).startswith("/dev/")
    with pytest.raises(FileExistsError):
        PtyLine(link)
    line.close()
    assert not link.is_symlink()
