"""What the laws of the chain lack, per property: how far the truth may lie from them at every figure.

A law that leaves something out is wrong even at its best figures, and by different amounts for different
blends. Each reading y of a blend is taken as ``y = law + d(z) + error`` with one discrepancy d per property
over ``z = (shares of the dry materials, 2 x water ratio)``. Before any trial d has mean zero and a spread; a
calibration conditions it on the casts of the studio (Kennedy and O'Hagan 2001, J. R. Stat. Soc. B 63:425,
from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

PRIOR_SPREADS: Final[Mapping[str, float]] = MappingProxyType(
    {
        "demold_time": 0.20,
        "strength": 0.20,
        "mass": 0.016,
        "set": 0.16,
        "whiteness": 1.9,
        "heat": 1.0,
        "absorption": 0.08,
    }
)
"""Standard deviation of the discrepancy before any trial, by its name.

On the natural log [-] but for `whiteness` [L*] and `heat`, of the wall in use [K]. `strength` is that of the
wet and the dry body; bending strength takes its own part of it through its law. `set` is of both setting
times, `mass` of the vessel's masses, `demold_time` of the age with the strength that demolding needs.

Assumption: chosen in simulated studios whose truth followed other laws of strength, set and mixing than
the chain's, as the spreads under which stated chances held best and smaller ones were refuted by the next
casts; half of the studios chose them, the other half agreed."""

DISCREPANT: Final = tuple(PRIOR_SPREADS)
"""Names of the discrepancies, in the order of their draws."""


class Discrepancy(Protocol):
    """The discrepancy of every property, with what trials have taught of it."""

    def mean(self, name: str, z: Array) -> Array:
        """Return the mean of discrepancy `name` at mixes ``z`` of shape (mixes, n + 1).

        Shape (mixes,); or (draws, mixes) where it depends on draws of the parameters.
        """

    def sd(self, name: str, z: Array) -> Array:
        """Return its standard deviation at mixes ``z`` of shape (mixes, n + 1), shape (mixes,)."""

    def over(self, names: Sequence[str]) -> Discrepancy:
        """Return the same discrepancy for mixes of the dry materials `names`, in that order."""

    def at(self, parameters: Mapping[str, Array]) -> Discrepancy:
        """Return the discrepancy at values of the parameters, by name, each of shape () or (draws,)."""


@dataclass(frozen=True)
class NoTrials:
    """The discrepancy before any trial: mean zero, the same spread for every mix.

    Attributes
    ----------
    spreads : Mapping[str, float]
        By name; `PRIOR_SPREADS` unless stated.
    """

    spreads: Mapping[str, float] = field(default_factory=lambda: PRIOR_SPREADS)

    def mean(self, name: str, z: Array) -> Array:
        """Return zeros, see `Discrepancy`."""
        return np.zeros(z.shape[:-1])

    def sd(self, name: str, z: Array) -> Array:
        """Return the spread of `name`, see `Discrepancy`."""
        return np.full(z.shape[:-1], self.spreads[name])

    def over(self, names: Sequence[str]) -> Discrepancy:
        """Return itself: no material is known better than another."""
        return self

    def at(self, parameters: Mapping[str, Array]) -> Discrepancy:
        """Return itself: no parameter says anything of it."""
        return self


def mix_coordinates(mixes: Array) -> Array:
    """Return ``z`` of mixes [kg/L], both of shape (mixes, n + 1).

    Shares of the dry materials, then twice the water ratio, for a tenth of water changes a body about as
    much as a fifth of its powder (assumption).

    Examples
    --------
    >>> mix_coordinates(np.array([[0.6, 0.6, 0.48]])).tolist()
    [[0.5, 0.5, 0.8]]
    """
    dry = np.maximum(mixes[..., :-1].sum(axis=-1, keepdims=True), 1e-12)
    return np.asarray(np.concatenate([mixes[..., :-1], 2.0 * mixes[..., -1:]], axis=-1) / dry)
