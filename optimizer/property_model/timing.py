"""Set, working window, strength at an age, and the age at which a vessel may leave the mold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.properties.maturity import (
    LEAST_SPAN,
    SET_STRENGTH,
    arrhenius_rate,
    avrami_parameters,
    avrami_time,
    gypsum_gain,
    hyperbolic_gain,
    late_pace,
)
from optimizer.property_model.microstructure import Body
from optimizer.property_model.model import Model
from optimizer.property_model.strength import (
    compressive_for_flexural,
    ln_end_strength,
    part_weights,
    retarder_loss,
)

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

_HALVINGS = 30
_LN_LONGEST = float(np.log(LONGEST))
_TINY = 1e-12
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
    final = np.maximum(final, LEAST_SPAN * initial)
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
    fingers (`tests/property_model/pinched_cup.py`).
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
    Exact where no retarder holds the cement. Where one does, its hold is that of the age looked for, which
    halving finds: the later an age, the less is held, and the less is held, the earlier the age.
    """
    wanted = np.exp(np.minimum(np.log(need) - _ENOUGH - clock.ln_end, 1.0))
    age = _age_of_gain(clock, wanted, clock.csa_weight)
    if np.any(clock.csa_held > 0.0):
        age = np.where(clock.csa_held > 0.0, _age_when_held(clock, wanted, age), age)
    return np.asarray(np.where((age < LONGEST) & (start < LONGEST), np.maximum(age, start), np.inf))


def _age_when_held(clock: Clock, wanted: Array, free: Array) -> Array:
    """Return the age at which a share `wanted` is reached beside a retarder, `free` without [min]."""
    low, high = np.minimum(np.log(np.maximum(free, 1e-3)), _LN_LONGEST), np.full_like(free, _LN_LONGEST)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        freed = 1.0 - clock.csa_held * np.exp(-np.exp(middle) / RETARDER_FADES)
        later = _age_of_gain(clock, wanted, clock.csa_weight * freed) > np.exp(middle)
        low, high = np.where(later, middle, low), np.where(later, high, middle)
    return np.asarray(np.where(high < _LN_LONGEST, np.exp(high), np.inf))


def _age_of_gain(clock: Clock, wanted: Array, cement: Array) -> Array:
    """Return the age at which a share `wanted` of the end strength is reached [min], see `gain_at`.

    Up to the final set gypsum alone gains; from there both gain by hyperbolas, and the age is the root of a
    quadratic. `cement` is the cement part's weight, less what a retarder holds of it.
    """
    gypsum, at_set = clock.gypsum_weight, clock.gypsum_weight * SET_STRENGTH
    degree = np.cbrt(np.minimum(wanted, at_set) / np.maximum(gypsum, _TINY))
    young = avrami_time(degree, *avrami_parameters(clock.initial, clock.final))
    left, pace = wanted - at_set, late_pace(clock.end) / clock.final
    late = gypsum - at_set
    curve = pace * clock.rate * (late + cement - left)
    slope = late * pace + cement * clock.rate - left * (pace + clock.rate)
    root = np.sqrt(np.maximum(slope**2 + 4.0 * curve * left, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        past = np.where(slope > 0.0, 2.0 * left / (slope + root), (root - slope) / (2.0 * curve))
    after = np.where(curve > 0.0, clock.final + past, np.inf)
    return np.asarray(np.where(left <= 0.0, young, after))
