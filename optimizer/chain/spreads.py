"""Ranges of predictions: every parameter moved by its spread, then summed up or drawn, sampled as a check.

The binders' reference points are solved again for every move, so a range is never narrower than the
evidence behind the anchors.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.chain.ages import Ages, ages_of
from optimizer.chain.draws import points_of
from optimizer.chain.heat_draws import heat_draws
from optimizer.chain.model import Model, compile_model
from optimizer.chain.moments import Moments, moments
from optimizer.chain.parameters import ParameterSet
from optimizer.chain.predict import PREDICTORS, Cast, cast_of, window_of
from optimizer.materials import Catalogue

__all__ = ["Around", "Moves", "moves_of", "ranges_of", "sampled"]

Array = NDArray[np.float64]

_ADDITIVE: Final = frozenset({"whiteness", "casting_peak"})
"""Properties whose range is additive; the others are positive and spread on the log."""

_STEPPED: Final = frozenset({"sealer_coats", "damp_risk"})
_TINY: Final = 1e-12
_LARGEST: Final = 700.0
"""Largest logarithm [-] whose number the machine holds."""


@dataclass(frozen=True)
class Moves:
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


@dataclass(frozen=True)
class Around:
    """One mix at the centers of the parameters, and with each of them moved; evaluated once, asked often.

    Attributes
    ----------
    moves : Moves
        From `moves_of`.
    center : Cast
        The one mix at the centers of the parameters.
    """

    moves: Moves
    center: Cast

    @cached_property
    def moved(self) -> Cast:
        """The mix with each parameter moved down, then up, shape (2 k, 1)."""
        return cast_of(self.moves.model, self.center.bench, self.center.mixes)

    @cached_property
    def ages(self) -> Ages:
        """Draws of the mix's clock."""
        return ages_of(self)

    @cached_property
    def heat(self) -> Mapping[str, Array]:
        """Draws of the wall temperatures and the heat margin."""
        return heat_draws(self)

    def column(self, values: Array) -> Array:
        """Return values of `moved` as shape (2 k,), those that no parameter moves repeated."""
        return np.broadcast_to(values, (2 * len(self.moves.names), 1))[:, 0]

    def moments(self, best: Array, moved: Array) -> Moments:
        """Return the moments of quantities from their values at the center and for `moved`.

        Parameters
        ----------
        best, moved
            Values of shape (m,) and (2 k, m).
        """
        half = len(self.moves.names)
        return moments(best, moved[:half], moved[half:], self.moves.correlation)


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


def ranges_of(around: Around, values: Mapping[str, float]) -> dict[str, tuple[float, float]]:
    """Return the 5 % and 95 % point of each property of one mix.

    Parameters
    ----------
    around
        The mix.
    values
        Best values of the properties wanted, by name.

    Notes
    -----
    From moments, on the log where a property cannot be negative. Four go their own way: the working
    window is what mixing leaves of such a set; the demold time and the heat in use are worked out
    anew from drawn sums (`optimizer.chain.draws`). A best value near an edge, such as a cement at its most
    water, may lie outside what is drawn: its range is widened to hold it.
    """
    plain = [name for name in values if name not in _OWN_WAY]
    out = _summed_ranges(around, plain, np.array([values[name] for name in plain]))
    ranges = {name: out[name] if name in out else _OWN_WAY[name](around) for name in values}
    return {name: _holding(ends, values[name]) for name, ends in ranges.items()}


def _holding(ends: tuple[float, float], value: float) -> tuple[float, float]:
    low, high = ends
    return (low, high) if np.isnan(value) else (min(low, value), max(high, value))


def _summed_ranges(around: Around, names: list[str], best: Array) -> dict[str, tuple[float, float]]:
    there = np.array([around.column(PREDICTORS[name](around.moved)) for name in names])
    there = there.reshape(len(names), 2 * len(around.moves.names))
    smooth = np.isfinite(best) & np.all(np.isfinite(there), axis=1)
    smooth &= ~np.isin(names, list(_STEPPED))
    additive = np.isin(names, list(_ADDITIVE))
    on_log = smooth & ~additive & (best > 0.0) & np.all(there > 0.0, axis=1)
    moved = np.where(smooth[:, None], there, 0.0)
    moved[on_log] = np.log(np.maximum(there[on_log], _TINY))
    middle = np.where(smooth, best, 0.0)
    middle[on_log] = np.log(best[on_log])
    spread = around.moments(middle, moved.T)
    low, high = (
        np.where(on_log, np.exp(np.where(on_log, np.minimum(end, _LARGEST), 0.0)), end)
        for end in (middle + spread.point(0.05), middle + spread.point(0.95))
    )
    low = np.where(on_log | additive, low, np.maximum(low, 0.0))
    return {
        name: (float(low[k]), float(high[k])) if smooth[k] else _ends(np.append(there[k], best[k]))
        for k, name in enumerate(names)
    }


def _window_range(around: Around) -> tuple[float, float]:
    middle = np.log(around.center.clock.initial)
    spread = around.moments(middle, around.column(np.log(around.moved.clock.initial))[:, None])
    ends = np.exp(np.concatenate([middle + spread.point(0.05), middle + spread.point(0.95)]))
    low, high = window_of(ends, around.center.bench.shop.mixing)
    return float(low), float(high)


def _heat_range(name: str) -> Callable[[Around], tuple[float, float]]:
    """Return the range of a property of the wall in use, whose two idealizations meet in a kink."""

    def ends(around: Around) -> tuple[float, float]:
        low, high = points_of(around.heat[name])
        return low, high

    return ends


_OWN_WAY: Final[Mapping[str, Callable[[Around], tuple[float, float]]]] = {
    "demold_time": lambda around: around.ages.range(),
    "working_window": _window_range,
    **{
        name: _heat_range(name)
        for name in ("outer_wall_temperature", "inner_wall_temperature", "heat_margin")
    },
}


def _ends(seen: Array) -> tuple[float, float]:
    known = seen[~np.isnan(seen)]
    return (float(known.min()), float(known.max())) if len(known) else (math.nan, math.nan)


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
    return {
        name: np.broadcast_to(predictor(cast), (count, 1))[:, 0] for name, predictor in PREDICTORS.items()
    }
