"""Straight lines and planes that keep to one side of a curve on a whole box, with proof, not by sampling.

Each function answers for one box: the plane returned bounds the curve at every point of the box. Where a
maximum over the box is needed it is bounded cell by cell from convexity, concavity or monotone corners.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.layout import Range

__all__ = [
    "monotone_offset",
    "ratio_line",
    "wetness_lines",
]

Array = NDArray[np.float64]

_KINK = math.sqrt(2.0)
_INITIAL_DECAY = -math.log1p(-0.10)
_LN_DECAY = math.log(_INITIAL_DECAY)
_SPAN = math.log(-math.log1p(-0.65) / _INITIAL_DECAY)
_LEAST_GAP = math.log(1.01)
_NEVER = -27.0
_SURE = 60.0
_DEEP = 80.0
_CELLS = (3, 4, 1)
_WIDE = 3.0
"""Interval of the lead [ln] beyond which no slope is spent on it."""


def wetness(ratio: float) -> float:
    """Return the log of the water over reference water that set times follow a power of [-]."""
    return min(max(math.log(max(ratio, 1e-9)), -math.log(_KINK)), math.log(_KINK))


def wetness_lines(span: Range, at: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return lines (constant, slope) below and above `wetness` on an interval.

    Parameters
    ----------
    span
        Interval of the water over reference water, above 0 [-].
    at
        Where the upper line should be close [-].
    """
    low, high = span.low, span.high
    corners = [r for r in (low, 1.0 / _KINK, _KINK, high) if low <= r <= high]
    chord = 0.0 if high - low < 1e-12 else (wetness(high) - wetness(low)) / (high - low)
    below = min(wetness(r) - chord * r for r in corners)
    slope = 1.0 / min(max(at, low, 1.0 / _KINK), high)
    touching = [1.0 / slope] if low <= 1.0 / slope <= high else []
    above = max(wetness(r) - slope * r for r in (*corners, *touching))
    return (below, chord), (above, slope)


def ratio_line(above: tuple[float, float], below: tuple[float, float], span: Range) -> tuple[float, float]:
    """Return a line (constant, slope) below ``(a0 + a1 h) / (b0 + b1 h)`` on an interval.

    The quotient has a curvature of one sign while the lower sum is positive: a chord or a tangent does.
    """
    a0, a1 = above
    b0, b1 = below

    def value(h: float) -> float:
        return (a0 + a1 * h) / (b0 + b1 * h)

    turn = a1 * b0 - a0 * b1
    low, high = span.low, span.high
    if -2.0 * b1 * turn >= 0.0 or high - low < 1e-12:
        middle = 0.5 * (low + high)
        slope = turn / (b0 + b1 * middle) ** 2
        return value(middle) - slope * middle, slope
    slope = (value(high) - value(low)) / (high - low)
    return value(low) - slope * low, slope


def _edges(span: Range, cells: int) -> list[float]:
    if span.high - span.low < 1e-9:
        return [span.low, span.high]
    step = (span.high - span.low) / cells
    return [*(span.low + k * step for k in range(cells)), span.high]


def monotone_offset(
    function: Callable[..., Array], spans: Sequence[Range], slopes: Sequence[float], cells: Sequence[int]
) -> tuple[float, float]:
    """Return the least and the greatest of ``function - slopes @ x`` over a box, bounded from outside.

    Parameters
    ----------
    function
        Takes one array per axis; monotone in each argument wherever the others stand (the direction may
        change), so that its extremes over a cell sit at corners.
    spans, slopes, cells
        Interval, slope and number of cells by axis.
    """
    axes = [np.array(_edges(span, n)) for span, n in zip(spans, cells, strict=True)]
    grids = np.meshgrid(*axes, indexing="ij", sparse=True)
    values = np.broadcast_to(function(*grids), [len(axis) for axis in axes])
    line = sum((s * g for s, g in zip(slopes, grids, strict=True)), np.zeros(values.shape))
    low_value, high_value = _cell_extremes(values)
    low_line, high_line = _cell_extremes(np.asarray(line))
    return float((low_value - high_line).min()), float((high_value - low_line).max())


def _cell_extremes(values: Array) -> tuple[Array, Array]:
    corners = [
        values[tuple(slice(end, size - 1 + end) for end, size in zip(ends, values.shape, strict=True))]
        for ends in product((0, 1), repeat=values.ndim)
    ]
    stack = np.stack(corners)
    return stack.min(axis=0), stack.max(axis=0)
