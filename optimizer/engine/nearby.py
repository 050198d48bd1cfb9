"""The best blend of a problem much like others that were searched in full: walks from their blends alone.

Between two neighbors of a sweep or of a frontier the materials seldom change. So the blends met by a full
search are kept, judged for the new limits and prices all at once, and only the most promising are walked
from. What this misses a full search now and then has to find; whoever uses it says how often.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.cases import cases_of
from optimizer.engine.materials import settle
from optimizer.engine.polish import Candidate, objective_of
from optimizer.engine.search import Search
from optimizer.formulation import Case, Steps, curved_rows

__all__ = ["Pool", "nearby"]

Array = NDArray[np.float64]

_MOST_KEPT = 48
"""Blends kept, the oldest given up first."""

_WALKS = 4
"""Blends walked from."""

_SLIGHT = 2e-4
"""Gain, as a share of the objective, for which no other materials are weighed."""

_STEPS_DOWN = 3
"""Cases of cheaper steps that are looked into."""

_PROMISING = 0.2
"""Share of the best merit by which a blend may fall behind and be worth a walk."""


_Kept: TypeAlias = tuple[tuple[Steps, tuple[int, ...]], Array]


@dataclass(frozen=True)
class _Start:
    """A blend to walk from in a case, and what it promises there."""

    merit: float
    case: Case
    support: tuple[int, ...]
    mix: Array


@dataclass
class Pool:
    """Blends of earlier answers by steps and materials, latest last."""

    blends: dict[tuple[Steps, tuple[int, ...]], Array] = field(default_factory=dict)

    def learn(self, search: Search) -> None:
        """Keep the blends that a search met."""
        for met in sorted(search.polished.values(), key=Candidate.rank, reverse=True):
            if met.feasible:
                self.keep(met)

    def keep(self, met: Candidate) -> None:
        """Keep one blend as the latest."""
        key = (met.case.steps, met.support)
        self.blends.pop(key, None)
        self.blends[key] = met.mix
        while len(self.blends) > _MOST_KEPT:
            del self.blends[next(iter(self.blends))]


def nearby(search: Search, pool: Pool) -> Candidate | None:
    """Return the best blend that walks from the pool lead to, or None when none of them ends in a blend.

    Parameters
    ----------
    search
        The search that is spared: its problem, shifts and memory.
    pool
        Blends of problems with the same materials and bench.
    """
    best: Candidate | None = None
    for start in _promising(search, pool):
        own = [k for k in start.support if k in search.problem.solids]
        end = search.walks.down(start.case, own, start.mix, own, np.inf if best is None else best.value)
        if end.feasible:
            search.keep(end)
            best = min((x for x in (best, end) if x is not None), key=Candidate.rank)
    if best is None:
        return None
    best = _with_all(search, best.case, best.mix, best)
    for case in _cheaper(search, best.case):
        judged = list(_judged(search, case, pool.blends.items()))
        if judged:
            best = _with_all(search, case, min(judged, key=lambda each: each.merit).mix, best)
    pool.keep(best)
    return best


def _with_all(search: Search, case: Case, start: Array, best: Candidate) -> Candidate:
    """Return the best blend after a walk in a case with all materials, and what a shop can weigh of it."""
    free = search.walks.down(case, search.solids(), start, (), np.inf if case == best.case else best.value)
    if not free.feasible:
        return best
    bar = replace(best, value=best.value - _SLIGHT * abs(best.value))
    for blend in settle(search.walks, free, search.solids(), bar):
        if blend.feasible:
            search.keep(blend)
            best = min((best, blend), key=Candidate.rank)
    return best


def _cheaper(search: Search, case: Case) -> list[Case]:
    """Return the next cases below one in what their steps cost: fewer coats, more turns."""
    below = [x for x in cases_of(search.problem) if x.fixed < case.fixed]
    nearest = [x for x in below if not any(x.tighter_than(other) for other in below if other != x)]
    return sorted(nearest, key=lambda x: -x.fixed)[:_STEPS_DOWN]


def _promising(search: Search, pool: Pool) -> list[_Start]:
    """Return the blends of most promise, each in its own case."""
    kept: dict[Steps, list[_Kept]] = {}
    for key, mix in pool.blends.items():
        kept.setdefault(key[0], []).append((key, mix))
    ranked = sorted(
        (
            start
            for case in cases_of(search.problem)
            for start in _judged(search, case, kept.get(case.steps, []))
        ),
        key=lambda each: each.merit,
    )
    if not ranked:
        return []
    bar = ranked[0].merit + _PROMISING * abs(ranked[0].merit)
    return [each for each in ranked[:_WALKS] if each.merit <= bar]


def _judged(search: Search, case: Case, blends: Iterable[_Kept]) -> Iterator[_Start]:
    """Yield blends with their merit in a case: the objective, with what rows fall short as a surcharge."""
    allowed = {*search.solids(), *search.problem.doses}
    known = [(support, mix) for (_, support), mix in blends if allowed.issuperset(support)]
    if not known:
        return
    rows, cast = curved_rows(search.problem, case, np.array([mix for _, mix in known]))
    backoff = search.walks.backoff(case)
    short = np.maximum(-(rows if backoff is None else rows - backoff).min(axis=1), 0.0)
    value = objective_of(search.problem, case, cast)
    merit = value + short * np.abs(value)
    for worth, (support, mix) in zip(merit, known, strict=True):
        yield _Start(float(worth), case, support, mix)
