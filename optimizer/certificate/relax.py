"""One relaxation at work: a warm linear program whose rows follow the box of a node."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.build import Builder
from optimizer.certificate.layout import FREE, Range, Row, dense_row
from optimizer.certificate.ranges import Narrower
from optimizer.certificate.terms import Box, Term
from optimizer.formulation import Case
from optimizer.job import Limit
from optimizer.problem import Problem, held_bound
from optimizer.solvers.relaxation import RelaxationAnswer, WarmLP

__all__ = ["CaseRow", "Relaxation", "RowNumbers"]

Array = NDArray[np.float64]

_MOST_LAZY = 80
_OFF = Row({}, -FREE, FREE)

CaseRow = tuple[int, Callable[[float], Row]]
"""Number of a row, and the row for a bound."""


@dataclass(frozen=True)
class RowNumbers:
    """Where the rows that follow a node are.

    Attributes
    ----------
    ratios : int
        First of two rows per ratio.
    doses : tuple[int, ...]
        Least share of each solid material.
    cap : int | None
        Most materials.
    cutoff : int
        Goal at most.
    case : Mapping[str, CaseRow]
        Limits of a case by property.
    """

    ratios: int
    doses: tuple[int, ...]
    cap: int | None
    cutoff: int
    case: Mapping[str, CaseRow]


@dataclass
class Relaxation:
    """A relaxation of all cases with the same doses and demold limit, in one regime.

    Attributes
    ----------
    problem : Problem
        What is asked.
    builder : Builder
        Columns and terms.
    program : WarmLP
        The linear program as it stands for the last node entered.
    root : Box
        Ranges of all ratios from the linear rows alone.
    unused : tuple[Limit, ...]
        Limits without rows.
    goal : Array
        Goal by column, the case's fixed part left out.
    shifts : Callable[[Limit], tuple[float, ...]]
        How far the rows of a limit must be over-met.
    """

    problem: Problem
    builder: Builder
    program: WarmLP
    root: Box
    unused: tuple[Limit, ...]
    goal: Array
    numbers: RowNumbers
    shifts: Callable[[Limit], tuple[float, ...]]
    _base: int = field(init=False)
    _box: Box = field(init=False)
    _rows: dict[int, Row] = field(default_factory=dict)
    _flags: bytes = b""

    def __post_init__(self) -> None:
        self._base = self.program.row_lower.size
        self._box = Box(np.full(self.root.low.size, -math.inf), np.full(self.root.low.size, math.inf))

    @property
    def terms(self) -> list[Term]:
        """The curved pieces."""
        return self.builder.terms

    @cached_property
    def narrower(self) -> Narrower:
        """All ratios over the columns, to narrow their ranges."""
        layout = self.builder.layout
        above = np.array([layout.dense(ratio.above) for ratio in layout.ratios])
        below = np.array([layout.dense(ratio.below) for ratio in layout.ratios])
        spans = [self._below_range(ratio.below) for ratio in layout.ratios]
        return Narrower(self.program, above, below, spans)

    def _below_range(self, below: Mapping[int, float]) -> Range:
        weights = self.builder.layout.weights(below)
        return Range(0.0, FREE) if weights is None else self.builder.ground.sum_range(weights)

    def enter(self, case: Case, box: Box, flags: Array, point: Array | None = None) -> None:
        """Set the program to one node.

        Parameters
        ----------
        case
            Case of the node.
        box
            Intervals of the ratios.
        flags
            By material: 1 in, 0 out, -1 open.
        point
            A point of the program near which its rows should be close.
        """
        if self.program.row_lower.size > self._base + _MOST_LAZY:
            self.program.keep_rows(self._base)
        self._set_case(case)
        self._set_flags(flags)
        moved = self._moved(box)
        self._set_box(box, moved)
        for term in self.terms:
            if not moved.isdisjoint(term.depends):
                for number, row in term.node_rows(box, point):
                    self._set(number, row)
        self._box = box

    def _set_case(self, case: Case) -> None:
        for limit in (*case.limits, *self.problem.job.limits):
            if limit.property in self.numbers.case and (limit in case.limits or limit.property == "cost"):
                number, row = self.numbers.case[limit.property]
                fixed = case.fixed if limit.property == "cost" else 0.0
                self._set(number, row(held_bound(limit, self.shifts(limit)[0]) - fixed))

    def _moved(self, box: Box) -> set[int]:
        changed = (box.low != self._box.low) | (box.high != self._box.high)
        return set(np.flatnonzero(changed).tolist())

    def sharpen(self, box: Box, point: Array) -> None:
        """Move rows close to the truth at a point, and add rows true everywhere that it breaks."""
        cuts: list[Row] = []
        for term in self.terms:
            for number, row in term.node_rows(box, point, fresh=False):
                self._set(number, row)
            cuts.extend(term.cuts(point))
        if cuts:
            width = len(self.builder.layout.lower)
            matrix = np.array([dense_row(row.coefficients, width) for row in cuts])
            self.program.add_rows(matrix, [row.lower for row in cuts], [row.upper for row in cuts])

    def solve(self) -> RelaxationAnswer:
        """Solve the program for the goal."""
        return self.program.solve()

    def cut_off(self, most: float) -> None:
        """Rule out points whose goal is above `most`."""
        self.program.set_row_bounds([self.numbers.cutoff], [-FREE], [most])

    def narrow(self, box: Box, ratios: Sequence[int]) -> Box | None:
        """Return a box with the ranges of some ratios narrowed to what the rows allow; None if nothing is."""
        low, high = box.low.copy(), box.high.copy()
        try:
            for k in ratios:
                span = self.narrower.narrow(k, Range(float(low[k]), float(high[k])))
                if span.low == math.inf:
                    return None
                # Ends that cross by rounding leave one value, not nothing.
                low[k], high[k] = min(span.low, span.high), max(span.low, span.high)
        finally:
            self.program.set_cost(self.goal)
        return Box(low, high)

    def _set(self, number: int, row: Row) -> None:
        if self._rows.get(number) != row:
            width = len(self.builder.layout.lower)
            self.program.set_row(number, dense_row(row.coefficients, width), row.lower, row.upper)
            self._rows[number] = row

    def _set_box(self, box: Box, moved: set[int]) -> None:
        ratios = self.builder.layout.ratios
        for k in moved:
            first = self.numbers.ratios + 2 * k
            low, high = float(box.low[k]), float(box.high[k])
            # What the linear rows leave a ratio needs no rows.
            self._set(
                first, _OFF if low == self.root.low[k] or not math.isfinite(low) else ratios[k].at_least(low)
            )
            self._set(
                first + 1,
                _OFF if high == self.root.high[k] or not math.isfinite(high) else ratios[k].at_most(high),
            )

    def _set_flags(self, flags: Array) -> None:
        if flags.tobytes() == self._flags:
            return
        self._flags = flags.tobytes()
        solids = np.array(self.problem.solids)
        top = np.where(flags[solids] != 0, 1.0 / self.builder.layout.volumes[solids], 0.0)
        self.program.set_column_bounds(solids, np.zeros(solids.size), top)
        lower = np.where(flags[solids] == 1, 0.0, -FREE)
        self.program.set_row_bounds(np.array(self.numbers.doses), lower, np.full(solids.size, FREE))
        if self.numbers.cap is not None:
            self._set(self.numbers.cap, self._cap(flags))

    def _cap(self, flags: Array) -> Row:
        """Sum of shares over most shares of the open materials is at most the places left."""
        cap = self.problem.job.at_most_materials or len(self.problem.names)
        row = {self.builder.form("powder"): float(cap - int(np.count_nonzero(flags == 1)))}
        for k in self.problem.solids:
            if flags[k] == -1:
                row[k] = -1.0 / self.most[k]
        return Row(row)

    @cached_property
    def most(self) -> Array:
        """Most share of the powder each material can take by the linear rows."""
        out = np.ones(len(self.problem.names))
        for k in self.problem.solids:
            unit = np.zeros(len(out) + 1)
            unit[k] = 1.0
            span = self.builder.ground.ratio_range(unit, self.builder.sums["powder"])
            out[k] = min(max(span.high, 1e-6), 1.0)
        return out

    def lift(self, mix: Array) -> Array:
        """Return the point of the program that stands for a mix."""
        layout = self.builder.layout
        point = np.zeros(len(layout.lower))
        for column, weights in layout.forms.items():
            point[column] = float(weights @ mix)
        for term in self.terms:
            term.lift(point)
        return point
