"""What the linear rows alone say of a case: ranges of sums and ratios, and the least a sum can be."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.layout import Range, form_range, ratio_range
from optimizer.certificate.ranges import least_ratio
from optimizer.solvers.relaxation import WarmLP
from optimizer.solvers.status import Status

__all__ = ["Ground", "ImpossibleError", "water_rays"]

Array = NDArray[np.float64]

_POSITIVE = 1e-7
_NEAR = 0.15
"""Share of an interval's width: where a known mix comes this near to an end, the end stays."""


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
    rays : Array
        Mixes of which every mix is a sum with nonnegative weights, shape (n + 1, rays); see `water_rays`.
    """

    volumes: Array
    matrix: Array
    lower: Array
    upper: Array
    rays: Array
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
        plain = form_range(weights @ self.rays, self.volumes @ self.rays)
        return max(self.program.solve().bound, plain.low)

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
        plain = ratio_range(above @ self.rays, below @ self.rays)
        if plain.high - plain.low < 1e-12 or not self.points:
            return plain
        liter = np.array_equal(below, self.volumes)
        span = Range(1.0, 1.0) if liter else self.sum_range(below)
        if span.low <= _POSITIVE:
            return plain
        ratios = [float(above @ x) / float(below @ x) for x in self.points]
        width = plain.high - plain.low
        near = _NEAR * (width if math.isfinite(width) else max(ratios) - min(ratios))
        low, high = plain.low, plain.high
        # A sum that only seems to reach 0 would leave every ratio over it open.
        open_ended = liter and low <= _POSITIVE
        if min(ratios) - low > near or open_ended:
            low = max(low, self._least(above, below, span, min(ratios), near))
        if high - max(ratios) > near:
            high = min(high, -self._least(-above, below, span, -max(ratios), near))
        return Range(low, high)

    def _least(self, above: Array, below: Array, span: Range, start: float, near: float) -> float:
        width = max(near / _NEAR, 1e-3 * abs(start))
        bound, point = least_ratio(self.program, above, below, span, start, width)
        if point.size:
            self.points.append(point)
        return bound


def water_rays(least: Array, most: Array) -> Array:
    """Return the pure materials, each with the least and the most water it may carry, shape (n + 1, 2 n).

    Parameters
    ----------
    least, most
        Water per kilogram of each material, shape (n,): a mix carries at least and at most their sums.

    Examples
    --------
    >>> water_rays(np.array([0.3]), np.array([0.4])).tolist()
    [[1.0, 1.0], [0.3, 0.4]]
    """
    one = np.eye(least.size)
    return np.vstack([np.hstack([one, one]), np.concatenate([least, most])])
