"""The chain with each uncertain parameter moved by its spread, one at a time: the slopes of readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.materials import Catalogue
from optimizer.property_model.model import Model, compile_model
from optimizer.property_model.parameters import ParameterSet

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Perturbations:
    """The chain with each uncertain parameter moved down and up by one standard deviation.

    Attributes
    ----------
    model : Model
        Compiled with 2 k draws: first all moves down, then all moves up.
    correlation : Array
        Correlation of the moved parameters, shape (k, k); the identity when independent.
    names : tuple[str, ...]
        Moved parameters.
    """

    model: Model
    correlation: Array
    names: tuple[str, ...]

    def changes(self, values: Array) -> Array:
        """Return the change per standard deviation of values of shape (2 k, ...), shape (k, ...)."""
        half = len(self.names)
        return np.asarray((values[half:] - values[:half]) / 2.0)

    def spread(self, changes: Array) -> Array:
        """Return the standard deviation that changes of shape (k, ...) add up to."""
        flat = changes.reshape(len(self.names), -1)
        return np.asarray(np.sqrt(np.sum(flat * (self.correlation @ flat), axis=0))).reshape(
            changes.shape[1:]
        )


def perturbations_of(catalogue: Catalogue, names: tuple[str, ...], parameters: ParameterSet) -> Perturbations:
    """Compile the chain once for all single moves of the parameters."""
    spreads = parameters.spreads
    live = np.flatnonzero(spreads > 0.0)
    shifts = np.zeros((len(live), len(spreads)))
    shifts[np.arange(len(live)), live] = spreads[live]
    fitted = np.concatenate([parameters.centers - shifts, parameters.centers + shifts])
    correlation = np.eye(len(spreads)) if parameters.correlation is None else parameters.correlation
    return Perturbations(
        compile_model(catalogue, names, parameters, fitted),
        correlation[np.ix_(live, live)],
        tuple(parameters.names[k] for k in live),
    )
