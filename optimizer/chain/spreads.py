"""Ranges of predictions: every parameter moved by its spread, linearized, and sampled as a check.

The binders' reference points are solved again for every move, so a range is never narrower than the
evidence behind the anchors.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.chain.model import Model, compile_model
from optimizer.chain.parameters import ParameterSet
from optimizer.chain.predict import PREDICTORS, Cast, cast_of
from optimizer.materials import Catalogue

__all__ = ["Moves", "linear_ranges", "moves_of", "sampled", "spread_of"]

Array = NDArray[np.float64]

Z90: Final = 1.6448536269514722
"""Standard normal point with 5 % above it."""

_ADDITIVE: Final = frozenset(
    {"whiteness", "heat_margin", "casting_peak", "outer_wall_temperature", "inner_wall_temperature"}
)
"""Properties whose range is additive; the others are positive and spread on the log."""

_STEPPED: Final = {"sealer_coats", "damp_risk"}


@dataclass(frozen=True)
class Moves:
    """The chain with each uncertain parameter moved down and up by one standard deviation.

    Attributes
    ----------
    model : Model
        Compiled with 2 k draws: first all moves down, then all moves up.
    covariance : Array
        Correlation of the moved parameters, shape (k, k); the identity when independent.
    names : tuple[str, ...]
        Moved parameters.
    """

    model: Model
    correlation: Array
    names: tuple[str, ...]

    def slopes(self, function: Callable[[Model], Array]) -> Array:
        """Return the change of `function` per standard deviation, shape (k, ...)."""
        values = function(self.model)
        half = len(self.names)
        return np.asarray((values[half:] - values[:half]) / 2.0)

    def spread(self, slopes: Array) -> Array:
        """Return the standard deviation that slopes of shape (k, ...) add up to."""
        return np.asarray(np.sqrt(np.einsum("k...,kl,l...->...", slopes, self.correlation, slopes)))


def moves_of(catalogue: Catalogue, names: tuple[str, ...], parameters: ParameterSet) -> Moves:
    """Compile the chain once for all single moves of the parameters."""
    spreads = parameters.spreads
    live = np.flatnonzero(spreads > 0.0)
    shifts = np.zeros((len(live), len(spreads)))
    shifts[np.arange(len(live)), live] = spreads[live]
    fitted = np.concatenate([parameters.centers - shifts, parameters.centers + shifts])
    correlation = np.eye(len(spreads)) if parameters.correlation is None else parameters.correlation
    return Moves(
        compile_model(catalogue, names, parameters, fitted),
        correlation[np.ix_(live, live)],
        tuple(parameters.names[k] for k in live),
    )


def linear_ranges(moves: Moves, center: Cast, names: tuple[str, ...]) -> dict[str, tuple[float, float]]:
    """Return the 5 % and 95 % point of each property of one mix, by linearization.

    Parameters
    ----------
    moves
        From `moves_of`.
    center
        The one mix at the centers of the parameters.
    names
        Properties wanted.
    """
    moved = cast_of(moves.model, center.bench, center.mixes)
    half = len(moves.names)
    out: dict[str, tuple[float, float]] = {}
    for name in names:
        value = float(PREDICTORS[name](center).reshape(-1)[0])
        there = _column(PREDICTORS[name](moved), 2 * half)
        out[name] = _range(name, value, there, moves)
    return out


def _column(values: Array, draws: int) -> Array:
    flat = np.asarray(values, float).reshape(values.shape[0] if values.ndim > 1 else -1, -1)[:, 0]
    return flat if len(flat) == draws else np.full(draws, flat[0])


def _range(name: str, value: float, there: Array, moves: Moves) -> tuple[float, float]:
    half = len(moves.names)
    if name in _STEPPED or not np.isfinite(value) or not np.all(np.isfinite(there)):
        seen = np.append(there, value)
        known = seen[~np.isnan(seen)]
        return (float(known.min()), float(known.max())) if len(known) else (math.nan, math.nan)
    if name in _ADDITIVE or value <= 0.0 or np.any(there <= 0.0):
        spread = float(moves.spread((there[half:] - there[:half]) / 2.0))
        low = value - Z90 * spread
        return low if name in _ADDITIVE else max(low, 0.0), value + Z90 * spread
    logs = np.log(np.maximum(there, 1e-12))
    spread = float(moves.spread((logs[half:] - logs[:half]) / 2.0))
    return value * float(np.exp(-Z90 * spread)), value * float(np.exp(Z90 * spread))


def spread_of(moves: Moves, center: Cast, rows: Callable[[Cast], Array]) -> Array:
    """Return the standard deviation of rows of one mix, shape (rows,), by linearization.

    `rows` maps a cast to an array (draws, mixes, rows).
    """
    slopes = moves.slopes(lambda model: rows(cast_of(model, center.bench, center.mixes))[:, 0, :])
    return moves.spread(slopes)


def sampled(
    catalogue: Catalogue,
    names: tuple[str, ...],
    parameters: ParameterSet,
    center: Cast,
    count: int = 400,
    seed: int = 1,
) -> Mapping[str, Array]:
    """Return draws of every property of one mix, each of shape (count,); same seed, same draws."""
    model = compile_model(catalogue, names, parameters, parameters.draws(count, seed))
    cast = cast_of(model, center.bench, center.mixes)
    return {name: _column(predictor(cast), count) for name, predictor in PREDICTORS.items()}
