"""Narrow the ranges of ratios to what a program's rows allow, with as few solves as will do."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.layout import Range
from optimizer.solvers.relaxation import WarmLP
from optimizer.solvers.status import Status

__all__ = ["Narrower", "least_ratio"]

Array = NDArray[np.float64]

_NOTHING = 1e-7
_ROUNDING = 1e-10
_NEAR = 0.2
"""Share of an interval's width: where a known point comes this near to an end, the end stays."""
_SECOND = 0.15
"""Share of the width left unproved by the first solve from which a second one is made."""


def least_ratio(
    program: WarmLP, above: Array, below: Array, span: Range, start: float, width: float
) -> tuple[float, Array]:
    """Return a proved lower bound on ``above @ x / below @ x`` over a program, and the last point met.

    Parameters
    ----------
    program
        Linear rows; its cost is changed.
    above, below
        Coefficients of the sums, one per column; the lower one positive on the program.
    span
        Between which positive values the lower sum lies.
    start
        A ratio that some point nearly has.
    width
        Width of the interval to narrow: how exact the bound is worth to be.

    Notes
    -----
    Dinkelbach's iteration: with v the least of ``above - r below``, the ratio is at least ``r + v / below``.
    """
    best, ratio, x = -math.inf, start, np.zeros(0)
    for _ in range(3):
        program.set_cost(above - ratio * below)
        answer = program.solve()
        if answer.status is Status.INFEASIBLE:
            return math.inf, x
        if answer.status is not Status.OPTIMAL:
            return best, x
        x = answer.x
        proved = ratio + answer.bound / (span.low if answer.bound < 0.0 else span.high)
        best = max(best, proved - _ROUNDING * (1.0 + abs(proved)))
        met = float(above @ x) / max(float(below @ x), span.low)
        if met - best <= _SECOND * width or met >= ratio - 1e-12:
            return best, x
        ratio = met
    return best, x


@dataclass
class Narrower:
    """Ratios over the columns of a program.

    Attributes
    ----------
    program : WarmLP
        Linear rows; its cost is changed.
    above, below : Array
        Coefficients of the two sums of each ratio, shape (ratios, columns).
    spans : list[Range]
        Range of each lower sum.
    """

    program: WarmLP
    above: Array
    below: Array
    spans: list[Range]
    low: Array = field(init=False)
    high: Array = field(init=False)

    def __post_init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """Drop the points met so far."""
        self.low = np.full(len(self.above), math.inf)
        self.high = np.full(len(self.above), -math.inf)

    def meet(self, point: Array) -> None:
        """Take note of the ratios of a point of the program."""
        below = self.below @ point
        values = np.divide(
            self.above @ point, below, out=np.full(below.shape, math.nan), where=below > _NOTHING
        )
        self.low, self.high = np.fmin(self.low, values), np.fmax(self.high, values)

    def narrow(self, ratio: int, span: Range) -> Range:
        """Return the range of one ratio, narrowed where it pays; low is infinite where there is no point."""
        if self.spans[ratio].low <= _NOTHING or not math.isfinite(self.low[ratio]):
            return span
        low = self._end(ratio, 1.0, span.low, float(self.low[ratio]), span)
        if low == math.inf:
            return Range(math.inf, -math.inf)
        high = -self._end(ratio, -1.0, -span.high, -float(self.high[ratio]), span)
        return Range(low, high)

    def _end(self, ratio: int, sign: float, end: float, met: float, span: Range) -> float:
        width = span.high - span.low
        if width < 1e-7 or (math.isfinite(width) and met - end < _NEAR * width):
            return end
        seen = max(float(self.high[ratio] - self.low[ratio]), 1e-6)
        bound, point = least_ratio(
            self.program,
            sign * self.above[ratio],
            self.below[ratio],
            self.spans[ratio],
            met,
            width if math.isfinite(width) else seen,
        )
        if point.size:
            self.meet(point)
        return max(end, bound)
