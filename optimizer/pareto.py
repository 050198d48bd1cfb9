"""Frontiers of two or three objectives: walk one, filter it, measure it, find its knee. Knows no blend.

A frontier is walked by the epsilon-constraint method: one objective is minimized while the others are held
to a series of levels, each solve starting from the answer of the nearest level solved before.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, Literal, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

Sense = Literal["min", "max"]
Level = tuple[float, ...]
Vector = NDArray[np.float64]
S = TypeVar("S")

_SAME = 1e-6  # of an objective's span: closer points are one point


@dataclass(frozen=True)
class FrontierPoint(Generic[S]):
    """One point of a frontier.

    Attributes
    ----------
    level : tuple of float
        The level it was solved at.
    objectives : tuple of float
        Its objectives.
    solution : object
        What the solver returned for it.
    """

    level: Level
    objectives: tuple[float, ...]
    solution: S


def walk(
    solve: Callable[[Level, S | None], tuple[Sequence[float], S] | None],
    levels: Sequence[Level],
    senses: Sequence[Sense] | None = None,
) -> tuple[FrontierPoint[S], ...]:
    """Solve at every level and keep what is neither dominated nor a repeat.

    Parameters
    ----------
    solve : callable
        Takes a level and the solution of the nearest level solved before (None for the first); returns the
        objectives and the solution, or None when there is no answer at that level.
    levels : sequence of tuple of float
        Levels in walking order, neighbors next to each other; one number per objective held.
    senses : sequence of {"min", "max"}, optional
        Direction of each objective; all "min" when left out.

    Returns
    -------
    tuple of FrontierPoint
        In walking order. Points closer than a millionth of each objective's span are one, the first.

    Examples
    --------
    One objective is the level itself, the other what it leaves of one:

    >>> levels = [(0.0,), (0.5,), (0.5,), (1.0,)]
    >>> front = walk(lambda level, start: ((1.0 - level[0], level[0]), None), levels)
    >>> [point.objectives for point in front]
    [(1.0, 0.0), (0.5, 0.5), (0.0, 1.0)]
    """
    found: list[FrontierPoint[S]] = []
    span = np.ptp(np.array(levels, dtype=float), axis=0) if levels else np.zeros(0)
    scale = np.where(span > 0.0, span, 1.0)
    for level in levels:
        answer = solve(level, _nearest(found, level, scale))
        if answer is not None:
            objectives, solution = answer
            found.append(FrontierPoint(level, tuple(float(value) for value in objectives), solution))
    if not found:
        return ()
    points = np.array([point.objectives for point in found])
    return tuple(found[row] for row in nondominated(points, senses, same=_SAME))


def nondominated(
    points: ArrayLike, senses: Sequence[Sense] | None = None, *, same: float = 0.0
) -> tuple[int, ...]:
    """Return the rows no other row is at least as good as in everything; the first of equal rows stands.

    Parameters
    ----------
    points : array_like
        One row per point, one column per objective.
    senses : sequence of {"min", "max"}, optional
        Direction of each objective; all "min" when left out.
    same : float
        Share of an objective's span below which two values count as equal.

    Returns
    -------
    tuple of int
        Numbers of the rows kept, in their order.

    Examples
    --------
    >>> nondominated([[1.0, 4.0], [2.0, 2.0], [2.0, 3.0], [4.0, 1.0], [2.0, 2.0]])
    (0, 1, 3)
    >>> nondominated([[1.0, 4.0], [2.0, 2.0], [2.0, 5.0]], ["min", "max"])
    (0, 2)
    """
    costs = _costs(points, senses)
    if same > 0.0 and costs.size:
        span = np.ptp(costs, axis=0)
        costs = np.round(costs / (same * np.where(span > 0.0, span, 1.0)))
    # A row can be dominated only by one before it in this order; ties keep their own order, so the first
    # stands.
    order = np.lexsort((np.arange(len(costs)), *costs.T[::-1]))
    kept: list[int] = []
    for row in order:
        if not np.any(np.all(costs[kept] <= costs[row], axis=1)):
            kept.append(int(row))
    return tuple(sorted(kept))


def knee(points: ArrayLike, senses: Sequence[Sense] | None = None) -> int | None:
    """Return the row where giving up a little of one objective stops buying much of the others.

    Parameters
    ----------
    points : array_like
        A frontier, one row per point.
    senses : sequence of {"min", "max"}, optional
        Direction of each objective; all "min" when left out.

    Returns
    -------
    int or None
        Row farthest below the straight line (or plane) joining the ends, each objective scaled to its span;
        None when the frontier has no such bulge.

    Notes
    -----
    With two objectives this is the bend of the normal-boundary intersection method (Das 1999, from memory).
    With three, the plane is the one where the scaled objectives sum to one.

    Examples
    --------
    >>> knee([[0.0, 10.0], [1.0, 2.0], [5.0, 1.0], [10.0, 0.0]])
    1
    >>> knee([[0.0, 1.0], [0.5, 0.5], [1.0, 0.0]]) is None
    True
    """
    costs = _costs(points, senses)
    if len(costs) < 3:
        return None
    span = np.ptp(costs, axis=0)
    scaled = (costs - costs.min(axis=0)) / np.where(span > 0.0, span, 1.0)
    total = scaled.sum(axis=1)
    lowest = int(np.argmin(total))
    return lowest if total[lowest] < 1.0 - _SAME else None


def _costs(points: ArrayLike, senses: Sequence[Sense] | None) -> Vector:
    """Return the points as a matrix to be minimized."""
    matrix: Vector = np.atleast_2d(np.asarray(points, dtype=float))
    if senses is None:
        return matrix
    signs: Vector = np.array([-1.0 if sense == "max" else 1.0 for sense in senses])
    return matrix * signs


def _nearest(found: Sequence[FrontierPoint[S]], level: Level, scale: Vector) -> S | None:
    """Return the solution solved at the level nearest to this one, the latest of equals."""
    if not found:
        return None
    away = np.abs((np.array([point.level for point in found]) - np.array(level)) / scale).sum(axis=1)
    return found[len(found) - 1 - int(np.argmin(away[::-1]))].solution
