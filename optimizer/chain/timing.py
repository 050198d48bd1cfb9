"""Set, working window, strength at an age, and the age at which a vessel may leave the mold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.chain.body import Body
from optimizer.chain.model import Model
from optimizer.chain.strength import (
    compressive_for_flexural,
    ln_end_strength,
    part_weights,
    retarder_loss,
)
from optimizer.properties.maturity import arrhenius_rate, gypsum_gain, hyperbolic_gain

__all__ = [
    "DAY",
    "LONGEST",
    "Clock",
    "bending_need",
    "clock_of",
    "csa_gain",
    "demold_need",
    "demold_time",
    "dry_strength_at",
    "first_strong_age",
    "ln_wetness",
    "wet_strength_at",
]

Array = NDArray[np.float64]

DAY = 1440.0
"""Minutes in a day."""

NEED_WALL = 8.0
"""Wall at which the figure `demold_bending` is stated [mm]."""

RETARDER_FADES = 1440.0
"""Age at which a retarder's hold on the strength of cement has fallen to 1/e [min]: gone from about 3 d.

Hu et al. 2017, Chem. Papers 71:1909 (abstract): less strength early, more at 3 and 28 d; the pace is an
assumption.
"""

SPEC_TEMPERATURE = 21.0
"""Room temperature at which the set times of the specs hold [degC]."""

LONGEST = 90.0 * DAY
"""Age after which a vessel that still cannot leave the mold never will [min]."""

_LN2 = float(np.log(2.0))
_NEVER = 30.0
"""Log of a set time that stands for "never" inside the arithmetic [ln min]."""

_ROUNDS, _POINTS = 3, 24
_ENOUGH = 2e-6
"""Shortfall of ln strength that is still strong enough [-]: twice what a row may miss by and be met."""


@dataclass(frozen=True)
class Clock:
    """Times and gain of a body, each of shape (..., mixes).

    Attributes
    ----------
    initial, final : Array
        Initial and final set from powder meeting water [min].
    rate : Array
        Gain rate of the cement part at the room's temperature [1/min].
    ln_end : Array
        ln of the end strength, never dried [ln MPa].
    gypsum_weight, csa_weight : Array
        Shares of the two parts in that strength [-].
    end : Array
        Time over final set at which 98 % of the hemihydrate has hydrated [-].
    csa_held : Array
        Share of its strength that a retarder takes from young cement [fraction].
    """

    initial: Array
    final: Array
    rate: Array
    ln_end: Array
    gypsum_weight: Array
    csa_weight: Array
    end: Array
    csa_held: Array


def speed(model: Model, temperature: Array | float) -> Array:
    """Return how much faster the cement part runs than at 21 degC [-].

    `optimizer.properties.maturity.arrhenius_rate` at the activation energy of the model's figures.
    """
    return np.asarray(arrhenius_rate(temperature, model["csa_activation_energy"], SPEC_TEMPERATURE))


def clock_of(
    model: Model, body: Body, *, temperature: Array | float = SPEC_TEMPERATURE, damp: bool = False
) -> Clock:
    """Return the clock of each body at one room temperature, or at that of each mix [degC]."""
    gypsum, cement = body.gypsum_share, body.csa_share
    binder = np.maximum(body["binder"], 1e-9)
    retarded = (gypsum * body["retard_gypsum"] + cement * body["retard_csa"]) / binder
    fast = speed(model, temperature)
    shift = (
        model["gamma_time"] * gypsum * cement
        + model["set_water"] * ln_wetness(body)
        + retarded
        + _plasticized(body)
        - cement * np.log(fast)
    )
    sets = body.hydrates > 1e-9
    initial = np.where(sets, np.exp(np.minimum(body.mean("ln_initial") + shift, _NEVER)), np.exp(_NEVER))
    final = np.where(sets, np.exp(np.minimum(body.mean("ln_final") + shift, _NEVER)), np.exp(_NEVER))
    csa_volume = np.maximum(body["csa_volume"], 1e-12)
    rate = np.exp(np.minimum(np.maximum(body["ln_rate"] / csa_volume, -30.0), 10.0)) * fast
    weights = part_weights(model, body)
    held = retarder_loss(model, body, "csa")
    end = ln_end_strength(model, body, damp=damp)
    return Clock(initial, final, rate, end, *weights, model["gypsum_end"], held)


def ln_wetness(body: Body) -> Array:
    """Return ln of the water left to the binders over what they ask for, from 0.7 to 1.4 times it [-]."""
    left = body["water"] - body["filler_water"]  # fillers take up their own water before a binder sees it
    wetness = np.log(np.maximum(left, 1e-9) / np.maximum(body["reference_water"], 1e-9))
    return np.asarray(np.minimum(np.maximum(wetness, -0.5 * _LN2), 0.5 * _LN2))


def _plasticized(body: Body) -> Array:
    """Return what dosed plasticizer adds to ln set time; more than a full dose adds nothing."""
    powder = np.maximum(body["powder"], 1e-9)
    return np.asarray(body["plasticizer_set"] / powder / np.maximum(body["plasticizer"] / powder, 1.0))


def gain_at(clock: Clock, age: Array | float) -> Array:
    """Return the share of the end strength reached at `age` [min], never dried [-]."""
    with np.errstate(over="ignore"):  # long after set the power overflows to "all of it"
        gypsum = gypsum_gain(age, clock.initial, clock.final, clock.end)
    return np.asarray(clock.gypsum_weight * gypsum + clock.csa_weight * csa_gain(clock, age))


def csa_gain(clock: Clock, age: Array | float) -> Array:
    """Return the share of its end strength that the cement part has reached at `age` [min] [-]."""
    gained = hyperbolic_gain(age, clock.rate, clock.final)
    if not clock.csa_held.any():  # no retarder, nothing held: the common case
        return np.asarray(gained)
    return np.asarray(gained * (1.0 - clock.csa_held * np.exp(-np.asarray(age) / RETARDER_FADES)))


def dry_strength_at(clock: Clock, ln_dry_ratio: Array, damp_cure: Array | float) -> Array:
    """Return compressive strength at constant mass after a damp cure [min] -> [MPa].

    Gypsum is complete once it has set; cement has what it gained damp.
    """
    gain = clock.gypsum_weight + clock.csa_weight * csa_gain(clock, damp_cure)
    return np.asarray(np.exp(clock.ln_end + ln_dry_ratio) * gain)


def wet_strength_at(clock: Clock, age: Array | float) -> Array:
    """Return compressive strength, never dried, at `age` [min] -> [MPa]."""
    return np.asarray(np.exp(clock.ln_end) * gain_at(clock, age))


def demold_need(model: Model, gypsum_share: Array, wall: float) -> Array:
    """Return the compressive strength a vessel needs to leave the mold unharmed [MPa].

    Parameters
    ----------
    model, gypsum_share
        Compiled chain and gypsum-type share of the hydrates [-].
    wall
        Wall at the rim [mm].

    Notes
    -----
    A need in bending, read back into compression by each binder's own flexural law, see `bending_need`.
    """
    return compressive_for_flexural(model, bending_need(model, wall), gypsum_share)


def bending_need(model: Model, wall: float) -> Array:
    """Return the bending strength a vessel needs to leave the mold unharmed [MPa].

    Parameters
    ----------
    model, wall
        As for `demold_need`.

    Notes
    -----
    The figure `demold_bending` at 8 mm, which the same load raises with the square of a thinner wall: exact
    for a plate, a ring and a cup that bends without stretching, and nearly so for a cup pinched by two
    fingers (`tests/chain/pinched_cup.py`).
    """
    return np.asarray(model["demold_bending"] * (NEED_WALL / wall) ** 2)


def demold_time(clock: Clock, need: Array, floor: float = 0.0, later: Array | float = 1.0) -> Array:
    """Return the first age at which the vessel may leave the mold [min]; infinity when never.

    Not before final set nor before the shop's own floor. `later` is what the age with enough strength is
    multiplied by, for what the laws of strength and gain lack [-].
    """
    strong = first_strong_age(clock, need, np.minimum(clock.initial, LONGEST))
    age = np.maximum(np.maximum(strong * later, clock.final), max(floor, 1e-3))
    return np.asarray(np.where(age < LONGEST, age, np.inf))


def first_strong_age(clock: Clock, need: Array, start: Array) -> Array:
    """Return the first age from `start` on with the compressive strength `need` [min]; infinity when never.

    Parameters
    ----------
    clock
        Set and gain.
    need
        Compressive strength wanted [MPa].
    start
        Age at which to begin looking [min].

    Notes
    -----
    Monotone in age, so the crossing is found by zooming into a grid on the log of age and a straight line
    on the last step.
    """
    shape = np.broadcast_shapes(np.shape(start), np.shape(need), np.shape(clock.final))
    low = np.log(_spread(start, shape)).ravel()
    high = np.full_like(low, np.log(LONGEST))
    wanted = (np.log(_spread(need, shape)) - _ENOUGH).reshape(-1, 1)
    parts = (_spread(getattr(clock, name), shape) for name in Clock.__dataclass_fields__)
    wide = Clock(*(part.reshape(-1, 1) for part in parts))
    steps, rows = np.linspace(0.0, 1.0, _POINTS), np.arange(len(low))
    reached = np.ones(len(low), dtype=bool)
    for _ in range(_ROUNDS):
        grid = low[:, None] + (high - low)[:, None] * steps
        excess = np.log(np.maximum(wet_strength_at(wide, np.exp(grid)), 1e-12)) - wanted
        reached &= excess[:, -1] >= 0.0  # never, where the oldest of the first grid is too weak
        first = np.argmax(excess >= 0.0, axis=-1)
        before = np.maximum(first - 1, 0)
        low, high = grid[rows, before], grid[rows, first]
        short, over = excess[rows, before], excess[rows, first]
    # Straight line on the last bracket: smooth enough for slopes to be taken of it.
    share = np.where(over > short, -short / np.where(over > short, over - short, 1.0), 0.0)
    age = np.exp(low + (high - low) * np.clip(share, 0.0, 1.0)).reshape(shape)
    found = reached.reshape(shape) & (start < LONGEST)
    return np.asarray(np.where(found, np.maximum(age, start), np.inf))


def _spread(values: Array, shape: tuple[int, ...]) -> Array:
    """Return values broadcast to a shape most of them already have."""
    return values if np.shape(values) == shape else np.broadcast_to(values, shape)
