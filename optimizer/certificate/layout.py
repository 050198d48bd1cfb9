"""Columns, rows and ratios of one linear relaxation while it is laid out, by name.

A relaxation lives on the masses per liter and on named sums of them. Every named sum is written without a
constant: what is fixed per liter is a multiple of the volumes, which fill the liter exactly. Ratios of two
sums are then ratios of linear forms, and an interval of a ratio is two linear rows.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["FREE", "Layout", "Range", "Ratio", "Row", "dense_row", "form_range", "ratio_range"]

Array = NDArray[np.float64]
Coefficients = Mapping[int, float]
"""Coefficient by number of the column."""

FREE = math.inf
_NOTHING = 1e-12


@dataclass(frozen=True)
class Range:
    """An interval that holds a number."""

    low: float
    high: float


@dataclass(frozen=True)
class Ratio:
    """A ratio of two sums of columns, the lower one never negative.

    Attributes
    ----------
    name : str
        What it is, for people.
    above, below : Coefficients
        The two sums.
    """

    name: str
    above: Coefficients
    below: Coefficients

    def of(self, point: Array) -> float:
        """Return the ratio at a point of the relaxation; not a number where the lower sum vanishes."""
        below = total(self.below, point)
        return total(self.above, point) / below if below > _NOTHING else math.nan

    def at_least(self, low: float) -> Row:
        """Return the row that holds the ratio at `low` or more."""
        return Row(_linear(self.above, self.below, 1.0, low))

    def at_most(self, high: float) -> Row:
        """Return the row that holds the ratio at `high` or less."""
        return Row(_linear(self.above, self.below, -1.0, high))


def _linear(above: Coefficients, below: Coefficients, sign: float, edge: float) -> dict[int, float]:
    out = {column: sign * value for column, value in above.items()}
    for column, value in below.items():
        out[column] = out.get(column, 0.0) - sign * edge * value
    return out


@dataclass(frozen=True)
class Row:
    """One row: ``lower <= coefficients @ x <= upper``."""

    coefficients: Coefficients
    lower: float = 0.0
    upper: float = FREE


def total(coefficients: Coefficients, point: Array) -> float:
    """Return the sum that the coefficients form at a point."""
    return float(sum(value * point[k] for k, value in coefficients.items()))


@dataclass
class Layout:
    """A relaxation under construction.

    Attributes
    ----------
    volumes : Array
        Liters filled by one kilogram of each material and of water, air included, shape (n + 1,): their
        sum over a mix is 1.
    rays : Array
        Mixes of which every mix is a sum with nonnegative weights, shape (n + 1, rays).
    """

    volumes: Array
    rays: Array
    names: dict[str, int] = field(default_factory=dict)
    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)
    ratios: list[Ratio] = field(default_factory=list)
    forms: dict[int, Array] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for k, volume in enumerate(self.volumes):
            column = self.column(f"mass_{k}", 0.0, 1.0 / volume)
            self.forms[column] = np.eye(len(self.volumes))[k]
        self.column("one", 1.0, 1.0)
        self.forms[self.names["one"]] = self.volumes.copy()
        self.row(dict(enumerate(self.volumes)), 1.0, 1.0)

    def column(self, name: str, lower: float, upper: float) -> int:
        """Add a column and return its number."""
        self.names[name] = len(self.lower)
        self.lower.append(lower)
        self.upper.append(upper)
        return self.names[name]

    def form(self, name: str, weights: Array) -> int:
        """Add a column that equals a sum of the masses; return its number."""
        span = form_range(weights @ self.rays, self.volumes @ self.rays)
        column = self.column(name, span.low, span.high)
        self.forms[column] = weights
        used = np.flatnonzero(weights)
        self.row({**{int(k): float(weights[k]) for k in used}, column: -1.0}, 0.0, 0.0)
        return column

    def row(self, coefficients: Coefficients, lower: float = 0.0, upper: float = FREE) -> int:
        """Add a row and return its number."""
        self.rows.append(Row(coefficients, lower, upper))
        return len(self.rows) - 1

    def ratio(self, name: str, above: Coefficients, below: Coefficients) -> int:
        """Add a ratio, or find it among those there; return its number."""
        for k, known in enumerate(self.ratios):
            if known.above == above and known.below == below:
                return k
        self.ratios.append(Ratio(name, above, below))
        return len(self.ratios) - 1

    def weights(self, coefficients: Coefficients) -> Array | None:
        """Return a sum of columns as a sum of the masses, or None when it holds more than forms."""
        if any(column not in self.forms for column in coefficients):
            return None
        return np.asarray(sum(value * self.forms[column] for column, value in coefficients.items()))

    def dense(self, coefficients: Coefficients) -> Array:
        """Return the coefficients as one number per column."""
        return dense_row(coefficients, len(self.lower))


def dense_row(coefficients: Coefficients, width: int) -> Array:
    """Return coefficients as one number for each of `width` columns."""
    out = np.zeros(width)
    out[list(coefficients)] = list(coefficients.values())
    return out


def form_range(weights: Array, volumes: Array) -> Range:
    """Return between which values a sum of nonnegative masses lies while their volumes sum to 1.

    Examples
    --------
    >>> form_range(np.array([2.0, 0.0]), np.array([0.5, 1.0]))
    Range(low=0.0, high=4.0)
    """
    per_liter = weights / volumes
    return Range(float(per_liter.min()), float(per_liter.max()))


def ratio_range(above: Array, below: Array) -> Range:
    """Return between which values the ratio of two sums of nonnegative masses lies.

    Parameters
    ----------
    above, below
        Weights of both sums, shape (n + 1,).

    Returns
    -------
    Range
        Ends r for which no mass makes ``above - r below`` negative (or positive): the lowest and highest
        ratio of a single mass where the lower sum has no negative weights (mediant inequality). Infinite
        where there is no such end. The lower sum is taken to be positive over all.

    Examples
    --------
    >>> ratio_range(np.array([1.0, 3.0]), np.array([1.0, 2.0]))
    Range(low=1.0, high=1.5)
    >>> ratio_range(np.array([1.0, 3.0, -2.0]), np.array([1.0, 2.0, -1.0]))
    Range(low=-inf, high=1.5)
    """
    return Range(-_highest(-above, below), _highest(above, below))


def _highest(above: Array, below: Array) -> float:
    """Return the least r with ``above <= r below`` for each mass, or infinity."""
    giving, taking = below > _NOTHING, below < -_NOTHING
    if not giving.any() or np.any(above[~(giving | taking)] > _NOTHING):
        return math.inf
    high = float((above[giving] / below[giving]).max())
    if taking.any():
        most = float((above[taking] / below[taking]).min())
        return high if high <= most + 1e-12 * abs(most) else math.inf
    return high
