"""`titrator rig` as a user calls it, against the simulated board served by `titrator rig serve`."""

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
METHOD = ROOT / "configs" / "methods" / "iron_in_pickling_bath.yaml"
RIG = ROOT / "configs" / "rigs" / "served.yaml"
COMMAND = [sys.executable, "-m", "titrator.cli.main", "rig"]
NOWHERE = "/dev/ttyNONE"


def rig(*words):
    return subprocess.run([*COMMAND, *map(str, words)], capture_output=True, text=True, timeout=60)


class Serving:
    """`titrator rig serve` in a process of its own."""

    def __init__(self, *words):
        self.process = subprocess.Popen(
            [*COMMAND, "serve", "--method", str(METHOD), "--json", *map(str, words)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        line = self.process.stdout.readline()
        assert line, self.process.stderr.read()
        self.told = json.loads(line)
        self.address = self.told["address"]

    def end(self, number=signal.SIGTERM):
        self.process.send_signal(number)
        out, err = self.process.communicate(timeout=60)
        return self.process.returncode, out, err


@pytest.fixture(scope="module")
def serving(tmp_path_factory):
    truth = tmp_path_factory.mktemp("served") / "truth.json"
    served = Serving("--port", 0, "--rig", RIG, "--truth", truth)
    yield served
    if served.process.poll() is None:
        assert served.end() == (0, "", "")
    assert json.loads(truth.read_text("utf-8"))["steps"] == 0


def rig_file(folder, address, identity="51301a7e", stroke="25 mL"):
    text = RIG.read_text("utf-8")
    for was, now in (
        ("port: socket://127.0.0.1:4717", f"port: {address}"),
        ("51301a7e", identity),
        ("stroke: 25 mL", f"stroke: {stroke}"),
    ):
        assert was in text
        text = text.replace(was, now)
    path = folder / "bench.yaml"
    path.write_text(text, "utf-8")
    return path


def test_a_served_board_tells_where_and_who_it_is(serving):
    assert serving.told == {"address": serving.address, "identity": "51301a7e", "simulated": True, "seed": 1}
    assert serving.address.startswith("socket://127.0.0.1:")


def test_list_names_boards_and_says_why_other_ports_have_none(serving):
    done = rig("list", NOWHERE, serving.address)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [
        f"-         {NOWHERE}: nothing there",
        f"51301a7e  {serving.address}: simulated, firmware 1, at step 0 of 40000, no session",
    ]
    told = json.loads(rig("list", NOWHERE, serving.address, "--json").stdout)
    assert told["others"] == [{"port": NOWHERE, "problem": "nothing there"}]
    (board,) = told["boards"]
    assert (board["identity"], board["position"], board["firmware"], board["simulated"]) == ("51301a7e", 0, 1, True)


def test_list_fails_where_no_board_answers():
    done = rig("list", NOWHERE)
    assert done.returncode == 1
    assert "No board answered" in done.stderr


def test_show_looks_at_a_port(serving):
    done = rig("show", serving.address)
    assert done.returncode == 0, done.stderr
    assert f"Board:       51301a7e at {serving.address}, simulated" in done.stdout.splitlines()
    told = json.loads(rig("show", serving.address, "--json").stdout)
    assert (told["position"], told["stroke"], told["dose"], told["session"]) == (0, 40000, None, None)
    assert (told["range_mV"], told["converter_step_mV"]) == ([-2000.0, 2000.0], 0.1)


def test_show_looks_at_the_board_of_a_rig_file(serving, tmp_path):
    done = rig("show", rig_file(tmp_path, serving.address))
    assert done.returncode == 0, done.stderr
    assert "Rig file:    Simulated bench, served, which describes it" in done.stdout.splitlines()


def test_show_tells_what_of_the_rig_file_the_board_contradicts(serving, tmp_path):
    done = rig("show", rig_file(tmp_path, serving.address, stroke="20 mL"))
    assert done.returncode == 1
    assert "which does not fit" in done.stdout
    assert "stroke in steps: 32000 in the rig file, 40000 on the board" in done.stderr


def test_show_refuses_another_board_and_names_both(serving, tmp_path):
    done = rig("show", rig_file(tmp_path, serving.address, identity="0badcafe"))
    assert (done.returncode, done.stdout) == (1, "")
    assert "expected board 0badcafe" in done.stderr
    assert "got board 51301a7e" in done.stderr


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (("show", NOWHERE), 1, "expected a board there, got no such file or directory"),
        (("show", "socket://127.0.0.1"), 1, "expected an address such as socket://127.0.0.1:4717"),
        (("show", "socket://127.0.0.1:99999"), 1, "a port of at most 65535"),
        (("show", "none.yaml"), 2, "none.yaml"),
        (("show", ROOT / "configs" / "rigs" / "simulated.yaml"), 1, "kind simulated: there is no port to open"),
        (("serve",), 2, "--method"),
        (("serve", "--method", "none.yaml"), 2, "none.yaml"),
        (("serve", "--method", METHOD, "--port", 1, "--pty"), 2, "expected one of --port and --pty, got both"),
        (("serve", "--method", METHOD, "--link", "board"), 2, "--link: expected only with --pty"),
        (("serve", "--method", METHOD, "--rig", METHOD), 2, "expected"),
    ],
)
def test_wrong_input_gets_a_message_and_never_a_traceback(words, status, said):
    done = rig(*words)
    assert done.returncode == status
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_a_taken_place_is_told(serving):
    port = serving.address.rpartition(":")[2]
    done = rig("serve", "--method", METHOD, "--port", port)
    assert done.returncode == 1
    assert f"{serving.address}: expected to serve there" in done.stderr
    assert "--port N" in done.stderr


def test_a_pseudo_terminal_is_served_by_its_link_until_interrupted(tmp_path):
    link = tmp_path / "board"
    served = Serving("--pty", "--link", link, "--rig", rig_file(tmp_path, "any", identity="0badcafe"))
    try:
        assert served.address == str(link)
        done = rig("list", link)
        assert done.returncode == 0, done.stderr
        assert done.stdout.startswith(f"0badcafe  {link}: simulated")
    finally:
        status, _, err = served.end(signal.SIGINT)
    assert (status, err) == (0, "")
    assert not link.is_symlink()
