"""Find the best mix of a problem: scan, polish, swap materials, case by case with bounds.

Deterministic: no random numbers, ties broken by position, so the same problem gives the same answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.cases import cases_of
from optimizer.engine.polish import Candidate, objective_of, polish
from optimizer.engine.scan import blend_grid, with_doses
from optimizer.formulation import Case, RowLabel, backoff_vector, curved_rows
from optimizer.problem import Problem

__all__ = ["Search", "best_mix"]

Array = NDArray[np.float64]

_STARTS = 4
_ROUNDS = 4
_MARGIN = 1e-9
_HOPELESS = 0.15
"""Violation of a row [-] from which swapping materials of a case is given up."""


@dataclass
class Search:
    """Scratch of one search: the grid, and mixes already polished. Not kept after the answer.

    Attributes
    ----------
    problem : Problem
        What is asked.
    shifts : Mapping[RowLabel, float]
        Amount by which limit rows must be over-met (see `optimizer.confidence`).
    only : tuple[int, ...] | None
        Positions of the only materials allowed; None: all.
    """

    problem: Problem
    shifts: Mapping[RowLabel, float] = field(default_factory=dict)
    only: tuple[int, ...] | None = None
    grid: Array = field(init=False)
    polished: dict[tuple[int, tuple[int, ...]], Candidate] = field(default_factory=dict)

    def __post_init__(self) -> None:
        grid = blend_grid(self.problem)
        if self.only is not None:
            barred = [k for k in self.problem.solids if k not in self.only]
            grid = grid[np.all(grid[:, barred] == 0.0, axis=1)]
        self.grid = grid

    def solids(self) -> tuple[int, ...]:
        """Positions the search may use."""
        return tuple(k for k in self.problem.solids if self.only is None or k in self.only)

    def run(self) -> Candidate | None:
        """Return the best candidate over all cases; infeasible only if nothing feasible was found."""
        best: Candidate | None = None
        floors = _Floors(self)
        for case in floors.order():
            if best is not None and best.feasible and floors.of(case) >= best.value - _MARGIN:
                continue
            found = self.best_of_case(case)
            if found is not None and (best is None or found.rank() < best.rank()):
                best = found
        return best

    def best_of_case(self, case: Case) -> Candidate | None:
        """Return the best candidate of one case, or None when no blend can be started."""
        starts = self._starts(case)
        best: Candidate | None = None
        for start in starts:
            support = tuple(k for k in self.solids() if start[k] > 1e-9)
            best = _better(best, self._polish(case, support, start))
        if best is None:
            return None
        best = _better(best, self._relaxed(case, best))
        if best.violation > _HOPELESS:
            return best
        for _ in range(_ROUNDS):
            improved = best
            for support in self._neighbors(best.support):
                improved = _better(improved, self._polish(case, support, best.mix))
            if improved is best or improved.rank() >= best.rank():
                break
            best = improved
        return best

    def _starts(self, case: Case) -> list[Array]:
        """Return grid mixes to start from: the best of each of the most promising material sets."""
        if len(self.grid) == 0:
            return []
        mixes = with_doses(self.problem, case, self.grid)
        rows, cast = curved_rows(self.problem, case, mixes)
        short = np.maximum(-rows, 0.0).sum(axis=1)
        value = objective_of(self.problem, case, cast)
        order = np.lexsort((value, np.where(short <= 0.02, 0.0, short)))
        seen: set[tuple[int, ...]] = set()
        out: list[Array] = []
        for i in order:
            support = tuple(np.flatnonzero(self.grid[i] > 0.0))
            if support not in seen:
                seen.add(support)
                out.append(mixes[i])
            if len(out) == _STARTS:
                break
        return out

    def _polish(self, case: Case, support: tuple[int, ...], start: Array) -> Candidate:
        key = (id(case), support)
        if key not in self.polished:
            self.polished[key] = polish(
                self.problem, case, support, _entered(start, support), self._backoff(case)
            )
        return self.polished[key]

    def _relaxed(self, case: Case, best: Candidate) -> Candidate | None:
        """Solve on all materials without least shares, keep the largest doses, polish those."""
        cap = self.problem.job.at_most_materials or len(self.problem.names)
        free = polish(self.problem, case, self.solids(), best.mix, self._backoff(case), least=False)
        powder = free.mix[:-1].sum()
        shares = [(free.mix[k] / max(powder, 1e-9), k) for k in self.solids()]
        enough = [k for share, k in sorted(shares, reverse=True) if share > 0.5 * max(self._least(k), 1e-3)]
        support = tuple(sorted(enough[:cap]))
        return self._polish(case, support, free.mix) if support else None

    def _least(self, k: int) -> float:
        return self.problem.bounds[k].least

    def _neighbors(self, support: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        """Material sets one step away: one fewer, one more, one exchanged; each with a binder."""
        cap = self.problem.job.at_most_materials or len(self.problem.names)
        mine = tuple(k for k in support if k in self.problem.solids)
        rest = [k for k in self.solids() if k not in mine]
        smaller = [tuple(x for x in mine if x != k) for k in mine]
        sets = [*smaller, *((*base, k) for base in (mine, *smaller) for k in rest)]
        for chosen in sets:
            if len(chosen) <= cap and any(self.problem.materials[k].role == "binder" for k in chosen):
                yield tuple(sorted(chosen))

    def _backoff(self, case: Case) -> Array | None:
        return backoff_vector(self.problem, case, self.shifts)


@dataclass
class _Floors:
    """Lower bounds on the cost of a case from the cheapest powder seen anywhere on the grid."""

    search: Search

    def order(self) -> tuple[Case, ...]:
        return cases_of(self.search.problem)

    def of(self, case: Case) -> float:
        if self.search.problem.job.objective != "cost":
            return -np.inf
        return case.line.fixed + case.shipping


def _better(first: Candidate | None, second: Candidate | None) -> Candidate:
    both = [c for c in (first, second) if c is not None]
    return min(both, key=Candidate.rank)


def _entered(start: Array, support: Iterable[int]) -> Array:
    """Return the start with a little of every material of the support, so that slopes are seen."""
    out = start.copy()
    for k in support:
        out[k] = max(out[k], 0.02)
    return out


def best_mix(problem: Problem, only: tuple[int, ...] | None = None) -> Candidate | None:
    """Return the best mix of a problem judged at best values, or None when no mix can be started."""
    return Search(problem, only=only).run()
