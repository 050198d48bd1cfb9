"""Run a sweep: scenarios that are not done yet go to workers, and each row goes to the file as it comes.

Scenarios are designed by this process, processes of this machine, or the workers of a Dask cluster. All
three are executors of `concurrent.futures`. `in_order` keeps a bounded queue of their futures and hands the
rows out in the order of the scenarios, whichever is done first: the same sweep gives the same file with any
executor, and the memory it takes does not grow with its length.
"""

from __future__ import annotations

import logging
import os
import signal
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib import import_module
from itertools import islice
from typing import Any, Final, TypeAlias

from optimizer.errors import Fault, FileFaults, VesselblendError
from optimizer.process_start import ONE_THREAD, begin_work
from optimizer.sweep.results_file import ResultsFile
from optimizer.sweep.scenarios import Scenarios, Values
from optimizer.sweep.worker import Plan, Row, scenario_key, solve

_CHUNKS: Final = 8
"""Chunks of scenarios that a sweep is cut into at least, for many workers to have their part."""

_LONGEST: Final = 384
"""Scenarios of a chunk at most: what is lost when a worker is killed."""

Chunk: TypeAlias = tuple[Values, ...]
"""Scenarios that one worker designs in turn."""

_AHEAD: Final = 3
"""Chunks in the queue for each worker: enough that a slow one seldom leaves the others idle."""

_MOST_BREAKS: Final = 3
_PATIENCE: Final = 30.0
"""How long to wait for a cluster's scheduler and a first worker [s]."""

_OF_WORKERS: Final = {
    **ONE_THREAD,
    # Stopped by Ctrl-C, Python's own helper process clears up after the workers; it need not say so.
    "PYTHONWARNINGS": "ignore",
}
"""Environment of the processes a sweep starts: one thread each, and no talk."""


@dataclass(frozen=True)
class Progress:
    """How far a sweep is.

    Attributes
    ----------
    total, before, now : int
        Scenarios asked for, those done in earlier runs, and those done in this one [count].
    seconds : float
        Time of this run so far [s].
    statuses : Counter[str]
        How this run's scenarios ended [count].
    """

    total: int
    before: int
    now: int = 0
    seconds: float = 0.0
    statuses: Counter[str] = field(default_factory=Counter)

    @property
    def left(self) -> int:
        """Scenarios not done yet [count]."""
        return self.total - self.before - self.now

    @property
    def seconds_left(self) -> float | None:
        """Time left at the pace of this run [s]; None before the first row."""
        return self.seconds / self.now * self.left if self.now else None


def sweep(
    plan: Plan,
    scenarios: Scenarios,
    results: ResultsFile,
    workers: Workers,
    report: Callable[[Progress], None] = lambda progress: None,
) -> Progress:
    """Design every scenario that has no row yet and append its row; return how it went.

    `report` is told of every acknowledged row: one that is on the disk.

    Raises
    ------
    FileFaults
        If the file of rows cannot be written; what was acknowledged stays.
    VesselblendError
        If the workers cannot go on; what was acknowledged stays.
    """
    begun = time.monotonic()
    before = sum(_is_done(plan, results, values) for values in scenarios) if results.done else 0
    progress = Progress(len(scenarios), before)
    report(progress)
    status = 2 + len(plan.variables)
    statuses: Counter[str] = Counter()
    to_do = (each for each in _chunks(scenarios) if not all(_is_done(plan, results, v) for v in each))
    now = 0
    for row in in_order(workers, plan, to_do):
        if int(str(row[0]), 16) in results.done:  # of a chunk that was interrupted
            continue
        now += 1
        results.append(row)
        statuses[str(row[status])] += 1
        progress = Progress(len(scenarios), before, now, time.monotonic() - begun, statuses)
        report(progress)
    return progress


def _chunks(scenarios: Scenarios) -> Iterator[Chunk]:
    """Yield the scenarios in chunks that depend on nothing but the sweep: so do the rows."""
    length = min(max(len(scenarios) // _CHUNKS, 1), _LONGEST)
    left = iter(scenarios)
    while chunk := tuple(islice(left, length)):
        yield chunk


def _is_done(plan: Plan, results: ResultsFile, values: Values) -> bool:
    return bool(results.done) and int(scenario_key(plan, values), 16) in results.done


class Workers:
    """An executor, started anew when its processes die.

    Attributes
    ----------
    ahead : int
        Futures to hold at a time.
    lost : tuple of exceptions
        Errors of a future that say the workers, not the scenarios, are at fault.
    """

    lost: tuple[type[BaseException], ...] = (BrokenExecutor,)

    def __init__(self, start: Callable[[], Executor], count: int) -> None:
        self._start, self._executor, self.ahead = start, start(), _AHEAD * count

    def submit(self, plan: Plan, chunk: Chunk) -> Future[tuple[Row, ...]]:
        """Hand scenarios over; dead workers are told by the future, when its turn comes."""
        try:
            return self._executor.submit(solve, plan, chunk)
        except BrokenExecutor as error:
            broken: Future[tuple[Row, ...]] = Future()
            broken.set_exception(error)
            return broken

    def restart(self) -> None:
        """Replace workers that died; what they were at is to be submitted again."""
        self.close()
        self._executor = self._start()

    def close(self, at_once: bool = False) -> None:
        """End all workers when each has finished its chunk; `at_once`: with this process."""
        self._executor.shutdown(wait=not at_once, cancel_futures=True)


def this_process() -> Workers:
    """Return the process at hand as its only worker: for few scenarios, and for looking into a sweep."""
    return Workers(_Inline, 1)


def process_workers(count: int | None = None) -> Workers:
    """Return so many processes of this machine [count]; by default one per usable processor."""
    usable = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    number = count or usable or 1

    def started() -> Executor:
        import multiprocessing

        # Started afresh, not forked: a copy would hold this process's open files and their locks.
        context = multiprocessing.get_context("spawn")
        with _start_of_a_process():
            return _Processes(number, mp_context=context, initializer=begin_work)

    return Workers(started, number)


class ClusterWorkers(Workers):
    """The workers of a Dask cluster that runs already; what a lost one was at goes to another.

    Raises
    ------
    VesselblendError
        If the cluster cannot be reached, or Dask is not installed.
    """

    def __init__(self, address: str) -> None:
        try:
            dask = import_module("distributed")
        except ImportError:
            raise VesselblendError(
                'A cluster needs Dask: pip install "vesselblend[cluster]", on every machine.'
            ) from None
        try:
            self._client = dask.Client(address, timeout=_PATIENCE, set_as_default=False)
            self._client.wait_for_workers(1, timeout=_PATIENCE)
        except (OSError, ValueError) as error:  # a timeout is one
            reason = str(error) or type(error).__name__
            raise VesselblendError(
                f"No Dask cluster with a worker answers at {address}: {reason}. "
                "Start it first, such as with: dask scheduler; dask worker ADDRESS"
            ) from None
        # What it logs of a lost cluster is a traceback; `restart` says it in a line.
        logging.getLogger("distributed.client").setLevel(logging.CRITICAL)
        killed = import_module("distributed.scheduler").KilledWorker
        self.lost = (BrokenExecutor, CancelledError, dask.CancelledError, OSError, killed)
        super().__init__(
            lambda: self._client.get_executor(pure=False), max(1, sum(self._client.nthreads().values()))
        )

    def restart(self) -> None:
        """Say that it is over: Dask replaces workers by itself as long as it can."""
        raise VesselblendError(
            "The cluster was lost. What was answered before is kept; the same command goes on from there."
        )

    def close(self, at_once: bool = False) -> None:
        """Leave the cluster as it is, without our scenarios."""
        self._client.close()


def workers_of(executor: str, count: int | None = None) -> Workers:
    """Return the workers a word stands for.

    Parameters
    ----------
    executor
        ``processes``, ``solo`` (this process), or the address of a Dask scheduler such as
        ``tcp://127.0.0.1:8786``.
    count
        Processes to start; default: one per usable processor.

    Raises
    ------
    FileFaults
        If the word is none of these.
    VesselblendError
        If the cluster cannot be reached, or Dask is not installed.
    """
    if executor == "processes":
        return process_workers(count)
    if executor == "solo":
        return this_process()
    if executor.startswith(("tcp://", "tls://")):
        return ClusterWorkers(executor)
    allowed = "processes, solo, or the address of a Dask scheduler such as tcp://127.0.0.1:8786"
    raise FileFaults([Fault("--executor", executor[:60], allowed, "Write one of these.")])


def in_order(workers: Workers, plan: Plan, chunks: Iterable[Chunk]) -> Iterator[Row]:
    """Iterate over the rows of scenarios, in their order.

    Raises
    ------
    VesselblendError
        If a worker cannot take part, or workers die again and again at the same scenario.
    """
    queue: deque[tuple[Chunk, Future[tuple[Row, ...]]]] = deque()
    for chunk in chunks:
        queue.append((chunk, workers.submit(plan, chunk)))
        while len(queue) >= workers.ahead or (queue and queue[0][1].done()):
            yield from _first(workers, plan, queue)
    while queue:
        yield from _first(workers, plan, queue)


def _first(
    workers: Workers, plan: Plan, queue: deque[tuple[Chunk, Future[tuple[Row, ...]]]]
) -> tuple[Row, ...]:
    for _ in range(_MOST_BREAKS):
        try:
            rows = queue[0][1].result()
        except workers.lost:
            workers.restart()
            for place, (chunk, future) in enumerate(queue):
                if not _is_answered(future, workers.lost):
                    queue[place] = (chunk, workers.submit(plan, chunk))
            continue
        queue.popleft()
        return rows
    raise VesselblendError(
        f"Workers died {_MOST_BREAKS} times at the scenario {queue[0][0][0]} or one soon after. Is there "
        "memory enough? What was answered before is kept; the same command goes on from there."
    )


def _is_answered(future: Future[Any], lost: tuple[type[BaseException], ...]) -> bool:
    """Tell whether a future was done before the workers died."""
    return future.done() and not future.cancelled() and not isinstance(future.exception(), lost)


class _Inline(Executor):
    """Does what is submitted before it returns."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:  # noqa: ANN401
        future: Future[Any] = Future()
        future.set_result(fn(*args, **kwargs))
        return future


class _Processes(ProcessPoolExecutor):
    """Processes of one thread each that say nothing and never see Ctrl-C."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:  # noqa: ANN401
        with _start_of_a_process():  # one starts when it is first needed
            return super().submit(fn, *args, **kwargs)


@contextmanager
def _start_of_a_process() -> Iterator[None]:
    """Set what a process inherits, and put off requests to end: one half started would tell of it.

    A blocked Ctrl-C is inherited, so that workers never see it, not even while they load. Blocking alone does
    not hold it back here: any thread of the process may take it, and the main one then raises.
    """
    new = {name: value for name, value in _OF_WORKERS.items() if name not in os.environ}
    in_charge = threading.current_thread() is threading.main_thread()
    requests = (signal.SIGINT, signal.SIGTERM) if in_charge else ()
    asked: list[int] = []
    before = {each: signal.signal(each, lambda number, _: asked.append(number)) for each in requests}
    masks = hasattr(signal, "pthread_sigmask")
    mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT}) if masks else set()
    os.environ.update(new)
    try:
        yield
    finally:
        for name in new:
            os.environ.pop(name, None)
        if masks:
            signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        for each, handler in before.items():
            signal.signal(each, handler)
        if asked:
            signal.raise_signal(asked[0])
