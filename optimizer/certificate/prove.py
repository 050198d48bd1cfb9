"""Prove how good the best answer can be: best-first branch and bound over cases, regimes and ratios."""

from __future__ import annotations

import heapq
import math
import time
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import count

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.assemble import relaxation_of, shared_case, shifts_of
from optimizer.certificate.case_constants import EXCESS, SHORT
from optimizer.certificate.linear_bounds import ImpossibleError
from optimizer.certificate.nodes import OPEN, Node, choices, split, widest, worst_fault
from optimizer.certificate.relax import Relaxation
from optimizer.certificate.terms import Box
from optimizer.engine.candidate import Candidate
from optimizer.engine.cases import cases_of
from optimizer.engine.nlp_refinement import polish
from optimizer.formulation import Case, RowLabel, backoff_vector
from optimizer.job import Limit
from optimizer.problem import Problem
from optimizer.solvers.relaxation import RelaxationAnswer
from optimizer.solvers.status import Status

__all__ = ["Bounding", "Found"]

Array = NDArray[np.float64]

_MOST_POLISHED = 24
_TURNS = 2
"""How often a node's relaxation is solved, with ranges narrowed in between."""
_WORTH = 0.8
"""Share of its width an interval must fall to for another solve."""
_NEAR = 0.05
"""Sum of the errors of a relaxation's point [ln] below which it is worth a smooth solve."""


@dataclass(frozen=True)
class Found:
    """What a search has proved.

    Attributes
    ----------
    bound : float
        Least goal any mix can have; infinite when there is no mix.
    best : Candidate | None
        Best mix known.
    finished : bool
        False when time ran out or the user stopped it.
    nodes, cases : int
        Parts looked at, and cases there were.
    unused : tuple[Limit, ...]
        Limits left out.
    """

    bound: float
    best: Candidate | None
    finished: bool
    nodes: int
    cases: int
    unused: tuple[Limit, ...]


@dataclass(frozen=True)
class _Look:
    """A node looked at: its box, its relaxation's answer, its bound."""

    box: Box
    answer: RelaxationAnswer
    bound: float


@dataclass
class Bounding:
    """One search for the least goal of a problem; scratch, not kept after the answer.

    Attributes
    ----------
    problem : Problem
        What is asked; its objective must have a goal (`assemble.has_goal`) unless any mix will do.
    incumbent : Candidate | None
        A mix known to hold all rows.
    gap : float
        Where the proof may stop, over the incumbent's value [-].
    deadline : float
        `time.perf_counter` at which to stop.
    shifts : Mapping[RowLabel, float]
        How far limit rows must be over-met.
    most_nodes : int
        Parts after which to stop, whatever the clock says.
    feasibility : bool
        True when any mix at all ends the search.
    """

    problem: Problem
    incumbent: Candidate | None
    gap: float
    deadline: float
    shifts: Mapping[RowLabel, float]
    most_nodes: int = 400
    feasibility: bool = False
    heap: list[tuple[float, int, Node]] = field(default_factory=list)
    closed: float = math.inf
    nodes: int = 0
    unused: dict[Limit, None] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._number = count()
        self._current: Node | None = None
        self._known: dict[tuple[object, ...], Relaxation | None] = {}
        self._polished: set[tuple[Case, tuple[int, ...]]] = set()
        self._opened: set[Case] = set()
        self._floors: list[tuple[Case, str, float]] = []
        self._hints: dict[int, Array] = {}
        self._lookup = shifts_of(self.shifts)
        self.cases = cases_of(self.problem)

    @property
    def cutoff(self) -> float:
        """Goal from which a part is of no interest."""
        if self.incumbent is None or self.feasibility:
            return math.inf
        value = self.incumbent.value
        return value - self.gap * abs(value)

    def run(self) -> Found:
        """Search until the gap is proved, everything is ruled out, time is over or the user stops it."""
        finished = False
        try:
            finished = self._run()
        except KeyboardInterrupt:
            finished = False
        held = [] if self._current is None else [self._current.bound]
        bound = min([self.closed, *held, *(entry[0] for entry in self.heap)])
        return Found(bound, self.incumbent, finished, self.nodes, len(self.cases), tuple(self.unused))

    def _run(self) -> bool:
        self._open(_loosest(self.cases) if self.incumbent is None else self.cases)
        while self.heap:
            if self.heap[0][0] >= self.cutoff:
                return True
            if self.nodes >= self.most_nodes or time.perf_counter() > self.deadline:
                return False
            # Kept aside until its parts are on the heap: a stop in between loses nothing.
            self._current = self.heap[0][2]
            heapq.heappop(self.heap)
            self.nodes += 1
            for part in self._parts(self._current):
                self._push(part)
            self._current = None
            if self.incumbent is not None:
                if self.feasibility:
                    return True
                self._open(self.cases)
        return True

    def _open(self, cases: tuple[Case, ...]) -> None:
        """Put the roots of cases on the heap that are not there yet.

        Without a mix the loosest cases come alone: where they hold none, no case does.
        """
        flags = np.full(len(self.problem.names), OPEN)
        for case in cases:
            if case not in self._opened:
                self._opened.add(case)
                for regime in (EXCESS, SHORT):
                    self._push(Node(self._offset(case) if self._money else -math.inf, case, regime, flags))

    def _push(self, node: Node) -> None:
        if node.bound >= self.cutoff:
            self.closed = min(self.closed, node.bound)
        else:
            heapq.heappush(self.heap, (node.bound, next(self._number), node))

    @property
    def _money(self) -> bool:
        return self.problem.job.objective == "cost" and not self.feasibility

    def _offset(self, case: Case) -> float:
        return case.fixed if self._money else 0.0

    def _relaxation(self, node: Node) -> Relaxation | None:
        key = (shared_case(node.case), node.regime)
        if key not in self._known:
            try:
                self._known[key] = relaxation_of(self.problem, node.case, node.regime, self._lookup)
            except ImpossibleError:
                self._known[key] = None
        found = self._known[key]
        if found is not None:
            self.unused.update(dict.fromkeys(found.unused))
        return found

    def _parts(self, node: Node) -> list[Node]:
        """Look at a node; return the parts of it that are still of interest."""
        if node.box is None:
            floor = self._floor(node)
            if floor > node.bound:
                return [replace(node, bound=floor)] if floor < math.inf else []
        relaxation = self._relaxation(node)
        if relaxation is None:
            self._floors.append((node.case, node.regime, math.inf))
            return []
        box = relaxation.root if node.box is None else node.box
        for turn in range(_TURNS):
            look = self._look(relaxation, node, box, turn)
            if isinstance(look, _Look):
                box, answer, bound = look.box, look.answer, look.bound
                if turn + 1 < _TURNS:
                    narrowed = self._narrowed(relaxation, node, look)
                    if narrowed is None:
                        return []
                    if narrowed is not box:
                        node, box = replace(node, bound=bound, point=answer.x), narrowed
                        continue
                return self._branched(relaxation, node, look)
            return look
        return []

    def _floor(self, node: Node) -> float:
        """Return what roots of looser cases have proved for this one."""
        known = [
            value
            for case, regime, value in self._floors
            if regime == node.regime and node.case.tighter_than(case)
        ]
        return max(known, default=-math.inf) + self._offset(node.case)

    def _look(self, relaxation: Relaxation, node: Node, box: Box, turn: int) -> _Look | list[Node]:
        """Solve the relaxation of a node; return what it says, or the parts left when that is plain."""
        relaxation.narrower.forget()
        relaxation.enter(node.case, box, node.flags, node.point)
        answer = self._solved(relaxation, box)
        if answer.status is Status.INFEASIBLE:
            if node.box is None and turn == 0:
                self._floors.append((node.case, node.regime, math.inf))
            return []
        bound = max(node.bound, self._offset(node.case) + answer.bound)
        if node.box is None and turn == 0 and self._money:
            self._floors.append((node.case, node.regime, answer.bound))
        if bound >= self.cutoff:
            self.closed = min(self.closed, bound)
            return []
        if answer.status is not Status.OPTIMAL:
            return list(split(node, box, widest(box, relaxation.root), bound, node.point))
        return _Look(box, answer, bound)

    def _solved(self, relaxation: Relaxation, box: Box) -> RelaxationAnswer:
        answer = relaxation.solve()
        if answer.status is Status.OPTIMAL:
            relaxation.narrower.meet(answer.x)
            relaxation.sharpen(box, answer.x)
            better = relaxation.solve()
            if better.status is not Status.FAILED:
                answer = better
                if answer.status is Status.OPTIMAL:
                    relaxation.narrower.meet(answer.x)
        return answer

    def _narrowed(self, relaxation: Relaxation, node: Node, look: _Look) -> Box | None:
        """Return a smaller box, the same one where little can be gained, or None where no mix is left."""
        ratios = self._worth_narrowing(relaxation, node, look)
        if not ratios:
            return look.box
        # What is narrowed away may be a mix, but one whose goal is above the cutoff.
        self.closed = min(self.closed, self.cutoff)
        relaxation.cut_off(self.cutoff - self._offset(node.case))
        box = relaxation.narrow(look.box, ratios)
        relaxation.cut_off(math.inf)
        if box is None:
            return None
        return box if _shrunk(look.box, box, ratios) else look.box

    def _worth_narrowing(self, relaxation: Relaxation, node: Node, look: _Look) -> tuple[int, ...]:
        """Return the ratios of the worst fault; at a root those of all that matter."""
        point, duals = look.answer.x, look.answer.duals
        if node.box is None:
            faults = [f for term in relaxation.terms for f in term.faults(look.box, point) if f.free]
            return tuple(dict.fromkeys(k for f in faults if f.error > 1e-3 for k in f.ratios))
        fault = worst_fault(relaxation, look.box, point, duals)
        return () if fault is None else fault.ratios

    def _branched(self, relaxation: Relaxation, node: Node, look: _Look) -> list[Node]:
        answer = look.answer
        found, error = choices(
            relaxation, node.flags, look.box, answer.x, answer.duals, self._hint(relaxation)
        )
        self._try(relaxation, node, answer.x, error, settled=not found)
        if look.bound >= self.cutoff or not found:
            # Nothing left to split: the bound of the relaxation stands.
            self.closed = min(self.closed, look.bound)
            return []
        best, most = [], -math.inf
        for choice in found:
            parts = list(split(node, look.box, choice, look.bound, answer.x))
            if len(found) > 1:
                parts = [self._probed(relaxation, part) for part in parts]
            worth = self._worth(parts, look.bound)
            if worth > most:
                best, most = parts, worth
            if any(part.bound >= self.cutoff for part in parts):
                break
        return [part for part in best if part.bound < math.inf]

    def _probed(self, relaxation: Relaxation, part: Node) -> Node:
        """Return a part with the bound that one solve gives it; infinite where it holds nothing."""
        if part.box is None:
            return part
        relaxation.enter(part.case, part.box, part.flags, part.point)
        answer = relaxation.solve()
        if answer.status is Status.INFEASIBLE:
            return replace(part, bound=math.inf)
        return replace(part, bound=max(part.bound, self._offset(part.case) + answer.bound))

    def _worth(self, parts: list[Node], bound: float) -> float:
        """Return how much a split lifts the bounds of its parts: the product of both gains."""
        scale = max(abs(bound), 1e-3) if math.isfinite(bound) else 1.0
        most = (self.cutoff if self.cutoff < math.inf else bound + scale) - bound
        if not math.isfinite(bound):
            return float(sum(part.bound == math.inf for part in parts))
        gains = [min(max(part.bound - bound, 0.0), most) for part in parts]
        return math.prod(max(gain, 1e-6 * scale) for gain in gains)

    def _hint(self, relaxation: Relaxation) -> Array | None:
        """Return the ratios of the best mix known."""
        if self.incumbent is None:
            return None
        if id(relaxation) not in self._hints:
            point = relaxation.lift(self.incumbent.mix)
            self._hints[id(relaxation)] = np.array([r.of(point) for r in relaxation.builder.layout.ratios])
        return self._hints[id(relaxation)]

    def _try(self, relaxation: Relaxation, node: Node, point: Array, error: float, *, settled: bool) -> None:
        """Polish the point of a relaxation where it is nearly a mix, or while none is known."""
        if self.incumbent is not None and error > _NEAR and not settled:
            return
        support = self._support(relaxation, point)
        key = (node.case, support)
        known = key in self._polished and not settled
        if not support or known or len(self._polished) >= _MOST_POLISHED:
            return
        self._polished.add(key)
        backoff = backoff_vector(self.problem, node.case, self.shifts)
        found = polish(self.problem, node.case, support, point[: len(self.problem.names) + 1].copy(), backoff)
        if found.feasible and (self.incumbent is None or found.value < self.incumbent.value):
            self.incumbent = found
            self._hints.clear()

    def _support(self, relaxation: Relaxation, point: Array) -> tuple[int, ...]:
        powder = max(float(point[relaxation.builder.form("powder")]), 1e-12)
        cap = self.problem.job.at_most_materials or len(self.problem.names)
        shares = {k: float(point[k]) / powder for k in self.problem.solids}
        wanted = [k for k in shares if shares[k] > 0.5 * max(self.problem.bounds[k].least, 1e-3)]
        return tuple(sorted(sorted(wanted, key=lambda k: -shares[k])[:cap]))


def _loosest(cases: tuple[Case, ...]) -> tuple[Case, ...]:
    """Return the cases that no other case holds."""
    kept: list[Case] = []
    for case in cases:
        if not any(case.tighter_than(other) for other in kept):
            kept = [other for other in kept if not other.tighter_than(case)] + [case]
    return tuple(kept)


def _shrunk(before: Box, after: Box, ratios: tuple[int, ...]) -> bool:
    """Return True when some interval lost a good part of its width."""
    return any(
        (after.high[k] - after.low[k]) < _WORTH * (before.high[k] - before.low[k])
        for k in ratios
        if before.high[k] - before.low[k] > 1e-9
    )
