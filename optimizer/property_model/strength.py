"""Strength of the body and when it comes: set, working window, strength at an age, the age to leave the mold.

End strength is worked out on the log scale from pores of the paste, grains, blending and sulfate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

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
from optimizer.property_model.coefficients import sulfate_knee
from optimizer.property_model.microstructure import Body
from optimizer.property_model.model import Model

if TYPE_CHECKING:
    from collections.abc import Mapping

    from optimizer.property_model.microstructure import Body
    from optimizer.property_model.model import Model

Array = NDArray[np.float64]

FLEXURAL_POWER = {"gypsum": 0.737, "csa": 0.65}
"""Exponent of bending on compressive strength [-]; the factors are figures of the model.

Gypsum: fit to the 2-hour grades of GOST 125-79 (values from memory, 2 to 25 MPa). CSA: assumption; with it
and 0.55 the nine pairs of GB 20472 classes, 60/8 to 95/11 as a trade table quotes them, come out.
"""

FLEXURAL_RANGE = 40.0
"""Compressive strength above which gypsum's bending strength is not carried on [MPa]: dense dry bodies have
8 to 13 MPa (from memory)."""

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


def ln_end_strength(model: Model, body: Body, *, damp: bool = False) -> Array:
    """Return ln of the compressive strength, never dried, when all has reacted [ln MPa].

    Parameters
    ----------
    model, body
        Compiled chain and body, shape (..., mixes).
    damp
        True when the vessel will stand in damp: the blending term is one notch lower.

    Notes
    -----
    ln S = ln s(h) - b(h) phi_p + n_f ln(1 - v_heavy) + n_l ln(1 - v_light) + 4 gamma h_G h_C
    - kappa h_C knee(M) + h_G ln(1 - retarder loss). Beyond the members' own reference strength the cement
    part gains less and less: no measured paste backs it. Exponential porosity form after Ryshkewitch and
    Duckworth 1953; slope for gypsum fitted to a dental materials handbook table (from memory).
    """
    gypsum, cement = body.gypsum_share, body.csa_share
    paste = np.maximum(body.paste_porosity, model["min_paste_porosity"])
    slope = gypsum * model["b_gypsum"] + cement * model["b_csa"]
    grain = gypsum * model["filler_exponent_gypsum"] + cement * model["filler_exponent_csa"]
    mixed = gypsum * cement
    gamma = model["gamma"] + (model["gamma_damp"] if damp else 0.0)
    knee = sulfate_knee(body["sulfate"], body["yeelimite"], model["sulfate_knee"])
    value = (
        body.mean("ln_intrinsic_gypsum")
        + body.mean("ln_intrinsic_csa")
        - slope * paste
        + grain * np.log1p(-np.minimum(body["heavy"], 0.99))
        + model["light_exponent"] * np.log1p(-np.minimum(body["light"], 0.99))
        + 4.0 * gamma * mixed
        - model["kappa"] * cement * knee
        + _ln_retarded(model, body)
    )
    bend = np.log(model["strength_ceiling"])
    over = np.maximum(value - body.mean("ln_top"), 0.0)
    value = value - cement * (over - bend * np.log1p(over / bend))
    return np.asarray(np.where(body.hydrates > 1e-9, value, -np.inf))


_MOST_LOST = 0.99
"""Largest share of its strength that a draw of an overdose may take [-]: some is left of what sets at all."""


def _ln_retarded(model: Model, body: Body) -> Array:
    """Strength that gypsum loses for good beside a retarder, by its share of the hydrates [ln]."""
    return np.asarray(
        body.gypsum_share * np.log1p(-np.minimum(retarder_loss(model, body, "gypsum"), _MOST_LOST))
    )


def retarder_loss(model: Model, body: Body, kind: str) -> Array:
    """Return the share of its strength that one binder type loses beside retarders [fraction].

    In step with a small dose in % of binder, never more than the figure `most_retarder_loss`.
    """
    most = model["most_retarder_loss"]
    wanted = body[f"weaken_{kind}"] / np.maximum(body["binder"], 1e-9)
    return np.asarray(-most * np.expm1(-wanted / most))


def part_weights(model: Model, body: Body) -> tuple[Array, Array]:
    """Return the shares of the gypsum and the cement part in the blend's strength [-].

    Weighted by volume times own strength: by volume alone 5 % gypsum cement would halve a mortar's
    demold time.
    """
    paste = np.maximum(body.paste_porosity, model["min_paste_porosity"])
    logs = []
    for kind, slope in (("gypsum", model["b_gypsum"]), ("csa", model["b_csa"])):
        volume = np.maximum(body[f"{kind}_volume"], 1e-300)
        logs.append(np.log(volume) + body[f"ln_intrinsic_{kind}"] / volume - slope * paste)
    share = 1.0 / (1.0 + np.exp(np.minimum(np.maximum(logs[1] - logs[0], -500.0), 500.0)))
    share = np.where(body["gypsum_volume"] < 1e-12, 0.0, share)
    share = np.where(body["csa_volume"] < 1e-12, 1.0, share)
    return np.asarray(share), np.asarray(1.0 - share)


def dry_gain(body: Body) -> Array:
    """Return ln of dry over wet strength [-]."""
    return body.mean("ln_dry_ratio")


def flexural(model: Model, compressive: Array, gypsum_share: Array) -> Array:
    """Return flexural from compressive strength, mixed on the log by hydrate share [MPa].

    Parameters
    ----------
    model
        Compiled chain, with the factors of both binder types.
    compressive
        Compressive strength [MPa].
    gypsum_share
        Gypsum-type share of the hydrates [-].
    """
    log = np.log(np.maximum(compressive, 1e-300))
    gypsum = np.log(model["flexural_gypsum"]) + FLEXURAL_POWER["gypsum"] * np.minimum(
        log, np.log(FLEXURAL_RANGE)
    )
    cement = np.log(model["flexural_csa"]) + FLEXURAL_POWER["csa"] * log
    return np.asarray(np.exp(gypsum_share * gypsum + (1.0 - gypsum_share) * cement))


def compressive_for_flexural(
    model: Model | Mapping[str, float], wanted: Array | float, gypsum_share: Array
) -> Array:
    """Return the compressive strength at which `flexural` reaches `wanted` [MPa]; below `FLEXURAL_RANGE`.

    Examples
    --------
    >>> factors = {"flexural_gypsum": 0.772, "flexural_csa": 0.55}
    >>> [round(float(compressive_for_flexural(factors, 2.0, share)), 1) for share in (1.0, 0.0)]
    [3.6, 7.3]
    """
    factor = gypsum_share * np.log(model["flexural_gypsum"]) + (1.0 - gypsum_share) * np.log(
        model["flexural_csa"]
    )
    power = flexural_power(gypsum_share)
    return np.asarray(np.exp((np.log(wanted) - factor) / power))


def flexural_power(gypsum_share: Array | float) -> Array:
    """Return the exponent of flexural on compressive strength at a gypsum share of the hydrates [-]."""
    return np.asarray(gypsum_share * FLEXURAL_POWER["gypsum"] + (1.0 - gypsum_share) * FLEXURAL_POWER["csa"])


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
