"""The same simulated board in three places: in memory (virtual time), on a pty and on TCP (real time)."""

import threading
from contextlib import contextmanager
from pathlib import Path

from sim.motor import SIMULATED_IDENTITY
from sim.pty_line import PtyLine
from sim.serve import Server
from sim.tcp_line import TcpLine
from sim.world import World
from titrator.bench.board_section import BoardSection
from titrator.bench.port import open_port

RIG = Path(__file__).parents[2] / "configs" / "rigs" / "simulated.yaml"
PLACES = ("memory", "pty", "tcp")
LINES = {"pty": PtyLine, "tcp": TcpLine}


def rig_at(rig, port, identity=SIMULATED_IDENTITY, **times):
    """The rig file of the same bench behind a port, some times of its link changed."""
    board = BoardSection.model_validate({"identity": f"{identity:08x}", "port": port})
    link = rig.link.model_copy(update=times)
    return rig.model_copy(update={"kind": "serial", "board": board, "link": link})


class InMemory:
    """The board's own virtual time moves as its host reads."""

    def __init__(self, world, rig):
        self.board, self.rig = world.board, rig

    def open(self):
        """A new way to the same board."""
        return World(self.board)


class Served:
    """The board in real time, served by a thread of this process."""

    def __init__(self, world, rig, name):
        self.board = world.board
        self.server = Server(world, LINES[name]())
        self.address = self.server.address
        # In real time, on a computer that may be busy with other tests: repeats cost nothing, giving up does.
        self.rig = rig_at(rig, self.address, attempts=40)
        self._thread = threading.Thread(target=self.server.run)

    def open(self):
        """A new way to the same board."""
        return open_port(self.rig)

    def start(self):
        """Serve from now on."""
        self._thread.start()

    def end(self):
        """Pull the plug. Harmless when repeated."""
        if self._thread.ident is None:
            self.start()
        self.server.stop()
        self._thread.join()


@contextmanager
def placed(name, world, rig):
    """The board of `world` at the place called `name`."""
    if name == "memory":
        yield InMemory(world, rig)
        return
    served = Served(world, rig, name)
    served.start()
    try:
        yield served
    finally:
        served.end()
