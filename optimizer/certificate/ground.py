"""What the linear rows alone say of a case: ranges of sums and ratios, and the least a sum can be."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.layout import Range, form_range, ratio_range
from optimizer.certificate.ranges import least_ratio
from optimizer.solvers.relaxation import WarmLP
from optimizer.solvers.status import Status

__all__ = ["Ground", "ImpossibleError"]

Array = NDArray[np.float64]

_POSITIVE = 1e-7


class ImpossibleError(Exception):
    """The linear rows leave no mix at all."""


@dataclass
class Ground:
    """Linear rows over the masses, asked for ranges.

    Attributes
    ----------
    volumes : Array
        Liters by kilogram, air included, shape (n + 1,).
    matrix, lower, upper : Array
        Rows over the masses.
    """

    volumes: Array
    matrix: Array
    lower: Array
    upper: Array
    program: WarmLP = field(init=False)
    points: list[Array] = field(default_factory=list)
    known: dict[bytes, Range] = field(default_factory=dict)

    def __post_init__(self) -> None:
        nothing = np.zeros(self.volumes.size)
        self.program = WarmLP(nothing, nothing, 1.0 / self.volumes, self.matrix, self.lower, self.upper)
        answer = self.program.solve()
        if answer.status is Status.INFEASIBLE:
            raise ImpossibleError
        if answer.status is Status.OPTIMAL:
            self.points.append(answer.x)

    def least(self, weights: Array) -> float:
        """Return a lower bound on a sum of masses."""
        self.program.set_cost(weights)
        return max(self.program.solve().bound, form_range(weights, self.volumes).low)

    def sum_range(self, weights: Array) -> Range:
        """Return between which values a sum lies."""
        return self.ratio_range(weights, self.volumes)

    def ratio_range(self, above: Array, below: Array) -> Range:
        """Return between which values a ratio of sums lies; infinite where nothing is known."""
        key = above.tobytes() + below.tobytes()
        if key not in self.known:
            self.known[key] = self._ratio_range(above, below)
        return self.known[key]

    def _ratio_range(self, above: Array, below: Array) -> Range:
        plain = ratio_range(above, below)
        if plain.high - plain.low < 1e-12 or not self.points:
            return plain
        if below is self.volumes or np.array_equal(below, self.volumes):
            span = Range(1.0, 1.0)
        else:
            span = self.sum_range(below)
        if span.low <= _POSITIVE:
            return plain
        low = max(plain.low, self._least(above, below, span))
        high = min(plain.high, -self._least(-above, below, span))
        return Range(low, high)

    def _least(self, above: Array, below: Array, span: Range) -> float:
        ratios = [float(above @ x) / float(below @ x) for x in self.points]
        start, width = min(ratios), max(ratios) - min(ratios)
        bound, point = least_ratio(self.program, above, below, span, start, max(width, 1e-3 * abs(start)))
        if point.size:
            self.points.append(point)
        return bound
