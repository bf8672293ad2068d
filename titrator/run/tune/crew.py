"""Who makes the runs: processes of this computer, or the workers of a cluster. Results come in the order asked for."""

from __future__ import annotations

import contextlib
import os
import signal
import time
from collections.abc import Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context, parent_process
from threading import Thread
from typing import Protocol

from titrator.run.tune.work import Chunk, Done, Outfit, Worker

ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
"""A worker keeps one core busy; libraries that would take more are told so before they load."""


class CrewError(Exception):
    """The workers are gone, or never came. The text says what was expected and what to do."""


class Pending(Protocol):
    """A chunk that is asked for."""

    def result(self) -> Done:
        """Wait for it. CrewError where the workers are gone."""
        ...

    def cancel(self) -> object:
        """Give it up, if it has not begun."""
        ...


class Crew(Protocol):
    """Workers that are ready. `workers`: how many runs go on at a time; `ready_s`: how long they took to start."""

    workers: int
    ready_s: float

    def submit(self, chunk: Chunk) -> Pending:
        """Ask for a chunk."""
        ...


class _Local:
    """A pool of processes."""

    def __init__(self, pool: ProcessPoolExecutor, workers: int, ready_s: float) -> None:
        self._pool, self.workers, self.ready_s = pool, workers, ready_s

    def submit(self, chunk: Chunk) -> Pending:
        try:
            return _LocalPending(self._pool.submit(_do, chunk))
        except BrokenProcessPool as error:
            raise _broken(error) from error


class _LocalPending:
    def __init__(self, future: Future[Done]) -> None:
        self._future = future

    def result(self) -> Done:
        try:
            return self._future.result()
        except BrokenProcessPool as error:
            raise _broken(error) from error

    def cancel(self) -> bool:
        return self._future.cancel()


@contextlib.contextmanager
def local_crew(outfit: Outfit, workers: int) -> Iterator[Crew]:
    """Processes of this computer, each of which unpacks the outfit once."""
    began = time.perf_counter()
    with (
        _one_thread_each(),
        ProcessPoolExecutor(
            workers, mp_context=get_context("spawn"), initializer=_begin, initargs=(outfit,)
        ) as pool,
    ):  # fmt: skip
        try:
            with _deaf_to_the_terminal():
                # One word from each: none of them has to be waited for later on.
                here = [pool.submit(_here) for _ in range(workers)]
            for ready in here:
                ready.result()
        except BrokenProcessPool as error:
            raise _broken(error) from error
        try:
            yield _Local(pool, workers, time.perf_counter() - began)
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


@contextlib.contextmanager
def _one_thread_each() -> Iterator[None]:
    before = {name: os.environ.get(name) for name in ONE_THREAD}
    os.environ.update({name: value or "1" for name, value in before.items()})
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]


@contextlib.contextmanager
def _deaf_to_the_terminal() -> Iterator[None]:
    """Processes begun within this never hear Ctrl-C, nor that the terminal closed: that is for their conductor."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGHUP})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _broken(error: Exception) -> CrewError:
    return CrewError(f"expected the worker processes to go on, got: {error} (killed, or out of memory?)")


_worker: Worker | None = None


def _begin(outfit: Outfit) -> None:
    """Run in each process before anything else."""
    global _worker  # noqa: PLW0603 - one for each process, as initializers of pools have it
    Thread(target=_leave_with_the_conductor, daemon=True).start()
    _worker = Worker(outfit)


def _leave_with_the_conductor() -> None:
    """A process that was killed ends no other: whoever waits for its word would wait for ever."""
    conductor = parent_process()
    assert conductor is not None
    conductor.join()
    if _worker is not None:
        _worker.leave()
    os._exit(1)


def _here() -> None:
    time.sleep(0.02)  # so that one process does not answer for all of them


def _do(chunk: Chunk) -> Done:
    assert _worker is not None
    return _worker.done(chunk)
