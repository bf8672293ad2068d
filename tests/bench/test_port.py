"""Opening ports: one owner, and an error of its own for each thing that can be wrong. The board is simulated."""

import errno
import grp
import os
import select
import socket
import subprocess
import sys
import threading
import time

import pytest
from places import LINES, Served, placed, rig_at

from sim.motor import SIMULATED_IDENTITY
from titrator.bench import port_failure, serial_transport
from titrator.bench.bench import Bench
from titrator.bench.errors import (
    BoardNotFoundError,
    LinkBrokenError,
    NoAnswerError,
    PortBusyError,
    PortDeniedError,
    PortError,
    RigMismatchError,
    UnpluggedError,
    WrongBoardError,
)
from titrator.bench.port import greet, in_few_words, known_ports, open_port, survey
from titrator.bench.serial_transport import SerialTransport

NOBODY = 65534
DEADLINE_S = 20.0
HOLD = """
import sys
from titrator.bench.serial_transport import SerialTransport
held = SerialTransport(sys.argv[1], 115200)
print("held", flush=True)
sys.stdin.read()
"""


@pytest.fixture(params=LINES)
def place(request, make_world, rig):
    with placed(request.param, make_world(), rig) as at:
        yield at


@pytest.fixture
def pty(make_world, rig):
    with placed("pty", make_world(), rig) as at:
        yield at


@pytest.fixture
def hold():
    """Other programs that hold a port."""
    programs = []

    def start(address):
        program = subprocess.Popen(
            [sys.executable, "-c", HOLD, address], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        programs.append(program)
        assert program.stdout.readline() == "held\n"
        return program

    yield start
    for program in programs:
        program.kill()
        program.communicate()


def eventually(happens):
    """Wait for what another process does; the deadline only ends a test that hangs."""
    until_s = time.monotonic() + DEADLINE_S
    while not (came := happens()):
        assert time.monotonic() < until_s
        time.sleep(0.02)
    return came


# ------------------------------------------------------------------------------------------------------ one owner
def test_a_second_host_is_refused_and_told_who_the_first_is(place, hold):
    program = hold(place.address)
    with pytest.raises(PortBusyError) as caught:
        place.open()
    assert f"process {program.pid} (" in caught.value.owner
    assert "python" in caught.value.owner
    assert str(caught.value).startswith(f"{place.address} is held by {caught.value.owner}")
    assert "Next: wait until that program is done" in str(caught.value)


def test_a_host_within_the_same_program_is_refused_too(place):
    first = place.open()
    with pytest.raises(PortBusyError, match="this very program"):
        place.open()
    first.close()
    place.open().close()


def test_a_killed_host_leaves_the_port_free(place, hold):
    program = hold(place.address)
    program.kill()
    program.wait()

    def opened():
        try:
            return place.open()
        except PortBusyError:
            return None

    eventually(opened).close()


def test_a_refused_host_disturbs_the_first_one_not_at_all(place):
    bench = Bench(place.open(), place.rig)
    bench.begin_run(1, 20.0)
    bench.move_to(1, 0.02)
    with pytest.raises(PortBusyError):
        place.open()
    eventually(lambda: bench.wait(0.1))
    assert bench.status().dose_ended == "arrived"
    assert bench.counters.damaged_frames == 0
    bench.close()


def refused_by_kernel(device):
    """Whether a plain open by a user who is not root fails as busy (tty_ioctl(4): TIOCEXCL; EBUSY)."""
    as_user = {"user": NOBODY, "group": NOBODY, "extra_groups": []} if os.getuid() == 0 else {}
    told = subprocess.run(
        ["sh", "-c", f": <> {device}"], capture_output=True, text=True, env={"LC_ALL": "C"}, **as_user
    )
    assert told.returncode == 0 or os.strerror(errno.EBUSY) in told.stderr, told.stderr
    return told.returncode != 0


def test_a_device_is_exclusive_in_the_kernel_also_for_who_asks_for_no_lock(pty, hold):
    os.chmod(pty.address, 0o666)  # noqa: PTH101, S103 - a pseudo terminal of this test
    assert not refused_by_kernel(pty.address)
    transport = pty.open()
    assert refused_by_kernel(pty.address)
    transport.close()
    assert not refused_by_kernel(pty.address)
    program = hold(pty.address)
    assert refused_by_kernel(pty.address)
    program.kill()  # the mark of a killed host goes as soon as the server has seen it gone
    program.wait()
    eventually(lambda: not refused_by_kernel(pty.address))


# ------------------------------------------------------------------------------------------- absent, busy, denied
def test_unplugged_in_mid_run_says_what_was_last_heard(place):
    bench = Bench(place.open(), place.rig)
    bench.begin_run(1, 20.0)
    bench.start_readings()
    eventually(lambda: bench.wait(1.0))
    place.end()
    with pytest.raises(UnpluggedError) as caught:
        eventually(lambda: bench.wait(1.0) and None)
    bench.close()
    text = str(caught.value)
    assert text.startswith(f"the board vanished ({place.address}: ")
    assert "Last heard: Readings" in text
    assert "the cable was pulled" in text
    assert "resume the run" in text


def test_a_port_that_is_not_there_lists_those_that_are(rig, monkeypatch):
    monkeypatch.setattr(port_failure, "listed_ports", lambda: ["/dev/ttyACM3"])
    with pytest.raises(
        UnpluggedError, match=r"/dev/ttyNONE: expected a board there.*Ports here now: /dev/ttyACM3.*any"
    ):
        open_port(rig_at(rig, "/dev/ttyNONE"))


def test_an_address_where_nobody_listens_is_not_there_either(rig):
    with socket.socket() as bound:
        bound.bind(("127.0.0.1", 0))  # nobody else gets it, and it does not listen
        with pytest.raises(UnpluggedError, match=r"nobody listens there.*titrator rig serve"):
            open_port(rig_at(rig, f"socket://127.0.0.1:{bound.getsockname()[1]}"))


def test_a_server_that_closes_without_a_word_may_be_serving_another(rig):
    with socket.create_server(("127.0.0.1", 0)) as server:

        def let_go():
            connection, _ = server.accept()
            connection.close()

        closing = threading.Thread(target=let_go)
        closing.start()
        with pytest.raises(UnpluggedError, match="before a word was heard: it may be serving another host"):
            open_port(rig_at(rig, f"socket://127.0.0.1:{server.getsockname()[1]}"))
        closing.join()


@pytest.fixture
def refusing(monkeypatch):
    """The operating system refuses to open one path, with the given error."""

    def refuse(path, number):
        real = os.open

        def refused(target, *args, **kwargs):
            if target == path:
                raise OSError(number, os.strerror(number), path)
            return real(target, *args, **kwargs)

        monkeypatch.setattr(os, "open", refused)

    return refuse


def test_a_port_that_may_not_be_opened_names_the_group_to_join(rig, refusing, tmp_path):
    device = tmp_path / "ttyUSB0"
    device.touch(mode=0o660)
    device.chmod(0o660)
    if os.getuid() == 0:
        os.chown(device, -1, grp.getgrnam("dialout").gr_gid)
    refusing(str(device), errno.EACCES)
    with pytest.raises(PortDeniedError) as caught:
        open_port(rig_at(rig, str(device)))
    assert f"sudo usermod -aG {device.group()} $USER" in str(caught.value)


def test_a_port_that_no_group_may_open_needs_somebody_else(rig, refusing, tmp_path):
    device = tmp_path / "ttyUSB0"
    device.touch(mode=0o600)
    refusing(str(device), errno.EACCES)
    with pytest.raises(PortDeniedError, match=r"only its owner may \(-rw-------\).*ask whoever"):
        open_port(rig_at(rig, str(device)))


def test_a_port_marked_exclusive_by_a_program_without_a_lock_is_busy_too(rig, refusing, pty):
    refusing(pty.address, errno.EBUSY)
    with pytest.raises(PortBusyError, match=f"process {os.getpid()}"):  # the server has it open
        open_port(rig_at(rig, pty.address))


def test_an_owner_that_cannot_be_known_is_said_to_be_so(monkeypatch):
    monkeypatch.setattr(port_failure, "owner_of", lambda _device: None)
    error = port_failure.failure("/dev/ttyACM0", OSError(errno.EBUSY, "busy"))
    assert isinstance(error, PortBusyError)
    assert error.owner is None
    assert "whose name cannot be known from here" in str(error)


def test_what_is_no_serial_port_is_said_to_be_none(rig, tmp_path):
    plain = tmp_path / "notes.txt"
    plain.touch()
    with pytest.raises(PortError, match="expected a serial port, got"):
        open_port(rig_at(rig, str(plain)))


# ------------------------------------------------------------------------------------------------ the right board
def test_another_board_at_the_named_port_is_refused_and_both_are_named(place):
    with pytest.raises(WrongBoardError, match=r"expected board 0badcafe of rig .*, got board 51301a7e"):
        open_port(rig_at(place.rig, place.address, identity=0x0BADCAFE))
    place.open().close()  # and its port was given free


def test_with_any_port_the_board_is_found_by_its_identity(place, rig):
    anywhere = rig_at(rig, "any")
    transport = open_port(anywhere, ports=lambda: ["/dev/ttyNONE", place.address])
    assert transport.port == place.address
    assert Bench(transport, anywhere).connect().board == SIMULATED_IDENTITY
    transport.close()


def test_a_board_that_is_nowhere_is_told_with_what_was_found_instead(place, rig):
    nowhere = rig_at(rig, "any", identity=0x0BADCAFE)
    with pytest.raises(BoardNotFoundError) as caught:
        open_port(nowhere, ports=lambda: ["/dev/ttyNONE", place.address])
    assert f"/dev/ttyNONE: nothing there; {place.address}: board 51301a7e" in str(caught.value)


def test_a_survey_tells_of_every_port(place, rig):
    held = place.open()
    told = dict(survey(["/dev/ttyNONE", place.address], 115200, rig.link))
    assert in_few_words(told["/dev/ttyNONE"]) == "nothing there"
    assert in_few_words(told[place.address]).startswith("held by this very program")
    held.close()
    ((port, found),) = survey([place.address], 115200, rig.link)
    assert (port, found.welcome.identity) == (place.address, SIMULATED_IDENTITY)
    assert "socket://127.0.0.1:4717" in known_ports()


def test_a_rig_for_rehearsals_has_no_port(rig):
    with pytest.raises(RigMismatchError, match="kind simulated: there is no port"):
        open_port(rig)


@pytest.mark.parametrize("name", LINES)
def test_a_board_that_first_restarts_is_given_time(make_world, rig, name):
    place = Served(make_world(), rig, name)
    late = threading.Timer(0.35, place.start)
    late.start()
    try:
        transport = open_port(place.rig)  # the first question and its repeat lie in a buffer meanwhile
        bench = Bench(transport, place.rig)
        assert bench.connect().boot == place.board.boot
        assert bench.status().steps == 0
        bench.close()
    finally:
        late.join()
        place.end()


def test_silence_at_a_port_is_no_answer_and_names_it(rig):
    line = LINES["pty"]()
    try:
        with pytest.raises(NoAnswerError, match=rf"^{line.address}: no answer to Hello.*has no power"):
            greet(line.address, 115200, rig.link.model_copy(update={"starts_within_s": 0.3}))
        SerialTransport(line.address, 115200).close()
    finally:
        line.close()


# --------------------------------------------------------------------------------------------------- the transport
def test_reading_waits_on_the_callers_thread_for_bytes_or_time(pty):
    transport = pty.open()
    before = threading.active_count()
    begun_s = transport.now_s()
    assert transport.read(0.05) == b""
    assert transport.now_s() - begun_s >= 0.05
    assert threading.active_count() == before
    transport.close()


def test_a_closed_port_says_so_and_may_be_closed_again(place):
    transport = place.open()
    transport.close()
    transport.close()
    for use in (lambda: transport.write(b"\0"), lambda: transport.read(0.0)):
        with pytest.raises(OSError, match="was closed by this program"):
            use()


def test_a_board_that_takes_no_more_bytes_is_not_waited_for_for_ever(monkeypatch):
    monkeypatch.setattr(serial_transport, "WRITE_WITHIN_S", 0.05)
    line = LINES["pty"]()
    try:
        transport = SerialTransport(line.address, 115200)
        with pytest.raises(TimeoutError, match=r"took no bytes for 0\.05 s"):
            transport.write(b"\0" * 100_000)
        transport.close()
    finally:
        line.close()


def test_a_board_that_takes_no_more_bytes_is_not_called_unplugged(bench, world, monkeypatch):
    def stuck(_data):
        raise TimeoutError("/dev/ttyACM0 took no bytes for 1 s")

    monkeypatch.setattr(world, "write", stuck)
    with pytest.raises(LinkBrokenError, match="took no bytes") as caught:
        bench.move_to(1, 1.0)
    assert not isinstance(caught.value, UnpluggedError)


def test_where_nothing_can_be_selected_on_reading_still_waits_and_takes_all(place, monkeypatch):
    monkeypatch.setattr(serial_transport, "_fileno", lambda _serial: None)  # as pyserial on Windows
    monkeypatch.setattr(serial_transport, "_set_exclusive", lambda _fileno, *, wanted: None)
    bench = Bench(place.open(), place.rig)
    bench.begin_run(1, 20.0)
    bench.move_to(1, 0.02)
    eventually(lambda: bench.wait(1.0))
    assert bench.status().steps == place.board.burette.steps == 32
    bench.close()


def test_the_bench_is_imported_where_there_is_no_terminal_interface():
    code = (
        "import sys; sys.modules.update(fcntl=None, termios=None, grp=None, tty=None, pty=None)\n"
        "import titrator.bench.bench, titrator.bench.port, titrator.bench.simulated, titrator.cli.rig"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_a_pseudo_terminal_takes_any_speed(pty):
    for baud in (9600, 921600):
        transport, found = greet(pty.address, baud, pty.rig.link)
        transport.close()
        assert found.welcome.identity == SIMULATED_IDENTITY


def test_bytes_of_an_earlier_talk_do_not_answer_ours(pty):
    with open(pty.address, "r+b", buffering=0) as earlier:  # noqa: PTH123 - a device
        earlier.write(b"\0\x03\x01\x01\x01\x01\x01\x01\x04\x01\xde\xad\0")  # Hello of number 1, as in the vectors
        select.select([earlier], [], [], DEADLINE_S)
    transport = pty.open()
    assert Bench(transport, pty.rig).connect().boot == pty.board.boot
    transport.close()
