"""A coarse grid over all blends, valued at once: where to start, and with which materials."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.candidate import NEVER
from optimizer.engine.row_table import RowTable
from optimizer.formulation import Case
from optimizer.problem import Problem
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.predict import Cast, cast_of

__all__ = ["GridSearch", "blend_grid", "with_doses"]

Array = NDArray[np.float64]

_MOST_BLENDS = 3_000
_MOST_MATRICES, _MOST_LOADS = 240, 60
"""Mixes of binders, and loads of fillers and pigments, that are crossed; more are thinned evenly."""

_MOST_RANKED, _LOOKED_FOR_SETS, _MOST_TOPS = 1_000, 200, 6
"""Blends ranked, those among which the most promising sets are looked for, and how many sets are named."""

_NEARLY = 0.02
"""Shortfall of all rows together that counts as none [-]."""

_TRIOS = ((0.6, 0.2, 0.2), (0.2, 0.6, 0.2), (0.2, 0.2, 0.6))
_LOADS = (0.12, 0.3, 0.6, 0.95)
_FEW_LOADS = (0.3, 0.8)


@dataclass(frozen=True)
class GridSearch:
    """A coarse grid of blends, cast once for each choice of doses and asked again for any limits.

    Attributes
    ----------
    problem : Problem
        Materials, prices and conditions; its limits play no part.
    """

    problem: Problem
    _casts: dict[tuple[tuple[int, float], ...], Cast] = field(default_factory=dict)

    @cached_property
    def grid(self) -> Array:
        """Shares of the dry materials, shape (blends, n)."""
        grid = blend_grid(self.problem)
        return grid[:: max(1, -(-len(grid) // _MOST_RANKED))]

    @cached_property
    def sets(self) -> NDArray[np.bool_]:
        """Which materials each blend holds, shape (blends, n)."""
        return np.asarray(self.grid > 0.0)

    def cast(self, case: Case) -> Cast:
        """Return the grid cast with the case's doses."""
        key = tuple(sorted(case.doses.items()))
        if key not in self._casts:
            mixes = with_doses(self.problem, case, self.grid)
            self._casts[key] = cast_of(self.problem.model, self.problem.conditions, mixes)
        return self._casts[key]

    def ranked(
        self, table: RowTable, task: int, allowed: NDArray[np.bool_], most: int
    ) -> tuple[list[Array], dict[tuple[int, ...], Array]]:
        """Return the best mixes for a task.

        Parameters
        ----------
        table, task
            Rows, and the task whose they are.
        allowed
            Materials that may be used, shape (n,).
        most
            Most solids of a set.

        Returns
        -------
        tuple[list[Array], dict[tuple[int, ...], Array]]
            The best mix of each valley of cost, and of the most promising sets of solids.
        """
        cast = self.cast(table.cases[task])
        with np.errstate(all="ignore"):
            value, rows = table.rows_of_cast(cast, np.full(len(self.grid), task, np.intp))
        short = np.maximum(-np.nan_to_num(rows), 0.0).sum(axis=1)
        short = np.where(value >= NEVER, np.maximum(short, 1.0), short)
        order = np.lexsort((value, np.where(short <= _NEARLY, 0.0, short)))
        order = order[~np.any(self.sets[order] & ~allowed, axis=1)]
        basin = table.basin(cast.mixes)[order]
        starts = [cast.mixes[order[basin == k][0]] for k in range(3) if np.any(basin == k)]
        tops: dict[tuple[int, ...], Array] = {}
        for i in order[:_LOOKED_FOR_SETS]:
            support = tuple(int(k) for k in table.solids if self.sets[i, k])
            if len(tops) < _MOST_TOPS and len(support) <= most:
                tops.setdefault(support, cast.mixes[i])
        return starts, tops


def blend_grid(problem: Problem) -> Array:
    """Return a coarse grid of blends of few materials, shape (blends, n): shares summing to 1, no doses.

    One to three binders in steps, carrying none, one or two fillers or pigments at several loads of their
    most allowed share. The same problem always gives the same grid.
    """
    cap = problem.job.at_most_materials or len(problem.names)
    binders = [k for k in problem.solids if problem.materials[k].role == "binder"]
    others = [k for k in problem.solids if problem.materials[k].role != "binder"]
    fine = len(problem.solids) <= 9
    matrices = _thinned(_binder_mixes(binders, len(problem.names), cap, fine), _MOST_MATRICES)
    loads = _thinned(np.array(_loads(problem, others, fine)), _MOST_LOADS)
    blends = [matrices[np.newaxis, 0] * 0.0]
    for load in loads:
        used = np.count_nonzero(load) + np.count_nonzero(matrices, axis=1)
        carried = matrices[used <= cap] * (1.0 - load.sum())
        blends.append(carried + load)
    grid = np.concatenate(blends[1:]) if len(blends) > 1 else matrices
    grid = _within_bounds(problem, grid)
    return _thinned(grid, _MOST_BLENDS)


def _thinned(rows: Array, most: int) -> Array:
    """Return every second, third or further row, from the first on, so that no more than `most` are left."""
    return rows[:: -(-len(rows) // most)] if len(rows) > most else rows


def _binder_mixes(binders: list[int], count: int, cap: int, fine: bool) -> Array:
    steps = np.linspace(0.1, 0.9, 9) if fine else np.array([0.05, 0.2, 0.5, 0.8, 0.95])
    rows = [_row(count, {k: 1.0}) for k in binders]
    if cap >= 2:
        for first, second in combinations(binders, 2):
            rows.extend(_row(count, {first: t, second: 1.0 - t}) for t in steps)
    if cap >= 3 and fine:
        for trio in combinations(binders, 3):
            rows.extend(_row(count, dict(zip(trio, shares, strict=True))) for shares in _TRIOS)
    return np.array(rows)


def _loads(problem: Problem, others: list[int], fine: bool) -> list[Array]:
    count = len(problem.names)
    out = [np.zeros(count)]
    for k in others:
        most = problem.bounds[k].most
        out.extend(_row(count, {k: share * most}) for share in _LOADS)
    if fine:
        for first, second in combinations(others, 2):
            pair = (problem.bounds[first].most, problem.bounds[second].most)
            for a, b in product(_FEW_LOADS, repeat=2):
                if a * pair[0] + b * pair[1] <= 0.7:
                    out.append(_row(count, {first: a * pair[0], second: b * pair[1]}))
    return out


def _row(count: int, shares: dict[int, float]) -> Array:
    row = np.zeros(count)
    for k, share in shares.items():
        row[k] = share
    return row


def _within_bounds(problem: Problem, grid: Array) -> Array:
    most = np.array([b.most for b in problem.bounds]) + 1e-9
    least = np.array([b.least for b in problem.bounds]) - 1e-9
    inside = np.all((grid <= most) & ((grid >= least) | (grid == 0.0)), axis=1)
    # A grid too coarse for tight bounds still has to start somewhere.
    return (
        grid[inside] if inside.any() else np.clip(grid, 0.0, most) / np.clip(grid, 0.0, most).sum(1)[:, None]
    )


def with_doses(problem: Problem, case: Case, shares: Array) -> Array:
    """Return the mixes per liter of blends with the case's admixtures, at their own water demand [kg/L]."""
    dosed = shares.copy()
    binder = shares @ problem.model.column("binder")[:-1]
    for k, dose in case.doses.items():
        base = 1.0 if problem.materials[k].kind == "plasticizer" else binder
        dosed[:, k] = dose * base
    dosed /= dosed.sum(axis=1, keepdims=True)
    return per_liter(problem.model, dosed)
