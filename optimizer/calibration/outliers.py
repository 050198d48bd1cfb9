"""Readings that do not fit: told apart, trusted less, and named; never swallowed, never dropped unseen.

Every reading is held against what all other batches say of it. Readings of one kind from one batch are
judged together: a cast weighed wrongly spoils all its strengths.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["FLAG", "Blocks", "standardized", "trust"]

Array = NDArray[np.float64]
Places = NDArray[np.intp]

FLAG: Final = 3.5
"""Standard errors between a reading and what all other batches say, beyond which it is flagged [-].

The limit Iglewicz and Hoaglin 1993 propose for standardized residuals (from memory)."""

_TRUSTED: Final = 2.5
_FREEDOM: Final = 4.0


@dataclass(frozen=True, eq=False)
class Blocks:
    """Readings in groups that share a batch error; the readings of a block stand together.

    Attributes
    ----------
    starts : Places
        First reading of each block.
    sizes : Places
        Readings in each.
    """

    starts: Places
    sizes: Places

    @property
    def of_row(self) -> Places:
        """Block of each reading."""
        return np.repeat(np.arange(len(self.starts)), self.sizes)

    def sums(self, values: Array) -> Array:
        """Return the sum over each block of values of shape (readings, ...)."""
        return np.asarray(np.add.reduceat(values, self.starts, axis=0))

    def largest(self, values: Array) -> Array:
        """Return the largest of each block of values of shape (readings,)."""
        return np.asarray(np.maximum.reduceat(values, self.starts))

    def by_size(self) -> Iterator[tuple[Places, Places]]:
        """Give the blocks of each size, and the rows of their readings, shape (blocks, size)."""
        for size in np.unique(self.sizes):
            here = np.flatnonzero(self.sizes == size)
            yield here, self.starts[here][:, None] + np.arange(size)


def standardized(
    design: Array, residual: Array, shared: Array, covariance: Array, weights: Array, blocks: Blocks
) -> Array:
    """Return how many standard errors each reading is from what all other blocks say, shape (readings,).

    Parameters
    ----------
    design : Array
        Slopes over the lab error, shape (readings, k).
    residual : Array
        Reading less fit, over the lab error.
    shared : Array
        Batch error over the lab error.
    covariance : Array
        Of the k unknowns, all blocks used with their weights, shape (k, k).
    weights : Array
        Trust in each block.
    blocks : Blocks
        Which readings belong together.

    Notes
    -----
    A block is taken out of the fit by the matrix inversion lemma: with ``V = X C X'`` and the block's own
    ``R = I + s s'`` the fit without it is off by ``e + V (R / w - V)^-1 e``, with spread
    ``R + V + V (R / w - V)^-1 V``.
    """
    out = np.zeros(len(residual))
    spread = design @ covariance
    for here, rows in blocks.by_size():
        inside = np.einsum("bik,bjk->bij", spread[rows], design[rows])
        own = np.eye(rows.shape[1]) + shared[rows][:, :, None] * shared[rows][:, None, :]
        inflated = inside @ np.linalg.inv(own / weights[here][:, None, None] - inside)
        error = residual[rows] + np.einsum("bij,bj->bi", inflated, residual[rows])
        variance = np.diagonal(own + inside + inflated @ inside, axis1=1, axis2=2)
        out[rows] = error / np.sqrt(variance)
    return out


def trust(distance: Array) -> Array:
    """Return the weight of a block whose worst reading is `distance` standard errors off [-].

    Full up to 2.5; beyond it falls as the square of the weights of a Student distribution of 4 degrees of
    freedom, so that a wild batch pulls less the wilder it is.

    Examples
    --------
    >>> [round(float(w), 2) for w in trust(np.array([0.0, 2.5, 3.5, 7.0]))]
    [1.0, 1.0, 0.4, 0.04]
    """
    far = np.maximum(np.abs(distance), _TRUSTED)
    return np.asarray(((_FREEDOM + _TRUSTED**2) / (_FREEDOM + far**2)) ** 2)
