"""The smooth problem as a record, and our own judgment of a point of it, independent of any solver.

A point is judged by distances: how far a row is broken divided by the row's steepest slope is, to first
order, how far the nearest column would have to move to hold it. That makes one tolerance mean the same for
every row.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]
Valued = tuple[float, Vector]
Rows = tuple[Vector, Vector]

_ACTIVE = 1e-6
_TINY = 1e-30


@dataclass(frozen=True, eq=False)
class SmoothProblem:
    """Minimize a smooth cost over bounds, linear rows and curved rows.

    Attributes
    ----------
    cost : numpy.ndarray or callable
        Cost per unit of each column, or a function of the point returning (value, gradient).
    lower, upper : numpy.ndarray
        Bounds of the columns; equal bounds take a column out of the solve.
    matrix : numpy.ndarray
        Linear rows, one per line (may have no line).
    row_lower, row_upper : numpy.ndarray
        Limits of the linear rows; equal limits make an equality, infinite ones are absent.
    curved : callable, optional
        Function of the point returning (values, Jacobian) of all curved rows at once; a row holds when its
        value is >= 0. Must give finite numbers for every point within the bounds.
    curved_equalities : int
        How many of the first curved rows must be 0 instead.
    """

    cost: Vector | Callable[[Vector], Valued]
    lower: Vector
    upper: Vector
    matrix: Vector
    row_lower: Vector
    row_upper: Vector
    curved: Callable[[Vector], Rows] | None = None
    curved_equalities: int = 0

    def priced(self, x: Vector) -> Valued:
        """Return the cost at `x` and its gradient."""
        if callable(self.cost):
            return self.cost(x)
        return float(self.cost @ x), self.cost

    def rows(self, x: Vector) -> Rows:
        """Return values and Jacobian of the curved rows at `x`."""
        if self.curved is None:
            return np.zeros(0), np.zeros((0, x.size))
        return self.curved(x)


@dataclass(frozen=True, eq=False)
class View:
    """Everything known at one point: cost, rows and their slopes.

    Attributes
    ----------
    problem : SmoothProblem
        The problem looked at.
    x : numpy.ndarray
        The point.
    value : float
        Cost at the point.
    gradient : numpy.ndarray
        Slope of the cost.
    values : numpy.ndarray
        Values of the curved rows.
    jacobian : numpy.ndarray
        Slopes of the curved rows.
    """

    problem: SmoothProblem
    x: Vector
    value: float
    gradient: Vector
    values: Vector
    jacobian: Vector

    def distances(self) -> tuple[Vector, Vector, Vector]:
        """Return how far each row is from its lower limit, its upper limit, and each curved row from 0.

        To first order [units of the columns]; negative where broken.
        """
        problem, scale = self.problem, row_sizes(self.problem.matrix)
        level = problem.matrix @ self.x
        above, below = (level - problem.row_lower) / scale, (problem.row_upper - level) / scale
        return above, below, self.values / row_sizes(self.jacobian)

    def violation(self) -> float:
        """Return the distance to the row or bound broken most; 0 when all hold, infinite without numbers."""
        split = self.problem.curved_equalities
        above, below, curved = self.distances()
        at_low, at_high = self.x - self.problem.lower, self.problem.upper - self.x
        slack = np.concatenate([at_low, at_high, above, below, curved[split:], -np.abs(curved[:split])])
        worst = max(0.0, -float(slack.min()))
        return worst if np.isfinite(worst) and np.isfinite(self.value) else np.inf

    def unexplained(self) -> float:
        """Return the largest part of the cost's slope that no active row or bound pushes back against.

        For points that hold: a broken row counts as active, an equality left on its upper side would not.

        Notes
        -----
        First-order (Karush-Kuhn-Tucker) conditions: at an optimum the gradient is a nonnegative combination
        of the inward normals of the active rows. The combination is found by nonnegative least squares.
        """
        from scipy.optimize import nnls

        free = self.problem.lower < self.problem.upper
        target = self.gradient[free]
        steepest = float(np.abs(target).max(initial=0.0))
        normals = self._active_normals(free)
        if steepest <= _TINY or normals.shape[0] == 0:
            return steepest
        normals = normals / row_sizes(normals)[:, None]
        multipliers, _ = nnls(normals.T, target / steepest)
        return steepest * float(np.abs(target / steepest - multipliers @ normals).max())

    def _active_normals(self, free: NDArray[np.bool_]) -> Vector:
        """Return the inward normals of all active rows and bounds; an equality pushes both ways."""
        split, matrix = self.problem.curved_equalities, self.problem.matrix
        above, below, curved = self.distances()
        at_low = free & (self.x - self.problem.lower <= _ACTIVE)
        at_high = free & (self.problem.upper - self.x <= _ACTIVE)
        unit = np.eye(self.x.size)
        normals = (
            matrix[above <= _ACTIVE],
            -matrix[below <= _ACTIVE],
            self.jacobian[curved <= _ACTIVE],
            -self.jacobian[:split],
            unit[at_low],
            -unit[at_high],
        )
        return np.concatenate(normals)[:, free]


def look(problem: SmoothProblem, x: Vector) -> View:
    """Work out all there is to know about a point."""
    value, gradient = problem.priced(x)
    values, jacobian = problem.rows(x)
    return View(problem, x, float(value), gradient, values, jacobian)


def size(vector: Vector) -> float:
    """Return the largest magnitude in a vector, 1 for an all-zero one.

    The scale that brings the vector to size one.

    Parameters
    ----------
    vector : numpy.ndarray
        Any vector, may be empty.

    Examples
    --------
    >>> size(np.array([0.5, -4.0])), size(np.zeros(2))
    (4.0, 1.0)
    """
    largest = float(np.abs(vector).max(initial=0.0))
    return largest if largest > _TINY else 1.0


def row_sizes(matrix: Vector) -> Vector:
    """Return the largest magnitude in each row, 1 for an all-zero row.

    Parameters
    ----------
    matrix : numpy.ndarray
        Any matrix, may have no rows.

    Examples
    --------
    >>> row_sizes(np.array([[0.5, -4.0], [0.0, 0.0]])).tolist()
    [4.0, 1.0]
    """
    largest = np.abs(matrix).max(axis=1, initial=0.0)
    return np.where(largest > _TINY, largest, 1.0)
