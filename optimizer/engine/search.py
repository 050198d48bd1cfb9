"""Find the best mix of a problem: scan, polish, swap materials, case by case with bounds.

Deterministic: no random numbers, ties broken by position, so the same problem gives the same answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.cases import cases_of
from optimizer.engine.polish import Candidate, objective_of, polish
from optimizer.engine.scan import Scan
from optimizer.formulation import Case, RowLabel, backoff_vector, rows_of_cast
from optimizer.problem import Problem

__all__ = ["Search", "best_mix"]

Array = NDArray[np.float64]

_STARTS = 4
_ROUNDS = 4
_MARGIN = 1e-9
_NEIGHBORS = 10
_NEARLY = 0.02
_HOPELESS = 0.15
"""Violation of a row [-] from which swapping materials of a case is given up."""


@dataclass
class Search:
    """Scratch of one search: mixes already polished. Not kept after the answer.

    Attributes
    ----------
    problem : Problem
        What is asked.
    shifts : Mapping[RowLabel, float]
        Amount by which limit rows must be over-met (see `optimizer.verdict.confidence`).
    only : tuple[int, ...] | None
        Positions of the only materials allowed; None: all.
    scan : Scan
        Grid of the same materials, to share between searches that differ in limits alone.
    """

    problem: Problem
    shifts: Mapping[RowLabel, float] = field(default_factory=dict)
    only: tuple[int, ...] | None = None
    scan: Scan | None = None
    polished: dict[tuple[Case, tuple[int, ...]], Candidate] = field(default_factory=dict)

    def solids(self) -> tuple[int, ...]:
        """Positions the search may use."""
        return tuple(k for k in self.problem.solids if self.only is None or k in self.only)

    def run(self) -> Candidate | None:
        """Return the best candidate over all cases; infeasible only if nothing feasible was found."""
        cases = cases_of(self.problem)
        best: Candidate | None = None
        solved: list[Candidate] = []
        queue = list(_loosest_first(cases))
        while queue:
            case = queue.pop(0)
            if best is not None and best.feasible and self._floor(case, solved) >= best.value - _MARGIN:
                continue
            if any(k.case == case or (not k.feasible and case.tighter_than(k.case)) for k in solved):
                continue
            found = self.best_of_case(case)
            if found is None:
                continue
            solved.append(found)
            best = found if best is None or found.rank() < best.rank() else best
            if not found.feasible:
                # If even the loosest case of these coats has no blend, none of its tighter ones does.
                queue.insert(0, _loosest(c for c in cases if c.coats == case.coats and c.doses == case.doses))
        return best

    def _floor(self, case: Case, solved: Iterable[Candidate]) -> float:
        """Return what a case costs at least: its steps, and the powder of any looser case solved before."""
        if self.problem.job.objective != "cost":
            return -np.inf
        looser = [k for k in solved if k.feasible and case.tighter_than(k.case)]
        powder = max((k.value - k.case.fixed for k in looser), default=0.0)
        return case.fixed + powder

    def best_of_case(self, case: Case) -> Candidate | None:
        """Return the best candidate of one case, or None when no blend can be started."""
        ranked = self._ranked(case)
        best: Candidate | None = None
        for support, start in list(ranked.items())[:_STARTS]:
            best = _better(best, self._polish(case, support, start))
        if best is None or best.violation > _HOPELESS:
            return best
        best = _better(best, self._relaxed(case, best))
        for _ in range(_ROUNDS):
            improved = best
            for support in self._neighbors(best.support, ranked):
                improved = _better(improved, self._polish(case, support, ranked.get(support, best.mix)))
            if improved.rank() >= best.rank():
                break
            best = improved
        return best

    def _ranked(self, case: Case) -> dict[tuple[int, ...], Array]:
        """Return the best grid mix of each set of materials, most promising set first."""
        scan = self.scan or Scan(self.problem)
        self.scan = scan
        if len(scan.grid) == 0:
            return {}
        cast = scan.cast(case)
        rows = rows_of_cast(self.problem, case, cast)
        backoff = backoff_vector(self.problem, case, self.shifts)
        short = np.maximum(-(rows if backoff is None else rows - backoff), 0.0).sum(axis=1)
        value = objective_of(self.problem, case, cast)
        order = np.lexsort((value, np.where(short <= _NEARLY, 0.0, short)))
        out: dict[tuple[int, ...], Array] = {}
        for i in order:
            support = scan.supports[i]
            if support not in out and (self.only is None or set(support) <= set(self.only)):
                out[support] = cast.mixes[i]
        return out

    def _polish(self, case: Case, support: tuple[int, ...], start: Array) -> Candidate:
        key = (case, support)
        if key not in self.polished:
            backoff = backoff_vector(self.problem, case, self.shifts)
            self.polished[key] = polish(self.problem, case, support, _entered(start, support), backoff)
        return self.polished[key]

    def _relaxed(self, case: Case, best: Candidate) -> Candidate | None:
        """Solve on all materials without least shares, keep the largest doses, polish those."""
        cap = self.problem.job.at_most_materials or len(self.problem.names)
        backoff = backoff_vector(self.problem, case, self.shifts)
        free = polish(self.problem, case, self.solids(), best.mix, backoff, least=False)
        powder = free.mix[:-1].sum()
        shares = [(free.mix[k] / max(powder, 1e-9), k) for k in self.solids()]
        least = [max(bounds.least, 1e-3) for bounds in self.problem.bounds]
        enough = [k for share, k in sorted(shares, reverse=True) if share > 0.5 * least[k]]
        support = tuple(sorted(enough[:cap]))
        return self._polish(case, support, free.mix) if support else None

    def _neighbors(
        self, support: tuple[int, ...], ranked: Mapping[tuple[int, ...], Array]
    ) -> list[tuple[int, ...]]:
        """Return sets of materials one step away, most promising on the grid first, a few of them."""
        cap = self.problem.job.at_most_materials or len(self.problem.names)
        mine = tuple(k for k in support if k in self.problem.solids)
        rest = [k for k in self.solids() if k not in mine]
        smaller = [tuple(x for x in mine if x != k) for k in mine]
        sets = {tuple(sorted((*base, k))) for base in (mine, *smaller) for k in rest} | set(smaller)
        place = {key: i for i, key in enumerate(ranked)}
        usable = [
            chosen
            for chosen in sets
            if len(chosen) <= cap and any(self.problem.materials[k].role == "binder" for k in chosen)
        ]
        return sorted(usable, key=lambda chosen: (place.get(chosen, len(place)), chosen))[:_NEIGHBORS]


def _loosest(cases: Iterable[Case]) -> Case:
    """Return the case that holds the mixes of most others."""
    loosest, *rest = cases
    for case in rest:
        if loosest.tighter_than(case):
            loosest = case
    return loosest


def _loosest_first(cases: tuple[Case, ...]) -> tuple[Case, ...]:
    """Put one loosest case of each choice of doses first: its powder is a floor for all the others."""
    groups: dict[tuple[tuple[int, float], ...], list[Case]] = {}
    for case in cases:
        groups.setdefault(tuple(sorted(case.doses.items())), []).append(case)
    heads = tuple(_loosest(group) for group in groups.values())
    return (*heads, *(case for case in cases if case not in heads))


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
