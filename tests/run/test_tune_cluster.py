"""A sweep on a real scheduler of dask.distributed with two worker processes gives what local runs give (simulated)."""

import subprocess
import sys
import time
from contextlib import contextmanager

import pytest
from test_tune_sweep import Inline, prepared, swept

from titrator.files import InputProblem
from titrator.run.tune import cluster
from titrator.run.tune.cluster import check_address, cluster_crew
from titrator.run.tune.crew import CrewError

LONG_S = 120.0


@contextmanager
def process(folder, *words):
    with (folder / f"{words[0]}.log").open("wb") as log:
        running = subprocess.Popen([sys.executable, "-m", *words], stdout=log, stderr=log)
        try:
            yield running
        finally:
            running.terminate()
            running.wait(LONG_S)


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory):
    """The address of a scheduler without workers."""
    folder = tmp_path_factory.mktemp("scheduler")
    told = folder / "scheduler.json"
    words = ["--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--scheduler-file", told]
    with process(folder, "distributed.cli.dask_scheduler", *words) as running:
        ends = time.monotonic() + LONG_S
        while not told.exists() or not told.read_text(encoding="utf-8").strip():
            assert time.monotonic() < ends
            assert running.poll() is None
            time.sleep(0.05)
        import json

        yield json.loads(told.read_text(encoding="utf-8"))["address"]


def test_without_workers_it_says_how_to_start_some(scheduler, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "ANSWERS_WITHIN_S", 1.0)
    with (
        pytest.raises(CrewError, match=f"expected workers at the scheduler {scheduler}.*dask worker {scheduler}"),
        cluster_crew(prepared(tmp_path).outfit, scheduler),
    ):
        pass


def test_two_workers_give_what_local_runs_give(scheduler, tmp_path):
    here = prepared(tmp_path / "here")
    local = swept(here, Inline(here.outfit, real=True))
    there = prepared(tmp_path / "there")
    words = [scheduler, "--nworkers", "2", "--nthreads", "1", "--no-dashboard", "--local-directory", tmp_path]
    with process(tmp_path, "distributed.cli.dask_worker", *words):
        from distributed import Client

        with Client(scheduler, set_as_default=False) as client:
            client.wait_for_workers(2, timeout=LONG_S)
            workers = list(client.nthreads())
        with cluster_crew(there.outfit, scheduler) as crew:
            assert crew.workers == 2
            far = swept(there, crew)
            with Client(scheduler, set_as_default=False) as client:
                pids = client.run(lambda: __import__("os").getpid())
    assert len(workers) == len(set(pids.values())) == 2
    assert (far.searched, far.confirmed) == (local.searched, local.confirmed)
    assert (there.folder / "sweep.jsonl").read_bytes() == (here.folder / "sweep.jsonl").read_bytes()


@pytest.mark.parametrize("address", ["", "nonsense", "tcp://", "tcp://host", "http://host:1", "host:port", "a b:1"])
def test_what_is_no_address_is_told(address):
    with pytest.raises(InputProblem, match="expected the address of a scheduler such as"):
        check_address(address)


def test_the_missing_library_is_named_with_its_command(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(
        InputProblem, match=r"dask\.distributed, got none\. Install it: pip install 'titrator\[cluster\]'"
    ):
        check_address("tcp://127.0.0.1:8786")
