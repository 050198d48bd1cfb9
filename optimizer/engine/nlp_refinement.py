"""Polish one mix: the smooth problem of a case on a chosen set of materials, solved from a start."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.candidate import Candidate, objective_of
from optimizer.formulation import Case, curved_rows, linear_rows
from optimizer.problem import Problem
from optimizer.solvers.nonlinear import minimize_smooth
from optimizer.solvers.smooth import SmoothProblem

__all__ = [
    "Evaluator",
    "Look",
    "polish",
    "rows_of_support",
    "violation",
]

Array = NDArray[np.float64]

_STEP = 1e-6
_MOST_ITERATIONS = 60
_MOST_EVALUATIONS = 60
_MOST_MASS = 4.0
_LEAST_WATER = 0.02
_MOST_RELIEF = 60.0
_RELIEF_PRICE = 20.0
"""Price of breaking all rows by one unit, over the objective at the start: above any limit's worth."""


Look: TypeAlias = tuple[float, Array, Array, Array]
"""Objective, its gradient, rows held, and their Jacobian at one mix."""


class _EnoughError(Exception):
    """Ends a smooth solve that keeps searching along a line; the best point seen is the answer."""


class Evaluator:
    """Values and slopes of objective and curved rows at a point, both from one vectorized call.

    The last column of a point is the relief: it is added to every curved row and priced far above any
    row's worth, so that a case without a blend ends at its least violation and not in a wild search.
    """

    def __init__(self, problem: Problem, case: Case, free: NDArray[np.intp], backoff: Array | None) -> None:
        self.problem, self.case, self.free, self.backoff = problem, case, free, backoff
        self.relief_price = 1.0
        self.evaluations = 0
        self.best: tuple[float, Array] = (np.inf, np.zeros(0))
        self._key = b""
        self._last: Look | None = None

    def at(self, point: Array) -> Look:
        """Return objective, its gradient, rows and their Jacobian over the mix (relief left out)."""
        z = point[:-1]
        key = z.tobytes()
        if self._last is None or key != self._key:
            if self.evaluations >= _MOST_EVALUATIONS:
                raise _EnoughError
            self._last, self._key = self.evaluate(z), key
            self.evaluations += 1
            self._remember(z)
        return self._last

    def _remember(self, z: Array) -> None:
        """Keep the mix of least cost and priced relief."""
        if self._last is None:
            return
        value, _, rows, _ = self._last
        merit = value + self.relief_price * max(0.0, -float(rows.min()))
        if merit < self.best[0]:
            self.best = (merit, z.copy())

    def evaluate(self, z: Array) -> Look:
        """Return objective, its gradient, rows and their Jacobian at a mix of shape (n + 1,)."""
        count = len(self.free)
        steps = _STEP * np.maximum(np.abs(z[self.free]), 0.05)
        mixes = np.repeat(z[None, :], 2 * count + 1, axis=0)
        mixes[np.arange(count), self.free] += steps
        mixes[np.arange(count, 2 * count), self.free] -= steps
        # A line search may try mixes that cannot be; their rows come out far below zero, not as warnings.
        with np.errstate(all="ignore"):
            rows, cast = curved_rows(self.problem, self.case, mixes)
            values = objective_of(self.problem, self.case, cast)
        gradient, jacobian = np.zeros(len(z)), np.zeros((rows.shape[1], len(z)))
        gradient[self.free] = (values[:count] - values[count:-1]) / (2.0 * steps)
        jacobian[:, self.free] = ((rows[:count] - rows[count:-1]) / (2.0 * steps)[:, None]).T
        held = rows[-1] if self.backoff is None else rows[-1] - self.backoff
        return float(values[-1]), gradient, held, jacobian

    def price(self, value: float) -> None:
        """Price the relief far above what any row is worth, given the objective somewhere."""
        self.relief_price = _RELIEF_PRICE * max(abs(value), 1e-3)

    def box(self) -> tuple[Array, Array]:
        """Return least and most of each column, relief last, shape (n + 2,) [kg/L]."""
        ceiling = np.zeros(len(self.problem.names) + 2)
        ceiling[self.free], ceiling[-1] = _MOST_MASS, _MOST_RELIEF
        floor = np.zeros_like(ceiling)
        floor[-2] = _LEAST_WATER
        return floor, ceiling

    def cost(self, point: Array) -> tuple[float, Array]:
        """Return objective plus priced relief, and the gradient."""
        value, gradient, _, _ = self.at(point)
        return value + self.relief_price * float(point[-1]), np.append(gradient, self.relief_price)

    def rows(self, point: Array) -> tuple[Array, Array]:
        """Return the relieved rows and their Jacobian."""
        _, _, rows, jacobian = self.at(point)
        return rows + point[-1], np.column_stack([jacobian, np.ones(len(rows))])


def polish(
    problem: Problem,
    case: Case,
    support: Iterable[int],
    start: Array,
    backoff: Array | None = None,
    *,
    at_least: Iterable[int] | None = None,
) -> Candidate:
    """Return the best mix of the materials `support` that a smooth solve from `start` finds.

    Parameters
    ----------
    problem, case
        What is asked.
    support
        Positions of the materials that may be used.
    start
        Starting mix, shape (n + 1,) [kg/L].
    backoff
        Amount by which each curved row must be held beyond zero, shape (rows,).
    at_least
        Positions of those held at their least share or more; default: all of `support`.
    """
    chosen = sorted(set(support))
    free = np.unique([*chosen, *problem.doses, len(problem.names)]).astype(np.intp)
    evaluator = Evaluator(problem, case, free, backoff)
    matrix, lower, upper = rows_of_support(problem, case, chosen if at_least is None else at_least)
    floor, ceiling = evaluator.box()
    point = np.append(start, 0.0)
    value, _, rows, _ = evaluator.at(point)
    evaluator.price(value)
    point[-1] = min(max(0.0, -float(rows.min())), _MOST_RELIEF)
    smooth = SmoothProblem(
        cost=evaluator.cost,
        lower=floor,
        upper=ceiling,
        matrix=np.column_stack([matrix, np.zeros(len(matrix))]),
        row_lower=lower,
        row_upper=upper,
        curved=evaluator.rows,
    )
    mix = _solve(smooth, point, evaluator)
    rows_now, cast = curved_rows(problem, case, mix[None, :])
    value = float(objective_of(problem, case, cast)[0])
    rows = rows_now[0] if backoff is None else rows_now[0] - backoff
    return Candidate(case, mix, value, violation(mix, rows, matrix, lower, upper))


def _solve(smooth: SmoothProblem, point: Array, evaluator: Evaluator) -> Array:
    try:
        return minimize_smooth(smooth, point, max_iterations=_MOST_ITERATIONS).x[:-1]
    except _EnoughError:
        return evaluator.best[1]


def rows_of_support(problem: Problem, case: Case, chosen: Iterable[int]) -> tuple[Array, Array, Array]:
    """Return matrix, lower and upper of the linear rows, with those of the least shares of `chosen`."""
    base = linear_rows(problem, case)
    extra = []
    for k in chosen:
        if problem.bounds[k].least > 0.0:
            row = -problem.bounds[k].least * problem.model.column("powder")
            row[k] += 1.0
            extra.append(row)
    if not extra:
        return base.matrix, base.lower, base.upper
    matrix = np.vstack([base.matrix, np.array(extra)])
    more = np.zeros(len(extra))
    return matrix, np.concatenate([base.lower, more]), np.concatenate([base.upper, more + np.inf])


def violation(z: Array, rows: Array, matrix: Array, lower: Array, upper: Array) -> float:
    """Return the largest violation of curved rows (held at 0 or more) and linear rows at a mix [-]."""
    level = matrix @ z
    broken = np.concatenate([lower - level, level - upper, -rows])
    return float(max(0.0, broken.max()))
