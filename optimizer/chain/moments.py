"""How a quantity is spread: its mean, width and lean, from each parameter moved down and up.

In every parameter a quantity is taken as a line and a curve. Where a strength is read off a pore volume or a
whiteness off a pigment the curve is what a straight line gets wrong: it shifts the mean and leans the tails.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

__all__ = ["Moments", "moments"]

Array = NDArray[np.float64]

_MOST_SHIFT: Final = 0.5
"""Largest shift of the mean that is believed, in standard deviations: more comes of an edge, no curve [-]."""

_MOST_LEAN: Final = 1.0
"""Largest skewness that is believed [-]; up to three times it the points below keep their order."""

_STRAIGHT: Final = 1e-7
"""A sixth of a skewness [-] below which points are those of the normal, to seven digits."""

_LEAST: Final = 1e-90
"""Stands for a width of zero in a division [the quantity's unit]; its cube is still a number."""


@dataclass(frozen=True)
class Moments:
    """Departure of quantities from their best values; every attribute of shape (...).

    Attributes
    ----------
    mean : Array
        Mean departure [the quantity's unit].
    width : Array
        Standard deviation [the quantity's unit].
    lean : Array
        Skewness [-].

    Notes
    -----
    Points after Cornish and Fisher 1938 (Rev. Inst. Int. Stat. 5:307, from memory), to the third moment.
    """

    mean: Array
    width: Array
    lean: Array

    def point(self, share: float) -> Array:
        """Return the departure at or below which a share of all cases lies [the quantity's unit].

        Examples
        --------
        >>> straight = Moments(np.array(0.0), np.array(2.0), np.array(0.0))
        >>> round(float(straight.point(0.95)), 3)
        3.29
        """
        z = float(ndtri(share))
        return np.asarray(self.mean + self.width * (z + self.lean / 6.0 * (z * z - 1.0)))

    def chance_above(self, departure: Array | float) -> Array:
        """Return the chance of a departure of so much or more [-]; the other way round than `point`.

        Examples
        --------
        >>> leaning = Moments(np.array(0.1), np.array(2.0), np.array(0.6))
        >>> round(float(leaning.chance_above(leaning.point(0.1))), 9)
        0.9
        """
        x = (departure - self.mean) / np.maximum(self.width, _LEAST)
        bend = self.lean / 6.0
        curved = np.where(np.abs(bend) < _STRAIGHT, _STRAIGHT, bend)
        root = np.sqrt(np.maximum(1.0 + 4.0 * curved * (curved + x), 0.0))
        z = np.where(np.abs(bend) < _STRAIGHT, x, (root - 1.0) / (2.0 * curved))
        return np.asarray(ndtr(-z))


def moments(best: Array, down: Array, up: Array, correlation: Array) -> Moments:
    """Return the moments of quantities from their values with one parameter at a time moved.

    Parameters
    ----------
    best
        Values with every parameter at its center, shape (m,).
    down, up
        Values with one of k parameters moved by one standard deviation, shape (k, m).
    correlation
        Correlation of the parameters, shape (k, k).

    Notes
    -----
    For ``a . z + b . z^2`` of normal z with correlation C: mean ``sum b``, variance
    ``a C a + 2 b (C o C) b``, third moment ``6 sum b (C a)^2 + 8 sum b^3``, its last
    term without the correlations.

    Examples
    --------
    >>> one = moments(np.array([0.0]), np.array([[-0.9]]), np.array([[1.1]]), np.eye(1))
    >>> round(float(one.mean[0]), 3), round(float(one.width[0]), 3), round(float(one.lean[0]), 3)
    (0.1, 1.01, 0.59)
    """
    slope, curve = (up - down) / 2.0, (up + down) / 2.0 - best
    tied = correlation @ slope
    variance = np.sum(slope * tied, axis=0) + 2.0 * np.sum(curve * ((correlation**2) @ curve), axis=0)
    width = np.sqrt(np.maximum(variance, 0.0))
    third = 6.0 * np.sum(curve * tied**2, axis=0) + 8.0 * np.sum(curve**3, axis=0)
    lean = third / np.maximum(width, _LEAST) ** 3
    mean = np.clip(np.sum(curve, axis=0), -_MOST_SHIFT * width, _MOST_SHIFT * width)
    return Moments(np.asarray(mean), np.asarray(width), np.clip(lean, -_MOST_LEAN, _MOST_LEAN))
