"""Find the best mix of a problem: scan, walk downhill, choose materials, case by case with bounds.

Deterministic: no random numbers, ties broken by position, so the same problem gives the same answer.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import combinations, count

import numpy as np
from numpy.typing import NDArray

from optimizer.chain.predict import cast_of
from optimizer.engine.cases import cases_of
from optimizer.engine.exchange import exchanged
from optimizer.engine.materials import settle
from optimizer.engine.polish import NEVER, Candidate, objective_of
from optimizer.engine.scan import Scan
from optimizer.engine.walks import Walks
from optimizer.formulation import Case, RowLabel, rows_of_cast
from optimizer.problem import Problem

__all__ = ["Search", "best_mix"]

Array = NDArray[np.float64]

_MANY = 20
"""Materials from which a shortlist is made first, and about how many it names."""

_TRIES, _WARM, _SUPPORTS = 3, 2, 4
_VALLEYS = (0.3, 0.7)
"""Share of gypsum binders among the binders that parts the valleys of cost [-]."""

_RETRIED, _SUPPORTS_AT_LAST, _SUPPORTS_BELOW = 3, 16, 8
_WITHIN_REACH = 0.12
"""Violation of a row [-] up to which it is doubtful that a case of cheaper steps has no blend."""

_MOST_SETS = 20
"""Sets of materials of one crowded mix that are tried."""

_MARGIN = 1e-9
_NEARLY = 0.02
_SAME = 1e-3
"""Largest difference of two mixes that count as one [kg/L]."""

_EDGELESS = "fresh_density"
_FAR = 0.05
"""Violation of a row [-] from which one more start is enough to give a case up, until all are given up."""


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
    first : bool
        True stops at the first blend that holds, for questions of whether there is one.
    short : frozenset[int] | None
        Of very many materials, those that the search found worth a look.
    brief : bool
        True leaves out second looks at cheaper steps and exchanges, for questions asked in turns.
    doubtful : bool
        True after a search that fell short by little of a blend of cheaper steps: a walk may have missed it.
    """

    problem: Problem
    shifts: Mapping[RowLabel, float] = field(default_factory=dict)
    only: tuple[int, ...] | None = None
    scan: Scan | None = None
    first: bool = False
    short: frozenset[int] | None = None
    brief: bool = False
    doubtful: bool = False
    polished: dict[tuple[Case, tuple[int, ...]], Candidate] = field(default_factory=dict)

    @cached_property
    def walks(self) -> Walks:
        """Walks made so far."""
        return Walks(self.problem, self.shifts)

    def solids(self) -> tuple[int, ...]:
        """Positions the search may use."""
        sets = [chosen for chosen in (self.only, self.short) if chosen is not None]
        return tuple(k for k in self.problem.solids if all(k in chosen for chosen in sets))

    def run(self) -> Candidate | None:
        """Return the best candidate over all cases; infeasible only if nothing feasible was found."""
        best = self._best()
        if best is None or best.feasible or best.value < NEVER:
            return best
        return self._met_at_all() or best

    def run_from(self, met: Candidate) -> Candidate:
        """Return the best candidate over all cases, given a blend that this search has not met by itself."""
        self.keep(met)
        return _better(met, self._best((met,), last=True))

    def _met_at_all(self) -> Candidate | None:
        """Return a blend that meets the limits, found by an objective without edges.

        A property that has no end on one side of an edge, such as the demold time of a vessel that never
        gets strong enough, may hide from a walk the blends that meet every limit all the same.
        """
        job = replace(self.problem.job, objective=_EDGELESS, maximize=False)
        found = Search(self.problem.with_job(job), self.shifts, self.only, self.scan)._best()
        if found is None or not found.feasible:
            return None
        own = [k for k in found.support if k in self.problem.solids]
        end = self.walks.down(found.case, own, found.mix, own)
        if end.feasible:
            return end
        cast = cast_of(self.problem.model, self.problem.bench, found.mix[None, :])
        return replace(found, value=float(objective_of(self.problem, found.case, cast)[0]))

    def _best(self, seeds: tuple[Candidate, ...] = (), *, last: bool = False) -> Candidate | None:
        """Return the best candidate over all cases; `seeds` are blends to start walks from.

        Best first: a case waits with what it costs at least, is walked freely when its turn comes, waits
        again with what that gave, and is made weighable only if its turn still comes.
        """
        cases = cases_of(self.problem)
        if len(self.solids()) > _MANY:
            seeds = (*seeds, *self._shorten(cases, seeds))
        agenda = _Agenda(cases, self.problem.job.objective == "cost")
        for case, free in agenda.turns():
            if free is None:
                free = self._free(case, [*seeds, *agenda.solved])
                if not free:
                    continue
                if free[0].feasible and not self.first:
                    agenda.wait(case, free)
                    continue
                found = self._made(case, free, agenda.best)
                agenda.close(case, free[0] if found is None or free[0].feasible else _better(free[0], found))
            else:
                found = self._made(case, free, agenda.best)
            agenda.offer(found)
            if self.first and agenda.best is not None and agenda.best.feasible:
                break
        best = agenda.best
        if best is not None and best.feasible and not self.first:
            return best if self.brief else self._exchanged(self._below(cases, best))
        if best is None or best.feasible or last:
            return best
        best = self._last_resort(best, agenda.solved)
        if not best.feasible or self.first:
            return best
        again = self._best((best,), last=True)
        return self._exchanged(self._below(cases, _better(best, again)))

    def _below(self, cases: tuple[Case, ...], best: Candidate) -> Candidate:
        """Return a better blend of cheaper steps than those of `best`, or `best`.

        A step costs more than any choice of materials, so what walks with all materials gave up is tried once
        more on the grid's most promising sets; where even looser steps have no blend, tighter ones have none.
        """
        vain: list[Case] = []
        below = sorted((x for x in cases if x.fixed < best.case.fixed), key=lambda x: -x.fixed)
        for case in below:
            if case.fixed >= best.case.fixed or any(case.tighter_than(other) for other in vain):
                continue
            found = self._tried(case, best)
            if found is None:
                vain.append(case)
            else:
                best = _better(best, found)
                best = _better(best, self._made(case, self._free(case, [found]), best))
        return best

    def _tried(self, case: Case, best: Candidate) -> Candidate | None:
        """Return a blend of a case that a walk on one set of materials leads to, or None."""
        known, nearest = {best.support: best.mix, **self._ranked(case)}, math.inf
        for tried, (support, start) in enumerate(known.items()):
            if tried >= (_SUPPORTS_BELOW if nearest <= _FAR else _SUPPORTS):
                break
            own = [k for k in support if k in self.problem.solids]
            end = self.walks.down(case, own, start, own, best.value)
            if end.feasible:
                self.keep(end)
                return end
            nearest = min(nearest, end.violation)
        self.doubtful = self.doubtful or nearest <= _WITHIN_REACH
        return None

    def _exchanged(self, best: Candidate) -> Candidate:
        """Return the best blend that exchanges of single materials lead to."""
        found = exchanged(self.walks, best, self.solids(), self._cap())
        self.keep(found)
        return found

    def _rest(self, k: int) -> tuple[int, ...]:
        """Return the materials without one; none where it may not be left out."""
        rest = tuple(j for j in self.solids() if j != k)
        bound = any(self.problem.materials[j].role == "binder" for j in rest)
        return rest if bound and len(rest) < len(self.solids()) else ()

    def _shorten(self, cases: tuple[Case, ...], seeds: tuple[Candidate, ...]) -> list[Candidate]:
        """Keep the materials worth a look among many, and return the walks among all of them that told.

        A walk looks at every material at once, so what no walk of the loosest steps uses, from any basin,
        and no promising blend of the grid, is left out of the choice of materials.
        """
        head = _heads(cases)[0]
        ends = self._free(head, seeds)
        met = {k for end in ends for k in end.support}
        for support in self._ranked(head):
            if len(met) >= _MANY:
                break
            met |= set(support)
        self.short = frozenset(met)
        return ends

    def _last_resort(self, best: Candidate, solved: Iterable[Candidate]) -> Candidate:
        """Look once more, from many starts, where a blend was missed by least: "none" is a hard word."""
        for end in sorted(solved, key=Candidate.rank)[:_RETRIED]:
            for support, start in list(self._ranked(end.case).items())[:_SUPPORTS_AT_LAST]:
                own = [k for k in support if k in self.problem.solids]
                if len(own) > self._cap():
                    continue
                alone = self.walks.down(end.case, own, start, own)
                if alone.feasible:
                    return self._made(end.case, [alone], None) or alone
                best = _better(best, alone)
        return best

    def best_of_case(self, case: Case, known: Iterable[Candidate] = ()) -> Candidate | None:
        """Return the best candidate of one case, or None when no blend can be started.

        Parameters
        ----------
        case
            The steps to hold.
        known
            Blends of this or other cases; where they lead to a blend, the walk from the grid is spared.
        """
        return self._made(case, self._free(case, known), None)

    def rivals(self, best: Candidate) -> list[Candidate]:
        """Return blends of other materials than `best`, in its case: the best without each of its materials.

        Those met on the way to the answer are among them; best first.
        """
        for k in best.support:
            rest = self._rest(k)
            if not rest:
                continue
            end = self.walks.down(best.case, rest, best.mix)
            for blend in settle(self.walks, end, rest):
                self.keep(blend)
        others = (c for c in self.polished.values() if c.feasible and c.support != best.support)
        return sorted(others, key=Candidate.rank)

    def _free(self, case: Case, known: Iterable[Candidate]) -> list[Candidate]:
        """Walk with all materials and without least shares, best end first: a floor for the case.

        From blends of other cases, and from the grid where those lead nowhere.
        """
        ends: list[Candidate] = []
        for start in sorted(known, key=Candidate.rank)[:_WARM]:
            ends.append(self.walks.down(case, self.solids(), start.mix))
            if ends[-1].feasible:
                break
        far = bool(ends) and min(end.violation for end in ends) > _FAR
        basins = self._starts(case, [end for end in ends if end.feasible])
        for mixes in basins[:1] if far else basins:
            for mix in mixes[: 1 if far else _TRIES]:
                end = self.walks.down(case, self.solids(), mix)
                again = any(np.abs(end.mix - other.mix).max() < _SAME for other in ends)
                ends.append(end)
                if end.feasible or again:
                    break
        return _distinct(ends)

    def _made(self, case: Case, free: Sequence[Candidate], best: Candidate | None) -> Candidate | None:
        """Return what a shop can weigh of the free ends, where that may be better than `best`."""
        found: Candidate | None = None
        tried = False
        beaten = best if best is not None and best.feasible else None
        for end in free:
            if beaten is not None and end.feasible and end.value >= beaten.value - _MARGIN:
                continue
            tried = True
            for blend in settle(self.walks, end, self.solids(), beaten):
                self.keep(blend)
                found = _better(found, blend)
                beaten = _better(beaten, blend) if blend.feasible else beaten
        crowded = any(len(self._solids_in(end)) > self._cap() for end in free)
        if tried and crowded and free[0].feasible and (found is None or not found.feasible):
            found = self._thinned(free[0], found, beaten)
        near = found is None or found.violation <= _FAR
        if tried and near and (found is None or not found.feasible or crowded):
            found = self._by_support(case, found, beaten)
        return found

    def _solids_in(self, end: Candidate) -> tuple[int, ...]:
        return tuple(k for k in end.support if k in self.problem.solids)

    def _thinned(self, end: Candidate, best: Candidate | None, beaten: Candidate | None) -> Candidate | None:
        """Walk on every few of the materials of a crowded end, those first that hold most of its mass."""
        sets = combinations(self._solids_in(end), self._cap())
        cutoff = np.inf if beaten is None else beaten.value
        for own in sorted(sets, key=lambda few: -float(end.mix[list(few)].sum()))[:_MOST_SETS]:
            if not any(self.problem.materials[k].role == "binder" for k in own):
                continue
            found = self.walks.down(end.case, own, end.mix, own, cutoff)
            if found.feasible:
                self.keep(found)
                cutoff = min(cutoff, found.value)
            best = _better(best, found)
        return best

    def _by_support(self, case: Case, best: Candidate | None, beaten: Candidate | None) -> Candidate | None:
        """Walk on the grid's most promising sets of materials alone: where all at once lead astray."""
        most = _SUPPORTS // 2 if best is not None and best.feasible else _SUPPORTS
        for support, start in list(self._ranked(case).items())[:most]:
            cutoff = np.inf if beaten is None else beaten.value
            own = [k for k in support if k in self.problem.solids]
            end = self.walks.down(case, own, start, own, cutoff)
            self.keep(end)
            best = _better(best, end)
        return best

    def _cap(self) -> int:
        return self.problem.job.at_most_materials or len(self.problem.names)

    def keep(self, found: Candidate) -> None:
        """Remember a blend among those of its case and materials."""
        key = (found.case, found.support)
        self.polished[key] = _better(self.polished.get(key), found)

    def _starts(self, case: Case, known: Iterable[Candidate]) -> list[list[Array]]:
        """Return promising grid mixes of each basin that no `known` mix lies in, best basin first."""
        spared = {self._basin(c.mix) for c in known}
        out: dict[int, list[Array]] = {}
        for mix in self._ranked(case).values():
            basin = self._basin(mix)
            if basin not in spared:
                out.setdefault(basin, []).append(mix)
        return list(out.values())

    def _basin(self, mix: Array) -> int:
        """Return which of the valleys a mix lies in: rich in cement, between, rich in gypsum.

        Walks do not cross from one to the other: strength and set fall between the two kinds of binder.
        """
        share = [m.role == "binder" and m.kind == "gypsum" for m in self.problem.materials] @ mix[:-1]
        whole = [m.role == "binder" for m in self.problem.materials] @ mix[:-1]
        return int(np.digitize(share / max(float(whole), 1e-9), _VALLEYS))

    def _ranked(self, case: Case) -> dict[tuple[int, ...], Array]:
        """Return the best grid mix of each set of materials, most promising set first."""
        scan = self.scan or Scan(self.problem)
        self.scan = scan
        if len(scan.grid) == 0:
            return {}
        cast = scan.cast(case)
        rows = rows_of_cast(self.problem, case, cast)
        backoff = self.walks.backoff(case)
        short = np.maximum(-(rows if backoff is None else rows - backoff), 0.0).sum(axis=1)
        value = objective_of(self.problem, case, cast)
        short = np.where(value >= NEVER, np.maximum(short, 1.0), short)
        order = np.lexsort((value, np.where(short <= _NEARLY, 0.0, short)))
        _, first = np.unique(scan.support_of[order], return_index=True)
        allowed = {*self.solids(), *self.problem.doses}
        best = ((scan.supports[scan.support_of[i]], cast.mixes[i]) for i in order[np.sort(first)])
        return {support: mix for support, mix in best if allowed.issuperset(support)}


class _Agenda:
    """Cases in the order of what they cost at least.

    A case costs at least its steps and the powder of any looser case walked before. `solved` holds the free
    end of each case walked, `best` the best blend offered.
    """

    def __init__(self, cases: tuple[Case, ...], money: bool) -> None:
        self.cases, self.money = cases, money
        self.solved: list[Candidate] = []
        self.best: Candidate | None = None
        self._order = count()
        self._waiting: list[tuple[float, int, Case, list[Candidate] | None]] = []
        heads = _heads(cases)
        for case in cases:
            self._push(-math.inf if case in heads else self._floor(case), case, None)

    def turns(self) -> Iterator[tuple[Case, list[Candidate] | None]]:
        """Yield each case whose turn comes, with its free ends once it has been walked."""
        while self._waiting:
            least, _, case, free = heapq.heappop(self._waiting)
            if self.best is not None and self.best.feasible and least >= self.best.value - _MARGIN:
                return
            if free is None:
                if any(k.case == case or (not k.feasible and case.tighter_than(k.case)) for k in self.solved):
                    continue
                floor = self._floor(case)
                if floor > least > -math.inf:
                    self._push(floor, case, None)
                    continue
            yield case, free

    def wait(self, case: Case, free: list[Candidate]) -> None:
        """Put a case back with its free ends."""
        self.solved.append(free[0])
        self._push(free[0].value, case, free)

    def close(self, case: Case, end: Candidate) -> None:
        """Note how a case ended; one without a blend lets the loosest case of its coats have its say."""
        self.solved.append(end)
        if not end.feasible:
            # If even that one has no blend, none of its tighter ones does.
            alike = [c for c in self.cases if c.coats == case.coats and c.doses == case.doses]
            self._push(-math.inf, _loosest(alike), None)

    def offer(self, found: Candidate | None) -> None:
        """Keep a blend if it is the best."""
        if found is not None:
            self.best = _better(self.best, found)

    def _push(self, least: float, case: Case, free: list[Candidate] | None) -> None:
        heapq.heappush(self._waiting, (least, next(self._order), case, free))

    def _floor(self, case: Case) -> float:
        if not self.money:
            return -math.inf
        looser = [k for k in self.solved if k.feasible and case.tighter_than(k.case)]
        return case.fixed + max((k.value - k.case.fixed for k in looser), default=0.0)


def _loosest(cases: Iterable[Case]) -> Case:
    """Return the case that holds the mixes of most others."""
    loosest, *rest = cases
    for case in rest:
        if loosest.tighter_than(case):
            loosest = case
    return loosest


def _heads(cases: tuple[Case, ...]) -> list[Case]:
    """Return one loosest case of each choice of doses: its powder is a floor for all the others."""
    groups: dict[tuple[tuple[int, float], ...], list[Case]] = {}
    for case in cases:
        groups.setdefault(tuple(sorted(case.doses.items())), []).append(case)
    return [_loosest(group) for group in groups.values()]


def _better(first: Candidate | None, second: Candidate | None) -> Candidate:
    both = [c for c in (first, second) if c is not None]
    return min(both, key=Candidate.rank)


def _distinct(ends: Iterable[Candidate]) -> list[Candidate]:
    """Return the ends of several walks best first, each mix once."""
    out: list[Candidate] = []
    for end in sorted(ends, key=Candidate.rank):
        if not any(np.abs(end.mix - other.mix).max() < _SAME for other in out):
            out.append(end)
    return out


def best_mix(problem: Problem, only: tuple[int, ...] | None = None) -> Candidate | None:
    """Return the best mix of a problem judged at best values, or None when no mix can be started."""
    return Search(problem, only=only).run()
