"""The workers of a cluster by dask.distributed, which is an extra: `pip install 'titrator[cluster]'`."""

from __future__ import annotations

import contextlib
import re
import time
from collections.abc import Iterator
from typing import Any, Final

from titrator.files import InputProblem
from titrator.run.tune.crew import Crew, CrewError, Pending
from titrator.run.tune.extras import MissingExtraError
from titrator.run.tune.work import Chunk, Done, Outfit, sources, unpack, work

_ADDRESS: Final = re.compile(r"((tcp|tls|ws|wss|ucx)://)?([\w.-]+|\[[0-9a-fA-F:]+\]):[0-9]{1,5}")
ANSWERS_WITHIN_S: Final = 20.0
"""A scheduler that is there answers within a second; a slow network may take some."""


class _Cluster:
    def __init__(self, client: Any, outfit: Any, workers: int, ready_s: float) -> None:
        self._client, self._outfit, self.workers, self.ready_s = client, outfit, workers, ready_s

    def submit(self, chunk: Chunk) -> Pending:
        # Not pure: the same chunk asked for twice is run twice.
        return _ClusterPending(self._client.submit(work, self._outfit, chunk, pure=False, retries=2))


class _ClusterPending:
    def __init__(self, future: Any) -> None:
        self._future = future

    def result(self) -> Done:
        from distributed import CancelledError, KilledWorker

        try:
            done: Done = self._future.result()
        except (KilledWorker, CancelledError, OSError) as error:
            raise CrewError(f"expected the workers of the cluster to go on, got: {error}") from error
        return done

    def cancel(self) -> None:
        self._future.cancel()


def check_address(address: str) -> None:
    """MissingExtraError without the library, InputProblem for an address that is none."""
    try:
        import distributed  # noqa: F401 - whether it is there
    except ImportError:
        raise MissingExtraError("--cluster", "dask.distributed", "cluster") from None
    if not _ADDRESS.fullmatch(address):
        raise InputProblem(
            f"--cluster: expected the address of a scheduler such as tcp://127.0.0.1:8786, got {address!r}"
        )


@contextlib.contextmanager
def cluster_crew(outfit: Outfit, address: str) -> Iterator[Crew]:
    """The workers at a scheduler's address, `tcp://host:8786`.

    MissingExtraError without the library, InputProblem for an address that is none, CrewError where no scheduler
    answers there, or no worker, or one with another version of this program.
    """
    check_address(address)
    from distributed import Client

    began = time.perf_counter()
    try:
        client = Client(address, timeout=ANSWERS_WITHIN_S, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise CrewError(
            f"--cluster: expected a scheduler that answers at {address} within {ANSWERS_WITHIN_S:.0f} s, got: {error}"
        ) from error
    with client:
        threads = _threads(client, address)
        _refuse_other_programs(client)
        ready = client.scatter(outfit, broadcast=True)  # type: ignore[no-untyped-call]
        client.run(unpack, outfit)
        yield _Cluster(client, ready, sum(threads.values()), time.perf_counter() - began)


def _threads(client: Any, address: str) -> dict[str, int]:
    """How many chunks each worker takes at a time."""
    try:
        client.wait_for_workers(1, timeout=ANSWERS_WITHIN_S)
    except OSError:  # TimeoutError is one
        raise CrewError(
            f"--cluster: expected workers at the scheduler {address}, got none within {ANSWERS_WITHIN_S:.0f} s. "
            f"Start some: dask worker {address}"
        ) from None
    threads: dict[str, int] = client.nthreads()
    return threads


def _refuse_other_programs(client: Any) -> None:
    try:
        digests: dict[str, str] = client.run(sources)
    except Exception as error:  # what another environment fails with is not known beforehand
        raise CrewError(f"--cluster: expected workers that have titrator installed, got: {error!r}") from error
    others = sorted(worker for worker, digest in digests.items() if digest != sources())
    if others:
        raise CrewError(
            f"--cluster: expected the same version of titrator everywhere, got another at {', '.join(others)}. "
            "Install the same there"
        )
