"""Scan the whole room of blends coarsely and at once: where to start, and with which materials."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from optimizer.chain.body import per_liter
from optimizer.chain.predict import Cast, cast_of
from optimizer.formulation import Case
from optimizer.problem import Problem

__all__ = ["Scan", "blend_grid", "with_doses"]

Array = NDArray[np.float64]

_MOST_BLENDS = 3_000
_MOST_MATRICES, _MOST_LOADS = 240, 60
"""Mixes of binders, and loads of fillers and pigments, that are crossed; more are thinned evenly."""

_TRIOS = ((0.6, 0.2, 0.2), (0.2, 0.6, 0.2), (0.2, 0.2, 0.6))
_LOADS = (0.12, 0.3, 0.6, 0.95)
_FEW_LOADS = (0.3, 0.8)


@dataclass(frozen=True)
class Scan:
    """A coarse grid of blends, cast once for each choice of doses and asked again for any limits.

    Attributes
    ----------
    problem : Problem
        Materials, prices and bench; its limits play no part.
    """

    problem: Problem
    _casts: dict[tuple[tuple[int, float], ...], Cast] = field(default_factory=dict)

    @cached_property
    def grid(self) -> Array:
        """Shares of the dry materials, shape (blends, n)."""
        return blend_grid(self.problem)

    @cached_property
    def supports(self) -> tuple[tuple[int, ...], ...]:
        """Sets of materials that occur in the grid."""
        return tuple(tuple(int(k) for k in np.flatnonzero(used)) for used in self._sets[0])

    @property
    def support_of(self) -> NDArray[np.intp]:
        """Place in `supports` of each blend, shape (blends,)."""
        return self._sets[1]

    @cached_property
    def _sets(self) -> tuple[NDArray[np.bool_], NDArray[np.intp]]:
        used, places = np.unique(self.grid > 0.0, axis=0, return_inverse=True)
        return used, places.ravel().astype(np.intp)

    def cast(self, case: Case) -> Cast:
        """Return the grid cast with the case's doses."""
        key = tuple(sorted(case.doses.items()))
        if key not in self._casts:
            mixes = with_doses(self.problem, case, self.grid)
            self._casts[key] = cast_of(self.problem.model, self.problem.bench, mixes)
        return self._casts[key]


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
