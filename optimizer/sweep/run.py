"""Run a sweep: scenarios that are not done yet go to a crew, and each row goes to the ledger as it comes."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from typing import Final

from optimizer.sweep.crews import Crew, in_order
from optimizer.sweep.ledger import Ledger
from optimizer.sweep.scenarios import Scenarios, Values
from optimizer.sweep.worker import Plan, scenario_key

__all__ = ["Progress", "sweep"]


_STRETCHES: Final = 8
"""Stretches of scenarios that a sweep is cut into at least, for many workers to have their part."""

_LONGEST: Final = 384
"""Scenarios of a stretch at most: what is lost when a worker is killed."""


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
    ledger: Ledger,
    crew: Crew,
    report: Callable[[Progress], None] = lambda progress: None,
) -> Progress:
    """Design every scenario that is not in the ledger and put its row there; return how it went.

    Parameters
    ----------
    plan, scenarios
        What to design.
    ledger
        Where rows are kept; a row is acknowledged when it is on the disk.
    crew
        Who designs.
    report
        Told of every acknowledged row.

    Raises
    ------
    FileFaults
        If the ledger cannot be written; what was acknowledged stays.
    VesselblendError
        If the crew cannot go on; what was acknowledged stays.
    """
    begun = time.monotonic()
    before = sum(_is_done(plan, ledger, values) for values in scenarios) if ledger.done else 0
    progress = Progress(len(scenarios), before)
    report(progress)
    status = 2 + len(plan.variables)
    statuses: Counter[str] = Counter()
    to_do = (each for each in _stretches(scenarios) if not all(_is_done(plan, ledger, v) for v in each))
    now = 0
    for row in in_order(crew, plan, to_do):
        if int(str(row[0]), 16) in ledger.done:  # of a stretch that was interrupted
            continue
        now += 1
        ledger.append(row)
        statuses[str(row[status])] += 1
        progress = Progress(len(scenarios), before, now, time.monotonic() - begun, statuses)
        report(progress)
    return progress


def _stretches(scenarios: Scenarios) -> Iterator[tuple[Values, ...]]:
    """Yield the scenarios in stretches that depend on nothing but the sweep: so do the rows."""
    length = min(max(len(scenarios) // _STRETCHES, 1), _LONGEST)
    left = iter(scenarios)
    while stretch := tuple(islice(left, length)):
        yield stretch


def _is_done(plan: Plan, ledger: Ledger, values: Values) -> bool:
    return bool(ledger.done) and int(scenario_key(plan, values), 16) in ledger.done
