"""The area or volume that a frontier dominates: how two frontiers of one problem are compared."""

from __future__ import annotations

from bisect import bisect_left

import numpy as np
from numpy.typing import ArrayLike, NDArray

Vector = NDArray[np.float64]


def hypervolume(points: ArrayLike, reference: ArrayLike) -> float:
    """Return the area or volume that points dominate up to a reference; exact, all columns minimized.

    Parameters
    ----------
    points
        One row per point, two or three columns. Rows beyond the reference and dominated rows add nothing.
    reference
        The corner measured to, worse than every point that should count.

    Raises
    ------
    ValueError
        For other than two or three objectives.

    Examples
    --------
    >>> hypervolume([[1.0, 2.0], [2.0, 1.0]], [3.0, 3.0])
    3.0
    >>> hypervolume([[1.0, 1.0, 1.0]], [2.0, 2.0, 2.0])
    1.0
    """
    corner: Vector = np.asarray(reference, dtype=float)
    costs: Vector = np.asarray(points, dtype=float).reshape(-1, corner.size)
    if corner.size not in (2, 3):
        raise ValueError(f"the volume is for two or three objectives, not {corner.size}")
    costs = costs[np.all(costs < corner, axis=1)]
    if corner.size == 2:
        return _area(costs, corner)
    return _volume(costs, corner)


def _area(costs: Vector, corner: Vector) -> float:
    """Sum the steps of the staircase from left to right."""
    ordered = costs[np.lexsort((costs[:, 1], costs[:, 0]))]
    lowest = np.minimum.accumulate(np.concatenate([corner[1:], ordered[:, 1]]))
    drop = lowest[:-1] - lowest[1:]
    return float(np.sum(drop * (corner[0] - ordered[:, 0])))


def _volume(costs: Vector, corner: Vector) -> float:
    """Sum slices along the third objective, the staircase of each slice holding all points below it."""
    ordered = costs[np.argsort(costs[:, 2], kind="stable")]
    heights = np.append(ordered[:, 2], corner[2])
    stairs: list[tuple[float, float]] = []
    area = total = 0.0
    for point, height, following in zip(ordered, heights[:-1], heights[1:], strict=True):
        area += _add_step(stairs, (float(point[0]), float(point[1])), corner)
        total += area * float(following - height)
    return total


def _add_step(stairs: list[tuple[float, float]], step: tuple[float, float], corner: Vector) -> float:
    """Put a step into a staircase ordered left to right, falling; return the area it adds."""
    start = bisect_left(stairs, step)
    roof = stairs[start - 1][1] if start else float(corner[1])
    if roof <= step[1]:
        return 0.0
    end, added, left = start, 0.0, step[0]
    while end < len(stairs) and stairs[end][1] >= step[1]:
        added += (stairs[end][0] - left) * (roof - step[1])
        left, roof = stairs[end]
        end += 1
    right = stairs[end][0] if end < len(stairs) else float(corner[0])
    added += (right - left) * (roof - step[1])
    stairs[start:end] = [step]
    return added
