"""Run a sweep: scenarios that are not done yet go to workers, and each row goes to the file as it comes."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from typing import Final

from optimizer.sweep.executors import Chunk, Workers, in_order
from optimizer.sweep.results_file import ResultsFile
from optimizer.sweep.scenarios import Scenarios, Values
from optimizer.sweep.worker import Plan, scenario_key

_CHUNKS: Final = 8
"""Chunks of scenarios that a sweep is cut into at least, for many workers to have their part."""

_LONGEST: Final = 384
"""Scenarios of a chunk at most: what is lost when a worker is killed."""


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
