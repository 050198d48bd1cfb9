"""A few sums of one mix drawn together, for properties that no straight line through the best value follows.

Every sum is taken as normal about its mean, with the spreads and correlations that the parameters give it,
and drawn at the same evenly spread points always. What depends on the sums is then worked out anew at each.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

if TYPE_CHECKING:
    from optimizer.chain.predict import Cast
    from optimizer.chain.spreads import Around

__all__ = ["COUNT", "SHARES", "drawn_sums", "points_of"]

Array = NDArray[np.float64]

COUNT: Final = 256
"""Draws [count]."""

SHARES: Final = (np.arange(COUNT) + 0.5) / COUNT
"""Share of the draws at or below each, in ascending order [-]."""


def drawn_sums(around: Around, sums: Callable[[Cast], Array]) -> Array:
    """Return draws of the sums of one mix, shape (draws, count).

    Parameters
    ----------
    around
        The mix.
    sums
        Sums of a cast, shape (..., mixes, count); each nearly a straight line in every parameter.
    """
    center = sums(around.center)[0]
    there = np.broadcast_to(sums(around.moved), (2 * len(around.moves.names), 1, len(center)))[:, 0]
    mean = center + (there - center).sum(axis=0) / 2.0  # what curves in a parameter moves the mean
    changes = around.moves.changes(there)
    sizes, directions = np.linalg.eigh(changes.T @ around.moves.correlation @ changes)
    # The most spread direction takes the most evenly spread points.
    reach = (directions * np.sqrt(np.maximum(sizes, 0.0)))[:, ::-1]
    return np.asarray(mean + _normal_points(len(center)) @ reach.T)


def points_of(values: Array, shares: tuple[float, ...] = (0.05, 0.95)) -> tuple[float, ...]:
    """Return the values below which `shares` of the draws lie; infinity where the draws end in it.

    Examples
    --------
    >>> points_of(np.arange(256.0), (0.5,))
    (127.5,)
    """
    ascending = np.sort(values)
    known = np.isfinite(ascending)
    if not known.any():
        return tuple(float(ascending[0]) for _ in shares)
    return tuple(float(x) for x in np.interp(shares, SHARES[known], ascending[known], right=ascending[-1]))


@cache
def _normal_points(count: int) -> Array:
    """Return evenly spread points of a standard normal distribution, shape (draws, count).

    Additive recurrence with powers of the generalized golden ratio (Roberts 2018, from memory): the library's
    own sequences would take half a second to import.
    """
    ratio = 2.0
    for _ in range(60):
        ratio = (1.0 + ratio) ** (1.0 / (count + 1))
    steps = ratio ** -np.arange(1.0, count + 1.0)
    return np.asarray(ndtri((0.5 + np.arange(1, COUNT + 1)[:, None] * steps) % 1.0))
