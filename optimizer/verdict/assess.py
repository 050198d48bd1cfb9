"""How sure a mix is: the chance of each limit and of all together, what it costs on average, its ranges.

All of it is counted in the same draws of the whole chain (`optimizer.property_model.samples`), which no
solver has seen. Heat in use that nobody has measured in a burn test is left open: its limits are estimated,
but stand outside the chance that all limits hold, unless the job asks to judge them.

How far a weighing may be off (`stands`) is found by re-computation: the grams of water or of the largest
powder are moved and the mix assessed again in the same draws, until the chance that
all limits hold together has fallen by ten points.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.job import Limit
from optimizer.money.capacity import turns_in_draws
from optimizer.money.vessel_cost import cost_parts
from optimizer.problem import Problem, limit_rows
from optimizer.property_model.predict import Cast, predict
from optimizer.property_model.samples import Samples, points_of
from optimizer.solution import ExpectedCost, Room, Stands

Array = NDArray[np.float64]

HOLDS, UNCERTAIN, FAILS = "holds", "uncertain", "fails"
"""The verdict words: one set for limits, blends and answers."""

MET: Final = 1e-6
"""What a limit's row may miss by and be met: far below what any scale or trial resolves [row units]."""

_ENDS: Final = (0.05, 0.95)
_HEAT_IN_USE: Final = ("heat_margin", "outer_wall_temperature", "inner_wall_temperature")
_COST_DRIVERS: Final = ("demold_time", "sealer_coats", "drying_time", "dry_mass")
_FINE_ROLES: Final = ("pigment", "admixture")

FALL: Final = 0.10
"""Fall of the joint chance that a caster should know of [-]."""

_FARTHEST: Final = 0.25
"""Largest error looked at, as a share of the amount [-]: beyond, it is another recipe."""

_HALVINGS: Final = 9


@dataclass(frozen=True)
class Assessment:
    """One mix in all draws.

    Attributes
    ----------
    limits : tuple[Limit, ...]
        The job's limits, in order.
    held : NDArray
        Whether each holds in each draw, shape (draws, limits).
    open : tuple[bool, ...]
        Whether each stands outside the joint chance, see `is_open`.
    cost : ExpectedCost | None
        None without prices.
    ranges : Mapping[str, tuple[float, float]]
        5 % and 95 % point of each property [its unit].
    """

    limits: tuple[Limit, ...]
    held: NDArray[np.bool_]
    open: tuple[bool, ...]
    cost: ExpectedCost | None
    ranges: Mapping[str, tuple[float, float]]

    @cached_property
    def joint_probability(self) -> float:
        """Chance that all limits hold together, those that are open left out [-]."""
        return _joint(self.held, self.open)

    @cached_property
    def probabilities(self) -> Mapping[Limit, float]:
        """Chance of each limit [-]."""
        return dict(zip(self.limits, map(float, self.held.mean(axis=0)), strict=True))

    @cached_property
    def decisive(self) -> Limit | None:
        """The limit that takes most of the joint chance: without it the chance would rise most.

        None where no limit takes any.
        """
        judged = [k for k, each in enumerate(self.open) if not each]
        gains = [
            float(self.held[:, [j for j in judged if j != k]].all(axis=1).mean()) - self.joint_probability
            for k in judged
        ]
        if not gains or max(gains) <= 0.0:
            return None
        return self.limits[judged[int(np.argmax(gains))]]


def assess(problem: Problem, mix: Array, samples: Samples | None = None) -> Assessment:
    """Count what one mix does in draws.

    Parameters
    ----------
    mix
        Kilograms per liter by material and, last, of water, shape (n + 1,) [kg/L].
    samples
        Draws; default: those for what is printed.
    """
    samples = problem.samples.printed if samples is None else samples
    cast = samples.cast(problem.conditions, mix[None, :])
    values = {name: np.broadcast_to(value, (len(samples), 1))[:, 0] for name, value in predict(cast).items()}
    parts = drawn_cost_parts(problem, cast, values)
    total = _total(parts)
    return Assessment(
        problem.job.limits,
        *_judged(problem, cast, total),
        None if total is None else _expected(parts, total),
        {name: _range(value) for name, value in values.items()},
    )


def joint_probability(problem: Problem, mix: Array, samples: Samples | None = None) -> float:
    """Return the joint chance of `assess` and nothing else, for mixes that are only looked at [-]."""
    samples = problem.samples.printed if samples is None else samples
    cast = samples.cast(problem.conditions, mix[None, :])
    priced = any(limit.property == "cost" for limit in problem.job.limits)
    total = _total(drawn_cost_parts(problem, cast)) if priced else None
    held, left_open = _judged(problem, cast, total)
    return _joint(held, left_open)


def held_and_cost(
    problem: Problem, mix: Array, samples: Samples | None = None
) -> tuple[NDArray[np.bool_], Array | None]:
    """Return of one mix [kg/L] whether all limits hold in each draw, and a good vessel's cost there.

    Both of shape (draws,) [-] and [currency]; the cost is None without prices. Limits that are open are
    left out.
    """
    samples = problem.samples.printed if samples is None else samples
    cast = samples.cast(problem.conditions, mix[None, :])
    total = _total(drawn_cost_parts(problem, cast))
    held, left_open = _judged(problem, cast, total)
    return np.asarray(held[:, ~np.array(left_open, dtype=bool)].all(axis=1)), total


def _total(parts: Mapping[str, Array]) -> Array | None:
    return np.asarray(np.sum(list(parts.values()), axis=0)) if parts else None


def _judged(problem: Problem, cast: Cast, total: Array | None) -> tuple[NDArray[np.bool_], tuple[bool, ...]]:
    """Return whether each limit holds in each draw, shape (draws, limits), and which are open."""
    limits, count = problem.job.limits, len(cast.mixes)
    held = [_held(limit, cast, total, count) for limit in limits]
    left_open = tuple(is_open(problem, limit, priced=total is not None) for limit in limits)
    return np.stack(held, axis=1) if held else np.ones((count, 0), dtype=bool), left_open


def _joint(held: NDArray[np.bool_], left_open: tuple[bool, ...]) -> float:
    return float(held[:, ~np.array(left_open, dtype=bool)].all(axis=1).mean())


def is_open(problem: Problem, limit: Limit, *, priced: bool = True) -> bool:
    """Return True for a limit that cannot be judged yet: heat nobody has measured, a cost without prices.

    Heat counts as measured where the job states a burn test or burns in the trial book have taught the
    flame's share. With ``heat_without_burn = "judge"`` its estimate is judged.
    """
    if limit.property == "cost":
        return not priced
    if limit.property not in _HEAT_IN_USE:
        return False
    candle = problem.job.candle
    if candle is None:
        return True
    burned = candle.measured_outer is not None or problem.parameters.origin.get("flame_share", 0) > 0
    return not burned and problem.job.heat_without_burn == "open"


def word_of(chance: float, confidence: float) -> str:
    """Return the verdict on a chance: it holds, fails, or is uncertain.

    Examples
    --------
    >>> [word_of(chance, 0.8) for chance in (0.85, 0.5, 0.2)]
    ['holds', 'uncertain', 'fails']
    """
    if chance >= confidence:
        return HOLDS
    return FAILS if chance <= 1.0 - confidence + 1e-12 else UNCERTAIN


def drawn_cost_parts(
    problem: Problem, cast: Cast, values: Mapping[str, Array] | None = None
) -> dict[str, Array]:
    """Return the money in one good vessel by part in each draw, shape (draws,) [currency]; empty unpriced.

    `values` are the properties of the one mix of `cast` where they are known already, of shape (draws,).
    """
    used = cast.intended[0, :-1] > 0.0
    prices = problem.prices[:-1]
    if np.any(np.isnan(prices[used])):
        return {}
    shop = problem.job.shop
    money = cast.mixes[:, 0, :-1] * problem.liters * np.where(used, np.nan_to_num(prices), 0.0)
    fine = np.array([m.role in _FINE_ROLES for m in problem.materials])
    known = values or {name: np.ravel(value) for name, value in predict(cast, _COST_DRIVERS).items()}
    never = ~np.isfinite(known["sealer_coats"] + known["drying_time"])  # no coats seal it, or it never dries
    parts = cost_parts(
        money[:, ~fine].sum(axis=-1),
        money[:, fine].sum(axis=-1),
        cast.mixes[:, 0, -1] * problem.liters * shop.water_price,
        turns=turns_in_draws(known["demold_time"], shop),
        coats=np.where(never, 0.0, known["sealer_coats"]),
        drying_days=np.where(never, 0.0, known["drying_time"]),
        shipped_mass=known["dry_mass"] + shop.shipped_extras,
        shop=shop,
    )
    parts["sealer"] = np.where(never, np.inf, parts["sealer"])
    return {name: np.broadcast_to(np.asarray(part, float), len(money)) for name, part in parts.items()}


def _held(limit: Limit, cast: Cast, total: Array | None, count: int) -> NDArray[np.bool_]:
    if limit.property == "cost":
        if total is None:
            return np.zeros(count, dtype=bool)
        return np.asarray(total <= limit.bound + MET if limit.sense == "<=" else total >= limit.bound - MET)
    rows = [np.broadcast_to(row, (count, 1))[:, 0] >= -MET for row in limit_rows(limit, cast)]
    return np.asarray(np.logical_and.reduce(rows))


def _expected(parts: Mapping[str, Array], total: Array) -> ExpectedCost:
    """Return the cost per good vessel; what cannot be sold at any cost is paid for by what can.

    That is a vessel too heavy for any carrier named, or one that no number of coats seals.
    """
    sold = np.isfinite(total)
    if not sold.any():
        return ExpectedCost(np.inf, np.inf, np.inf, {name: np.inf for name in parts})
    scale = 1.0 / float(sold.mean())
    means = {name: float(part[sold].mean()) * scale for name, part in parts.items()}
    value, (low, high) = sum(means.values()), _range(total)
    return ExpectedCost(value, min(low, value), max(high, value), means)


def _range(values: Array) -> tuple[float, float]:
    """Return the 5 % and the 95 % point of draws; infinity where they end in it, nan where they are none."""
    low, high = points_of(values, _ENDS)
    return float(low), float(high)


def stands(problem: Problem, grams: Array) -> Stands:
    """Return how far water and the largest powder may be off, in one mix of the shop, waste included.

    Parameters
    ----------
    grams
        Masses by material and, last, of water for one filled cavity, shape (n + 1,) [g].
    """
    shop = problem.job.shop
    whole = shop.molds_per_mix * (1.0 + shop.waste)
    powder = int(np.argmax(grams[:-1]))
    floor = _chance(problem, grams) - FALL

    def room(place: int) -> Room:
        def still(step: float) -> bool:
            return _chance(problem, _moved(grams, place, step)) > floor

        return Room(_reach(still, -1), _reach(still, 1)).times(float(grams[place]) * whole)

    return Stands(shop.molds_per_mix, problem.names[powder], room(len(grams) - 1), room(powder))


def _chance(problem: Problem, grams: Array) -> float:
    liters = grams @ problem.model.column("volume") * 1e-3 / (1.0 - float(problem.model["air"]))
    return joint_probability(problem, grams * 1e-3 / liters)


def _moved(grams: Array, place: int, step: float) -> Array:
    out = grams.copy()
    out[place] *= 1.0 + step
    return out


def _reach(still: Callable[[float], bool], way: int) -> float:
    """Return the share of an amount that may be too much (`way` 1) or missing (-1); infinity for any."""
    low, high = 0.0, _FARTHEST
    if still(way * high):
        return math.inf
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if still(way * middle) else (low, middle)
    return 0.5 * (low + high)
