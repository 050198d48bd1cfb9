"""Who designs the scenarios: this process, processes of this machine, or the workers of a Dask cluster.

A crew takes stretches of scenarios and gives promises of rows. `in_order` keeps a bounded queue of promises
and hands the rows out in the order of the scenarios, whoever finishes first: the same sweep gives the same
file with any crew, and the memory it takes does not grow with its length.
"""

from __future__ import annotations

import os
import signal
from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import BrokenExecutor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from typing import Final, Protocol, TypeAlias

from optimizer.errors import Fault, FileFaults, VesselblendError
from optimizer.process_start import begin_work
from optimizer.sweep.scenarios import Values
from optimizer.sweep.worker import Plan, Refused, Row, solve

__all__ = [
    "AHEAD",
    "Crew",
    "ProcessCrew",
    "Promise",
    "Rows",
    "SoloCrew",
    "Stretch",
    "crew_of",
    "in_order",
    "usable_cores",
]

AHEAD: Final = 3
"""Stretches in the queue for each worker: enough that a slow one seldom leaves the others idle."""

Stretch: TypeAlias = tuple[Values, ...]
"""Scenarios that one worker designs in turn."""

Rows: TypeAlias = tuple[Row, ...]

_MOST_BREAKS: Final = 3
_OF_WORKERS: Final = {
    **{name: "1" for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")},
    # Stopped by Ctrl-C, Python's own helper process clears up after the workers; it need not say so.
    "PYTHONWARNINGS": "ignore",
}
"""Environment of the processes a sweep starts: one thread each, and no talk."""


class Promise(Protocol):
    """Rows to come."""

    def result(self) -> Rows | Refused:
        """Wait for the rows."""

    def done(self) -> bool:
        """Tell whether waiting is over."""


class Crew(Protocol):
    """Those who design.

    Attributes
    ----------
    ahead : int
        Promises to hold at a time.
    """

    ahead: int

    def submit(self, plan: Plan, stretch: Stretch) -> Promise:
        """Hand scenarios over."""

    def renew(self) -> None:
        """Replace workers that died; what they were at is to be given out again."""

    def close(self, at_once: bool = False) -> None:
        """End all workers, without the scenarios still in the queue; `at_once`: wait for nobody."""


def usable_cores() -> int:
    """Return how many processors this process may use [count]."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def crew_of(executor: str, workers: int | None = None) -> Crew:
    """Return the crew a word stands for.

    Parameters
    ----------
    executor
        ``processes``, ``solo`` (this process), or the address of a Dask scheduler such as
        ``tcp://127.0.0.1:8786``.
    workers
        Processes to start; default: one per usable processor.

    Raises
    ------
    FileFaults
        If the word is none of these.
    VesselblendError
        If the cluster cannot be reached, or Dask is not installed.
    """
    if executor == "processes":
        return ProcessCrew(workers or usable_cores())
    if executor == "solo":
        return SoloCrew()
    if executor.startswith(("tcp://", "tls://")):
        from optimizer.sweep.cluster import DaskCrew

        return DaskCrew(executor)
    allowed = "processes, solo, or the address of a Dask scheduler such as tcp://127.0.0.1:8786"
    raise FileFaults([Fault("--executor", executor[:60], allowed, "Write one of these.")])


def in_order(crew: Crew, plan: Plan, stretches: Iterable[Stretch]) -> Iterator[Row]:
    """Iterate over the rows of scenarios, in their order.

    Parameters
    ----------
    crew, plan
        Who designs, and what.
    stretches
        Scenarios that one worker designs in turn.

    Raises
    ------
    VesselblendError
        If a worker refuses the plan, or workers die again and again at the same scenario.
    """
    queue: deque[tuple[Stretch, Promise]] = deque()
    for stretch in stretches:
        queue.append((stretch, _submitted(crew, plan, stretch)))
        while len(queue) >= crew.ahead or (queue and queue[0][1].done()):
            yield from _first(crew, plan, queue)
    while queue:
        yield from _first(crew, plan, queue)


def _first(crew: Crew, plan: Plan, queue: deque[tuple[Stretch, Promise]]) -> tuple[Row, ...]:
    for _ in range(_MOST_BREAKS):
        try:
            rows = queue[0][1].result()
        except BrokenExecutor:
            crew.renew()
            again = [(each, _kept(promise) or _submitted(crew, plan, each)) for each, promise in queue]
            queue.clear()
            queue.extend(again)
            continue
        queue.popleft()
        if isinstance(rows, Refused):
            raise VesselblendError(f"The sweep cannot go on: {rows.reason}.")
        return rows
    raise VesselblendError(
        f"Workers died {_MOST_BREAKS} times at the scenario {queue[0][0][0]} or one soon after. Is there "
        "memory enough? What was answered before is kept; the same command goes on from there."
    )


def _submitted(crew: Crew, plan: Plan, stretch: Stretch) -> Promise:
    try:
        return crew.submit(plan, stretch)
    except BrokenExecutor as error:  # said again when its turn comes, so that the whole queue is renewed
        broken: Future[Rows] = Future()
        broken.set_exception(error)
        return broken


def _kept(promise: Promise) -> Promise | None:
    """Return a promise that was kept before the workers died."""
    if not promise.done():
        return None
    try:
        promise.result()
    except BrokenExecutor:
        return None
    return promise


class SoloCrew:
    """The process at hand alone: for few scenarios, and for looking into a sweep."""

    ahead = 1

    def submit(self, plan: Plan, stretch: Stretch) -> Promise:
        """Design at once."""
        kept: Future[Rows | Refused] = Future()
        kept.set_result(solve(plan, stretch))
        return kept

    def renew(self) -> None:
        """Nobody to replace."""

    def close(self, at_once: bool = False) -> None:
        """Nobody to send home."""


class ProcessCrew:
    """Processes of this machine, one stretch of scenarios each at a time."""

    def __init__(self, workers: int) -> None:
        self.workers, self.ahead = workers, AHEAD * workers
        self._pool = self._started()

    def submit(self, plan: Plan, stretch: Stretch) -> Promise:
        """Hand scenarios over; `BrokenExecutor` if workers died."""
        with _environment(_OF_WORKERS), _interrupts_held():  # a process starts when it is first needed
            return self._pool.submit(solve, plan, stretch)

    def renew(self) -> None:
        """Start new processes."""
        self.close()
        self._pool = self._started()

    def close(self, at_once: bool = False) -> None:
        """End the processes when each has finished its stretch; `at_once`: with this process."""
        self._pool.shutdown(wait=not at_once, cancel_futures=True)

    def _started(self) -> ProcessPoolExecutor:
        import multiprocessing

        # Started afresh, not forked: a copy would hold this process's open files and their locks.
        context = multiprocessing.get_context("spawn")
        with _environment(_OF_WORKERS), _interrupts_held():
            return ProcessPoolExecutor(self.workers, mp_context=context, initializer=begin_work)


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """Keep Ctrl-C back for a moment: processes started meanwhile never see it, not even while they load."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def _environment(names: Mapping[str, str]) -> Iterator[None]:
    """Set names in the environment that are not set, for a moment."""
    new = {name: value for name, value in names.items() if name not in os.environ}
    os.environ.update(new)
    try:
        yield
    finally:
        for name in new:
            os.environ.pop(name, None)
