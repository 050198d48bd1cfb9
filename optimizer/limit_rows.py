"""Limits as rows a solver can hold: smooth, of size one, positive where the limit is met.

A row is judged by the same property functions as a report; where a property has a step or a time without
an end (coats, demold time) the row asks the equivalent smooth question.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.job import Limit
from optimizer.properties.drying import absorption_edge
from optimizer.property_model.predict import PREDICTORS, Cast, coat_factor_of
from optimizer.property_model.timing import wet_strength_at

Array = NDArray[np.float64]

_LOG: Final = frozenset(
    {
        "fresh_density",
        "demolded_mass",
        "dry_mass",
        "porosity",
        "absorption",
        "wet_strength",
        "dry_strength",
        "flexural_strength",
        "drying_time",
        "embodied_co2",
        "drying_shrinkage",
    }
)
_SCALE: Final = {
    "whiteness": 5.0,
    "casting_peak": 10.0,
    "outer_wall_temperature": 10.0,
    "inner_wall_temperature": 10.0,
    "heat_margin": 10.0,
    "crystalline_silica": 0.1,
    "setting_expansion": 1.0,
    "damp_risk": 1.0,
    "sealer_coats": 1.0,
}
"""What counts as one unit of margin for properties that may be zero or negative [the property's unit]."""

_FAR = 50.0


def row_scale(name: str, bound: float) -> float:
    """Return the change of a property that moves its row by about one [the property's unit]."""
    return _SCALE.get(name, max(abs(bound), 1e-9))


def limit_rows(limit: Limit, cast: Cast, bounds: Array | None = None) -> tuple[Array, ...]:
    """Return the margins of each mix to one limit, all >= 0 when met; 1 is 100 % (log) or a `row_scale`.

    Parameters
    ----------
    limit
        The bound; its property must have a predictor (cost is handled by the money rows).
    cast
        Mixes with the conditions they are cast in.
    bounds
        A bound for each mix in place of the limit's own, shape (mixes,) [the property's unit]; infinite
        where a mix has none.
    """
    asked = np.asarray(limit.bound if bounds is None else bounds, float)
    special = _SPECIAL.get((limit.property, limit.sense))
    with np.errstate(divide="ignore", invalid="ignore"):
        if special is not None:
            rows = special(asked, cast)
        else:
            rows = (_plain_row(limit, PREDICTORS[limit.property](cast), asked),)
    if bounds is None:
        return tuple(_tame(row) for row in rows)
    return tuple(np.where(np.isfinite(asked), _tame(row), _FAR) for row in rows)


def _plain_row(limit: Limit, value: Array, bound: Array) -> Array:
    sign = 1.0 if limit.sense == ">=" else -1.0
    if limit.property in _LOG and np.all(bound > 0.0):
        return np.asarray(sign * (np.log(np.maximum(value, 0.0)) - np.log(bound)))
    scale = _SCALE.get(limit.property, np.maximum(np.abs(bound), 1e-9))
    return np.asarray(sign * (value - bound) / scale)


def held_bound(limit: Limit, shift: float = 0.0) -> float:
    """Return the bound a property keeps where the row of its limit is over-met by `shift`.

    Holds for limits judged by their own value; demold time and working window have rows of their own.

    Examples
    --------
    >>> round(held_bound(Limit("dry_mass", "<=", 400.0), 0.05), 1)
    380.5
    >>> held_bound(Limit("whiteness", ">=", 88.0), 0.2)
    89.0
    """
    sign = 1.0 if limit.sense == ">=" else -1.0
    if limit.property in _LOG and limit.bound > 0:
        return float(limit.bound * np.exp(sign * shift))
    return limit.bound + sign * shift * row_scale(limit.property, limit.bound)


def row_count(limit: Limit) -> int:
    """Return how many rows `limit_rows` gives for a limit."""
    return 2 if (limit.property, limit.sense) == ("demold_time", "<=") else 1


def _tame(row: Array) -> Array:
    # fmax and fmin let a number win over nan: what no chain can evaluate is far from meeting a limit.
    return np.asarray(np.fmin(np.fmax(row, -_FAR), _FAR))


def _demold_within(bound: Array, cast: Cast) -> tuple[Array, ...]:
    """Strong enough at the age of the limit, and set by then."""
    clock = cast.clock
    sooner = bound * np.exp(-cast.departure("demold_time"))
    reached = np.log(np.maximum(wet_strength_at(clock, sooner), 1e-9))
    early = bound < cast.conditions.shop.demold_floor
    strong = np.where(early, -_FAR, reached - np.log(cast.demold_need))
    return strong, np.where(early, -_FAR, np.log(bound) - np.log(clock.final))


def _window_at_least(bound: Array, cast: Cast) -> tuple[Array, ...]:
    return (np.log(cast.clock.initial) - np.log(bound + cast.conditions.shop.mixing),)


def _window_at_most(bound: Array, cast: Cast) -> tuple[Array, ...]:
    return (-_window_at_least(bound, cast)[0],)


def _coats_at_most(bound: Array, cast: Cast) -> tuple[Array, ...]:
    """No more absorption than so many whole coats still seal."""
    coats = np.maximum(np.floor(np.where(np.isfinite(bound), bound, 0.0)), 0.0)
    edge = absorption_edge(cast.conditions.shop.target_absorption, coat_factor_of(cast), coats)
    return (np.log(edge) - np.log(np.maximum(cast.absorption, 1e-12)),)


_SPECIAL: Final[dict[tuple[str, str], Callable[[Array, Cast], tuple[Array, ...]]]] = {
    ("demold_time", "<="): _demold_within,
    ("working_window", ">="): _window_at_least,
    ("working_window", "<="): _window_at_most,
    ("sealer_coats", "<="): _coats_at_most,
}
