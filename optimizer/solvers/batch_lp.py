"""Many small linear programs of one shape solved together: the bounded dual simplex on arrays.

A search meets hundreds of programs of some ten columns and thirty rows at a time. A solver called for each
spends nearly all its time on the call; here one pivot of all of them is some twenty operations on arrays
whose last axis is the program. Programs whose columns have finite bounds on the side that their cost favors
can be started at once; the others, and those that stall, are handed to HiGHS one by one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.solvers.relaxation import WarmLP

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Mask = NDArray[np.bool_]

_FEASIBLE = 1e-9
"""What a column or row may miss its bounds by [its unit]."""

_PIVOT, _TIE = 1e-9, 1e-11
_SINGULAR = 1e8
"""Largest entry of a start's inverse: beyond it the start is given up as singular."""

_MOST_PIVOTS = 80
_THINNED = 0.75
"""Share of unfinished programs below which the finished ones are taken out of the arrays."""


@dataclass(frozen=True)
class BatchLP:
    """Programs ``min cost @ x`` with ``row_lower <= rows @ x <= row_upper`` and ``lower <= x <= upper``.

    Attributes
    ----------
    cost, lower, upper : Array
        Shape (programs, columns).
    rows : Array
        Shape (programs, rows, columns).
    row_lower, row_upper : Array
        Shape (programs, rows); infinite where there is no bound.
    """

    cost: Array
    lower: Array
    upper: Array
    rows: Array
    row_lower: Array
    row_upper: Array


@dataclass(frozen=True)
class BatchAnswer:
    """The answers to a batch.

    Attributes
    ----------
    x : Array
        Optimal columns, shape (programs, columns); zero where there is none.
    duals : Array
        Rise of the cost per unit of each row's bound, shape (programs, rows).
    solved : Mask
        False for a program without a feasible point.
    basis : Index
        What sits at its bounds, columns first and rows counted on: shape (programs, columns). Given to the
        next solve of a program much like this one it saves most of the pivots.
    """

    x: Array
    duals: Array
    solved: Mask
    basis: Index


def solve_batch(
    programs: BatchLP, basis: Index | None = None, most_pivots: int = _MOST_PIVOTS
) -> BatchAnswer:
    """Return the optima of a batch of programs.

    Parameters
    ----------
    programs
        All of one shape.
    basis
        Where to start, as an earlier answer named it; a start that does not serve is replaced by the
        columns at their bounds.
    most_pivots
        Pivots after which a program counts as stalled and goes to HiGHS.

    Examples
    --------
    The textbook program max 3x + 5y, x <= 4, 2y <= 12, 3x + 2y <= 18 (Hillier and Lieberman):

    >>> box = np.array([[0.0, 0.0]]), np.array([[9.0, 9.0]])
    >>> rows = np.array([[[1.0, 0.0], [0.0, 2.0], [3.0, 2.0]]])
    >>> bounds = np.full((1, 3), -np.inf), np.array([[4.0, 12.0, 18.0]])
    >>> answer = solve_batch(BatchLP(np.array([[-3.0, -5.0]]), *box, rows, *bounds))
    >>> answer.x.round(6).tolist(), answer.duals.round(6).tolist()
    ([[2.0, 6.0]], [[0.0, -1.5, -1.0]])
    """
    count, columns = programs.cost.shape
    answer = BatchAnswer(
        np.zeros((count, columns)),
        np.zeros(programs.row_lower.shape),
        np.zeros(count, bool),
        np.tile(np.arange(columns), (count, 1)),
    )
    if count == 0:
        return answer
    tableau = _Tableau(programs, basis)
    tableau.run(answer, most_pivots)
    for one in tableau.stalled:
        _by_highs(programs, int(one), answer)
    return answer


class _Tableau:
    """All programs at a vertex, the program on the last axis.

    `table[v, k]` is what variable v (columns, then rows) gains per unit of what sits at place k of the
    vertex; its last row holds the reduced costs. `place[k]` names that variable, `value` all values.
    """

    def __init__(self, programs: BatchLP, basis: Index | None) -> None:
        count, columns = programs.cost.shape
        total = columns + programs.row_lower.shape[1]
        self.columns = columns
        self.lower = np.concatenate([programs.lower, programs.row_lower], axis=1).T.copy()
        self.upper = np.concatenate([programs.upper, programs.row_upper], axis=1).T.copy()
        self.table = np.zeros((total + 1, columns, count))
        self.table[np.arange(columns), np.arange(columns)] = 1.0
        self.table[columns:total] = programs.rows.transpose(1, 2, 0)
        self.table[total] = programs.cost.T
        self.place = np.tile(np.arange(columns)[:, None], (1, count))
        self.programs = np.arange(count)
        self.stalled = np.zeros(0, np.intp)
        if basis is not None:
            self._start_at(basis)
        self._settle()

    def _start_at(self, basis: Index) -> None:
        """Take the vertices named, where they are vertices and the reduced costs suit the bounds."""
        columns = self.columns
        tried = np.flatnonzero((basis != np.arange(columns)).any(axis=1))
        if tried.size == 0:
            return
        whole = self.table[:, :, tried].transpose(2, 0, 1)
        vertex = np.take_along_axis(whole, basis[tried][:, :, None], axis=1)
        inverse = _inverses(vertex)
        good = np.abs(inverse).max(axis=(1, 2)) <= _SINGULAR
        table = whole @ np.where(good[:, None, None], inverse, 0.0)
        place, one = basis[tried].T, tried[None, :]
        below, above = (np.isfinite(bound[place, one]) for bound in (self.lower, self.upper))
        slope = table[:, -1].T
        good &= (np.where(slope >= 0.0, below, above) | (np.abs(slope) <= _PIVOT) & (below | above)).all(0)
        taken = tried[good]
        self.table[:, :, taken] = table[good].transpose(1, 2, 0)
        self.place[:, taken] = place[:, good]
        # What sits at a vertex is read off it exactly.
        self.table[self.place[:, taken], :, taken[None, :]] = np.eye(columns)[:, None, :]

    def _settle(self) -> None:
        """Put what sits at the vertex to the bound its reduced cost favors, and value all else from there."""
        one = np.arange(self.place.shape[1])[None, :]
        low, high = self.lower[self.place, one], self.upper[self.place, one]
        slope = self.table[-1]
        at = np.where(slope >= 0.0, low, high)
        flat = ~np.isfinite(at) & (np.abs(slope) <= _PIVOT)
        at = np.where(flat, np.where(np.isfinite(low), low, high), at)
        unsettled = ~np.isfinite(at).all(axis=0)
        at = np.where(np.isfinite(at), at, 0.0)
        self.value = np.einsum("vkb,kb->vb", self.table[:-1], at)
        self.value[self.place, one] = at
        if unsettled.any():
            self.stalled = self.programs[unsettled]
            self._keep(np.flatnonzero(~unsettled))

    def _keep(self, kept: Index) -> None:
        self.table, self.value = self.table[:, :, kept], self.value[:, kept]
        self.lower, self.upper = self.lower[:, kept], self.upper[:, kept]
        self.place, self.programs = self.place[:, kept], self.programs[kept]

    def run(self, answer: BatchAnswer, most_pivots: int) -> None:
        """Pivot until every program is optimal, infeasible or stalled, and write down what came of it."""
        done = np.zeros(self.programs.size, bool)
        for _ in range(most_pivots):
            one = np.arange(self.programs.size)
            missed = np.maximum(self.lower - self.value, self.value - self.upper)
            leaving = missed.argmax(axis=0)
            optimal = ~done & (missed[leaving, one] <= _FEASIBLE)
            self._write(answer, np.flatnonzero(optimal))
            done |= optimal
            if done.all():
                return
            if np.count_nonzero(done) > (1.0 - _THINNED) * done.size:
                kept = np.flatnonzero(~done)
                self._keep(kept)
                leaving, done = leaving[kept], done[kept]
            done |= self._pivot(leaving, done)
        self.stalled = np.concatenate([self.stalled, self.programs[~done]])

    def _pivot(self, leaving: Index, done: Mask) -> Mask:
        """Exchange each program's most violated variable; return which have nothing to exchange it for."""
        one = np.arange(self.programs.size)
        row = self.table[leaving, :, one].T
        low, high, now = self.lower[leaving, one], self.upper[leaving, one], self.value[leaving, one]
        rising = now < low
        entering, none = self._entering(np.where(rising, row, -row), one)
        # Finished programs exchange a variable for itself, which changes nothing.
        idle = none | done
        leaving = np.where(idle, self.place[0], leaving)
        entering = np.where(idle, 0, entering)
        if idle.any():
            row = self.table[leaving, :, one].T
        target = np.where(idle, self.value[leaving, one], np.where(rising, low, high))
        pivot = row[entering, one]
        column = self.table[:, entering, one]
        self.value += column[:-1] * ((target - self.value[leaving, one]) / pivot)
        self.value[leaving, one] = target
        factor = row / pivot
        factor[entering, one] = 0.0
        self.table -= column[:, None] * factor[None]
        self.table[:, entering, one] = column / pivot
        self.table[leaving, :, one] = 0.0
        self.table[leaving, entering, one] = 1.0
        self.place[entering, one] = leaving
        return none & ~done

    def _entering(self, gain: Array, one: Index) -> tuple[Index, Mask]:
        """Return the place whose reduced cost reaches zero first, the largest pivot among ties."""
        low, high = self.lower[self.place, one], self.upper[self.place, one]
        at_high = self.value[self.place, one] >= high
        gain = np.where(low >= high, 0.0, np.where(at_high, -gain, gain))
        ratio = np.full(gain.shape, np.inf)
        np.divide(np.abs(self.table[-1]), gain, out=ratio, where=gain > _PIVOT)
        least = ratio.min(axis=0)
        entering = np.where(ratio <= least + _TIE, gain, -1.0).argmax(axis=0)
        return entering, ~np.isfinite(least)

    def _write(self, answer: BatchAnswer, which: Index) -> None:
        if which.size == 0:
            return
        program, place = self.programs[which], self.place[:, which]
        answer.x[program] = self.value[: self.columns, which].T
        answer.solved[program] = True
        answer.basis[program] = place.T
        duals = np.zeros((which.size, self.value.shape[0]))
        np.put_along_axis(duals, place.T, self.table[-1][:, which].T, axis=1)
        answer.duals[program] = duals[:, self.columns :]


def _inverses(matrices: Array) -> Array:
    """Return the inverses; not-a-number where a matrix has none."""
    try:
        return np.asarray(np.linalg.inv(matrices), float)
    except np.linalg.LinAlgError:
        out = np.full(matrices.shape, np.inf)
        for k, matrix in enumerate(matrices):
            if np.linalg.matrix_rank(matrix) == len(matrix):
                out[k] = np.linalg.inv(matrix)
        return out


def _by_highs(programs: BatchLP, one: int, answer: BatchAnswer) -> None:
    lp = WarmLP(
        programs.cost[one],
        programs.lower[one],
        programs.upper[one],
        programs.rows[one],
        programs.row_lower[one],
        programs.row_upper[one],
    )
    found = lp.solve(proved=False)
    if found.status.has_answer:
        answer.x[one], answer.duals[one], answer.solved[one] = found.x, found.duals, True
