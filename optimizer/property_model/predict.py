"""Every property of the vocabulary from the body, one function each, and all of them at once.

Each function takes a `Cast` (mix, body, clock, conditions) and returns an array of shape (..., mixes) in the
unit of `optimizer.nomenclature`. `PREDICTORS` names them; money is added by `optimizer.money`.

`Conditions` are what vessel, shop, room and candle fix before any blend is known.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import MOLAR_MASSES
from optimizer.job import Candle, Job, Shop, Vessel
from optimizer.properties.casting_heat import MoldCase, casting_peak, mold_case
from optimizer.properties.color import lightness, reflectance
from optimizer.properties.drying import DryingRoom, drying_room, drying_time, sealer_coats
from optimizer.properties.heat_transfer import body_conductivity
from optimizer.properties.hydration import (
    Hydrates,
    damp_class,
    damp_margins,
    drying_shrinkage,
    grain_restraint,
    hydrate,
    late_ettringite_potential,
    setting_expansion,
)
from optimizer.properties.service_heat import (
    Burn,
    WallCase,
    heat_margin,
    phase_limit,
    wall_case,
    wall_temperatures,
)
from optimizer.property_model.coefficients import WATER_CAPACITY
from optimizer.property_model.microstructure import Body, body_of, refilled
from optimizer.property_model.model import Model
from optimizer.property_model.parameters import mix_coordinates
from optimizer.property_model.strength import (
    DAY,
    LONGEST,
    Clock,
    clock_of,
    demold_need,
    demold_time,
    dry_gain,
    dry_strength_at,
    flexural,
    ln_wetness,
    speed,
    wet_strength_at,
)

POWDER_CAPACITY = 0.78
"""Heat capacity of dry powders [J/gK]: cement 0.75, hemihydrate 0.82, sand 0.80; handbook, from memory."""

Array = NDArray[np.float64]

_TINY = 1e-12
_MOST_COAT = 0.95
"""A coat that leaves more of the absorption than this seals nothing [fraction]."""


@dataclass(frozen=True)
class Cast:
    """Mixes cast in one set of conditions; everything a property needs, computed once.

    Attributes
    ----------
    model, conditions : Model, Conditions
        Chain and surroundings.
    mixes : Array
        Kilograms per liter, shape (mixes, n + 1).
    body : Body
        The hardened bodies.
    intended : Array
        The mixes as asked for, before any weighing error, shape (mixes, n + 1) [kg/L].
    """

    model: Model
    conditions: Conditions
    mixes: Array
    body: Body
    intended: Array

    @cached_property
    def coordinates(self) -> Array:
        """Coordinates of the discrepancy, shape (mixes, n + 1) [-]."""
        return mix_coordinates(self.intended)

    def departure(self, name: str) -> Array:
        """Return what the laws lack of one of `property_model.discrepancy.DISCREPANT`, on its scale."""
        return self.model.departure(name, self.coordinates)

    @cached_property
    def mix_temperature(self) -> Array:
        """Powder and water just mixed, by the heat they hold [degC]."""
        room, water = self.conditions.temperature, self.conditions.shop.water_temperature
        held = WATER_CAPACITY * self.body["water"]
        share = held / np.maximum(held + POWDER_CAPACITY * self.body["powder"], _TINY)
        return np.asarray(room + share * (0.0 if water is None else water - room))

    @cached_property
    def clock(self) -> Clock:
        """Set at the temperature of the mix, gain at the shop's.

        A thin casting soon has the temperature of its room, so that warm water hastens the set and not the
        strength of the hours after.
        """
        conditions, later = self.conditions, np.exp(self.departure("set"))
        law = clock_of(
            self.model, self.body, temperature=conditions.temperature, damp=conditions.shop.damp_service
        )
        if conditions.shop.water_temperature is not None:
            warm, room = (speed(self.model, each) for each in (self.mix_temperature, conditions.temperature))
            later = later * np.exp(-self.body.csa_share * np.log(warm / room))
        return replace(law, initial=law.initial * later, final=law.final * later)

    @cached_property
    def liters(self) -> float:
        """Slurry in one vessel [L]."""
        return self.conditions.vessel.cavity_volume * 1e-3

    @cached_property
    def fresh_density(self) -> Array:
        """Wet density [g/cm3]."""
        return np.asarray(self.body["powder"] + self.body["water"])

    @cached_property
    def free_water(self) -> Array:
        """Water that binds to nothing [g/cm3]."""
        return np.maximum(self.body["water"] - self.body["bound"], 0.0)

    @cached_property
    def mold_loss(self) -> Array:
        """Water lost in the mold, never more than is free [g/cm3]."""
        return soft_minimum(self.model["loss_in_mold"] * self.fresh_density, self.free_water)

    @cached_property
    def dry_density(self) -> Array:
        """Density at constant mass, the moisture of a room included, no more than is left [g/cm3]."""
        left = np.maximum(self.free_water - self.mold_loss, 0.0)
        return np.asarray(self.body["dry"] + soft_minimum(self.body["moisture"], left))

    @cached_property
    def absorption(self) -> Array:
        """Water taken up by mass [fraction]."""
        share = self.body.gypsum_share
        opened = share * self.model["open_pores_gypsum"] + (1.0 - share) * self.model["open_pores_csa"]
        law = self.body.porosity * opened / np.maximum(self.dry_density, _TINY)
        return np.asarray(law * np.exp(self.departure("absorption")))

    @cached_property
    def dry_strength(self) -> Array:
        """Compressive strength at constant mass [MPa]."""
        damp = self.conditions.shop.damp_cure + DAY * self.model["csa_gain_after_cure"]
        ln_ratio = dry_gain(self.body) + self.departure("strength")
        return dry_strength_at(self.clock, ln_ratio, damp)

    @cached_property
    def conductivity(self) -> Array:
        """Conductivity of the dry wall [W/mK]."""
        body = self.body
        solid = np.exp(
            body.gypsum_share * np.log(self.model["solid_conductivity_gypsum"])
            + body.csa_share * np.log(self.model["solid_conductivity_csa"])
        )
        heavy, light = body["heavy"], body["light"]
        conducted = body_conductivity(
            np.clip(body.paste_porosity, 0.0, 0.99),
            solid,
            heavy,
            np.exp(body["heavy_conduct"] / np.maximum(heavy, _TINY)),
            light,
            np.exp(body["light_conduct"] / np.maximum(light, _TINY)),
            self.model["conductivity_weight"],
        )
        return np.asarray(conducted)

    @cached_property
    def walls(self) -> tuple[Array, Array]:
        """Outer and inner wall in use [degC]."""
        if self.conditions.wall is None:
            unknown = np.full(self.conductivity.shape, np.nan)
            return unknown, unknown
        outer, inner = wall_temperatures(self.conditions.wall, self.conductivity, burn_of(self.model))
        hotter = self.departure("heat")
        return np.asarray(outer + hotter), np.asarray(inner + hotter)

    @cached_property
    def heat_limit(self) -> Array:
        """Temperature that the phases of the body bear [degC]."""
        solids = np.maximum(self.body["dry"], _TINY)
        gypsum, ettringite = self.body["gypsum_mass"] / solids, self.body["ettringite_mass"] / solids
        exposure = "repeated burns" if self.conditions.candle is None else self.conditions.candle.exposure
        bears = self.model["ettringite_limit"]
        return np.asarray(phase_limit(gypsum, ettringite, exposure, bears))

    @cached_property
    def demold_need(self) -> Array:
        """Compressive strength needed at demolding [MPa]."""
        return demold_need(self.model, self.body.gypsum_share, self.conditions.vessel.wall)


def burn_of(model: Model) -> Burn:
    """Return what the model does not know of a burn."""
    return Burn(
        model["flame_share"],
        model["pool_temperature"],
        model["pool_share"],
        model["film_factor"],
        model["burn_reading"],
    )


def cast_of(model: Model, conditions: Conditions, mixes: Array, intended: Array | None = None) -> Cast:
    """Return the casts of `mixes`, shape (mixes, n + 1) [kg/L], see `microstructure.per_liter`.

    With draws in the model the weighed masses stay in proportion and fill the liter in every draw. `intended`
    are the mixes as asked for, where `mixes`, of shape (draws, mixes, n + 1), carry errors of weighing.
    """
    asked = mixes if intended is None else intended
    if model.drawn:
        mixes = refilled(model, mixes)
    return Cast(model, conditions, mixes, body_of(model, mixes), asked)


def soft_minimum(first: Array, second: Array) -> Array:
    """Return a smooth lesser of two amounts, none negative, that stays below both [their unit].

    Examples
    --------
    >>> [round(float(soft_minimum(np.array(1.0), np.array(x))), 3) for x in (0.0, 0.5, 1.0, 4.0)]
    [0.0, 0.492, 0.841, 0.999]
    """
    top = np.maximum(np.maximum(first, second), _TINY)
    low = np.minimum(first, second)
    return np.asarray(low / (1.0 + (low / top) ** 4) ** 0.25)


def _vessel_mass(density: Array, cast: Cast) -> Array:
    return np.asarray(density * cast.conditions.vessel.cavity_volume * cast.model["cavity"])


def _demolded_mass(cast: Cast) -> Array:
    kept = _vessel_mass(cast.fresh_density - cast.mold_loss, cast)
    return np.asarray(kept * np.exp(cast.departure("mass")))


def _dry_mass(cast: Cast) -> Array:
    return np.asarray(_vessel_mass(cast.dry_density, cast) * np.exp(cast.departure("mass")))


def _wet_strength(cast: Cast) -> Array:
    return np.asarray(wet_strength_at(cast.clock, DAY) * np.exp(cast.departure("strength")))


def _flexural_strength(cast: Cast) -> Array:
    return flexural(cast.model, cast.dry_strength, cast.body.gypsum_share)


def window_of(initial: Array, mixing: float) -> Array:
    """Return what `mixing` [min] leaves of the time to `initial` set [min]; infinity when it never sets."""
    return np.asarray(np.where(initial < LONGEST, np.maximum(initial - mixing, 0.0), np.inf))


def _working_window(cast: Cast) -> Array:
    return window_of(cast.clock.initial, cast.conditions.shop.mixing)


def _demold_time(cast: Cast) -> Array:
    later = np.exp(cast.departure("demold_time"))
    return demold_time(cast.clock, cast.demold_need, cast.conditions.shop.demold_floor, later)


def _drying_time(cast: Cast) -> Array:
    body = cast.body
    resistance = np.exp(
        body.gypsum_share * np.log(cast.model["vapor_resistance_gypsum"])
        + body.csa_share * np.log(cast.model["vapor_resistance_csa"])
    )
    free, damp = 1e3 * cast.free_water, cast.conditions.shop.damp_cure / DAY * body.csa_share
    days = drying_time(cast.conditions.room, free, cast.conditions.vessel.wall, resistance)
    return np.asarray(damp + days * slower_inside(cast.model["inner_face"]))


def slower_inside(inner: Array) -> Array:
    """Return how much longer a cup dries than a wall with two open faces [-].

    Parameters
    ----------
    inner
        What the inner face loses over what the outer one does [fraction].
    """
    return np.asarray(2.0 / (1.0 + inner))


def _whiteness(cast: Cast) -> Array:
    ratio = cast.body["absorb"] / np.maximum(cast.body["scatter"], _TINY)
    return np.asarray(np.clip(lightness(reflectance(ratio)) + cast.departure("whiteness"), 0.0, 100.0))


def setting_heat(cast: Cast, clock: Clock) -> tuple[Array, ...]:
    """Return what `optimizer.properties.casting_heat.casting_peak` takes beside the mold, in its order."""
    body = cast.body
    # a retarder slows both heats; beyond e^10 there is none within the year
    held = np.exp(np.minimum(body["retard_csa"] / np.maximum(body["binder"], _TINY), 10.0))
    return (
        np.asarray(1e-3 * body["heat_gypsum"]),
        np.asarray(1e-3 * np.maximum(body["heat_csa"], 0.0)),
        np.asarray(np.minimum(clock.initial, LONGEST)),
        np.asarray(np.minimum(clock.final, LONGEST)),
        np.asarray(1e-3 * body["capacity"]),
        np.asarray(cast.model["csa_heat_half_time"] * held),
    )


def _casting_peak(cast: Cast) -> Array:
    peak, _ = casting_peak(cast.conditions.mold, *setting_heat(cast, cast.clock))
    warmer = np.maximum(cast.mix_temperature - cast.conditions.temperature, 0.0)
    return np.asarray(peak + warmer)  # what a warm mix loses before its peak is not counted in its favor


def _heat_margin(cast: Cast) -> Array:
    return np.asarray(heat_margin(cast.heat_limit, *cast.walls))


def coat_factor_of(cast: Cast) -> Array:
    """Return what one coat leaves of the absorption [fraction]."""
    return np.asarray(np.minimum(cast.conditions.shop.coat_factor * cast.model["coat_error"], _MOST_COAT))


def _sealer_coats(cast: Cast) -> Array:
    # A mix held at an edge to a solver tolerance belongs to that edge, not to one coat more.
    edged = cast.absorption * (1.0 - 1e-5)
    return np.asarray(sealer_coats(edged, cast.conditions.shop.target_absorption, coat_factor_of(cast)))


def _crystalline_silica(cast: Cast) -> Array:
    return np.asarray(cast.body["silica"] / np.maximum(cast.body["powder"], _TINY))


def _embodied_co2(cast: Cast) -> Array:
    return _vessel_mass(cast.body["co2"], cast)


def _restraint(cast: Cast) -> Array:
    return np.asarray(grain_restraint(np.minimum(cast.body["heavy"], 0.99), cast.model["grain_restraint"]))


def _setting_expansion(cast: Cast) -> Array:
    model, body = cast.model, cast.body
    gypsum = model["expansion_gypsum"] * np.exp(-model["expansion_water"] * ln_wetness(body))
    cement, together = model["expansion_csa"], model["expansion_together"]
    return np.asarray(setting_expansion(body.gypsum_share, gypsum, cement, together, _restraint(cast)))


def _drying_shrinkage(cast: Cast) -> Array:
    model, body = cast.model, cast.body
    gypsum, cement = model["shrinkage_gypsum"], model["shrinkage_csa"]
    return np.asarray(drying_shrinkage(body.gypsum_share, gypsum, cement, _restraint(cast)))


def _damp_risk(cast: Cast) -> Array:
    hydrates = _hydrates(cast)
    potential = late_ettringite_potential(hydrates, 1.0)
    return np.asarray(damp_class(hydrates, potential, cast.body.porosity), float)


def damp_margins_of(cast: Cast) -> tuple[Array, Array]:
    """Return how far mixes are from damp risk medium and from high, as `damp_margins` does [-]."""
    hydrates = _hydrates(cast)
    return damp_margins(hydrates, late_ettringite_potential(hydrates, 1.0), cast.body.porosity)


def _hydrates(cast: Cast) -> Hydrates:
    body = cast.body
    own_water, degree = 1.5 * MOLAR_MASSES["water"] * 1e-3, cast.model["yeelimite_degree"]
    hemihydrate = body["hemihydrate_water"] / own_water
    anhydrite = np.maximum(body["sulfate"] - hemihydrate, 0.0) / degree  # the sums hold what reacts
    return hydrate(
        body["yeelimite"] / degree * MOLAR_MASSES["yeelimite"] * 1e-3,
        hemihydrate * MOLAR_MASSES["hemihydrate"] * 1e-3,
        anhydrite * MOLAR_MASSES["anhydrite"] * 1e-3,
        0.0,
        0.0,
        body["water"],
        degree,
    )


PREDICTORS: Final[Mapping[str, Callable[[Cast], Array]]] = {
    "fresh_density": lambda cast: cast.fresh_density,
    "demolded_mass": _demolded_mass,
    "dry_mass": _dry_mass,
    "porosity": lambda cast: cast.body.porosity,
    "absorption": lambda cast: cast.absorption,
    "wet_strength": _wet_strength,
    "dry_strength": lambda cast: cast.dry_strength,
    "flexural_strength": _flexural_strength,
    "working_window": _working_window,
    "demold_time": _demold_time,
    "drying_time": _drying_time,
    "whiteness": _whiteness,
    "casting_peak": _casting_peak,
    "outer_wall_temperature": lambda cast: cast.walls[0],
    "inner_wall_temperature": lambda cast: cast.walls[1],
    "heat_margin": _heat_margin,
    "sealer_coats": _sealer_coats,
    "crystalline_silica": _crystalline_silica,
    "embodied_co2": _embodied_co2,
    "setting_expansion": _setting_expansion,
    "drying_shrinkage": _drying_shrinkage,
    "damp_risk": _damp_risk,
}


def predict(cast: Cast, names: Iterable[str] = tuple(PREDICTORS)) -> dict[str, Array]:
    """Return the properties `names` of the casts, each of shape (..., mixes)."""
    return {name: PREDICTORS[name](cast) for name in names}


@dataclass(frozen=True)
class Conditions:
    """The surroundings of a job.

    Attributes
    ----------
    vessel, shop, candle : Vessel, Shop, Candle | None
        As stated.
    wall : WallCase | None
        The burning candle's facts; None without a candle.
    mold : MoldCase
        Mold that takes the setting heat.
    room : DryingRoom
        Air that dries the castings.
    temperature : float | Array
        Room, powders and water on the day of casting, one for all casts or of shape (draws, 1) [degC].
    """

    vessel: Vessel
    shop: Shop
    candle: Candle | None
    wall: WallCase | None
    mold: MoldCase
    room: DryingRoom
    temperature: float | NDArray[np.float64]

    def at(self, temperature: NDArray[np.float64]) -> Conditions:
        """Return the conditions in a room of other temperatures, shape (draws, 1), 1 to 60 [degC]."""
        return replace(
            self,
            temperature=temperature,
            mold=replace(self.mold, room=temperature),
            room=drying_room(temperature, self.shop.humidity),
        )


def conditions_of(job: Job) -> Conditions:
    """Return the conditions of a job: what vessel, shop and candle fix, and nothing that is uncertain."""
    burned = job.candle
    wall = None if burned is None else wall_case(job.vessel, burned)
    room = drying_room(job.shop.temperature, job.shop.humidity)
    mold = mold_case(job.vessel, job.shop)
    return Conditions(job.vessel, job.shop, job.candle, wall, mold, room, job.shop.temperature)
