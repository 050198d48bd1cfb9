"""What trials say of the discrepancy: one Gaussian process per property, over shares and water.

A process is taken at a few of the casts, its *supports*: there its values are unknowns of the fit like any
figure, so that figures and process share the readings' evidence between them. Elsewhere it follows from
these values, with what they leave open as its standard deviation.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from optimizer.property_model.parameters import PRIOR_SPREADS, VALUE_AT_CAST

__all__ = ["LENGTH", "MOST_SUPPORTS", "TaughtDiscrepancy", "chosen_supports", "kernel", "unknown_name"]

Array = NDArray[np.float64]

LENGTH: Final = 0.35
"""Distance over which a process stays alike [-], in shares and twice the water ratio.

Assumption: in simulated studios 0.35 and 0.6 showed no difference."""

MOST_SUPPORTS: Final = 24
"""Most supports [count]: what a book of hundreds of casts leaves open beside them is counted as an error."""

_ALIKE: Final = 1e-3
"""Part of a process's variance that the supports may leave open at a cast [-]."""

_JITTER: Final = 1e-9


def kernel(one: Array, other: Array, length: float = LENGTH) -> Array:
    """Return the correlation of a process between points, shape (n, m).

    Parameters
    ----------
    one, other
        Shares and twice the water ratio, shapes (n, d) and (m, d) [-].
    length
        Distance over which it stays alike [-].

    Notes
    -----
    Squared exponential (Rasmussen and Williams 2006, Gaussian Processes for Machine Learning, 4.9; from
    memory).

    Examples
    --------
    >>> float(kernel(np.array([[0.0]]), np.array([[0.35]]))[0, 0].round(4))
    0.6065
    """
    square = np.sum(one**2, axis=1)[:, None] + np.sum(other**2, axis=1) - 2.0 * one @ other.T
    return np.asarray(np.exp(-0.5 * np.maximum(square, 0.0) / length**2))


def chosen_supports(points: Array, most: int = MOST_SUPPORTS) -> NDArray[np.intp]:
    """Return which of the points support the process: each the one the others leave most open.

    Parameters
    ----------
    points
        Shape (n, d) [-].
    most
        At most so many [count].

    Notes
    -----
    Cholesky factorization with pivoting, cut where less than a thousandth of the variance is left.

    Examples
    --------
    >>> chosen_supports(np.array([[0.0], [0.0], [1.0]])).tolist()
    [0, 2]
    """
    left = np.ones(len(points))
    rows = np.zeros((0, len(points)))
    chosen: list[int] = []
    while len(chosen) < min(most, len(points)):
        pivot = int(np.argmax(left))
        if left[pivot] < _ALIKE:
            break
        along = kernel(points[[pivot]], points)[0] - rows[:, pivot] @ rows
        row = along / np.sqrt(left[pivot])
        rows = np.vstack([rows, row])
        left = np.maximum(left - row**2, 0.0)
        chosen.append(pivot)
    return np.array(sorted(chosen), dtype=np.intp)


def unknown_name(discrepancy: str, support: int) -> str:
    """Return the name of the parameter that holds a process at a support, from 0."""
    return f"{VALUE_AT_CAST}{discrepancy}.{support}"


@dataclass(frozen=True, eq=False)
class TaughtDiscrepancy:
    """The discrepancy of every property after trials; see `optimizer.property_model.parameters.Discrepancy`.

    Attributes
    ----------
    materials : tuple[str, ...]
        Dry materials of the casts.
    supports : Array
        Supports as shares and twice the water ratio, shape (p, n + 1).
    taught : tuple[str, ...]
        Discrepancies that any reading depends on.
    names : tuple[str, ...]
        Dry materials of the mixes asked about, in order.
    values : Mapping[str, Array]
        Whitened values at the supports by discrepancy, shape (p,), or (draws, p) for draws of the
        parameters; as the parameters `unknown_name` hold them.
    spreads : Mapping[str, float]
        Standard deviation of each before any trial.
    """

    materials: tuple[str, ...]
    supports: Array
    taught: tuple[str, ...]
    names: tuple[str, ...] = ()
    values: Mapping[str, Array] = field(default_factory=dict)
    spreads: Mapping[str, float] = field(default_factory=lambda: PRIOR_SPREADS)

    @cached_property
    def _whitener(self) -> Array:
        """Inverse root of the supports' own correlations, transposed."""
        own = kernel(self.supports, self.supports) + _JITTER * np.eye(len(self.supports))
        return np.asarray(np.linalg.inv(np.linalg.cholesky(own)).T)

    @cached_property
    def _all(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys((*self.materials, *self.names)))

    @cached_property
    def _placed(self) -> Array:
        return _embedded(self.supports, self.materials, self._all)

    def basis(self, z: Array) -> Array:
        """Return how much of each whitened value a process takes at mixes ``z``, shape (mixes, p)."""
        key = z.tobytes()
        if self._last.get("key") != key:  # a cast asks for each property at the same mixes
            flat = _embedded(np.asarray(z), self.names or self.materials, self._all)
            self._last.update(key=key, basis=kernel(flat, self._placed) @ self._whitener)
        return np.asarray(self._last["basis"])

    @cached_property
    def _last(self) -> dict[str, Any]:
        """Basis of the mixes asked about last."""
        return {}

    def mean(self, name: str, z: Array) -> Array:
        """Return the mean of discrepancy `name` at mixes ``z`` (mixes, n + 1), by draw where values are."""
        if name not in self.values:
            return np.zeros(z.shape[:-1])
        return np.asarray(self.spreads[name] * self.values[name] @ self.basis(z).T)

    def sd(self, name: str, z: Array) -> Array:
        """Return the standard deviation that the values at the supports leave, shape (mixes,)."""
        if name not in self.taught:
            return np.full(z.shape[:-1], self.spreads[name])
        known = np.minimum(np.sum(self.basis(z) ** 2, axis=1), 1.0)
        return np.asarray(self.spreads[name] * np.sqrt(1.0 - known))

    def over(self, names: Sequence[str]) -> TaughtDiscrepancy:
        """Return the same discrepancy for mixes of the dry materials `names`, in that order."""
        return replace(self, names=tuple(names))

    def at(self, parameters: Mapping[str, Array]) -> TaughtDiscrepancy:
        """Return the discrepancy with its values at the supports as the parameters have them."""
        values = {
            name: np.stack(
                [np.asarray(parameters[unknown_name(name, k)]) for k in range(len(self.supports))], axis=-1
            )
            for name in self.taught
        }
        return replace(self, values=values)

    def casts(self, names: tuple[str, ...]) -> Array:
        """Return the supports made of the materials `names` alone, as coordinates over these."""
        foreign = [k for k, name in enumerate(self.materials) if name not in names]
        own = self.supports[~(self.supports[:, foreign] > 0.0).any(axis=1)]
        return _embedded(own, self.materials, names)


def _embedded(z: Array, names: Sequence[str], wanted: Sequence[str]) -> Array:
    """Return coordinates over the materials `wanted`; a material that is not named has no share."""
    flat = z.reshape(-1, z.shape[-1])
    out = np.zeros((len(flat), len(wanted) + 1))
    for k, name in enumerate(names):
        if name in wanted:
            out[:, wanted.index(name)] = flat[:, k]
    out[:, -1] = flat[:, -1]
    return out
