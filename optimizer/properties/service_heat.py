"""The vessel in use: how hot the wall gets beside a burning candle, and what its phases bear.

Two idealisations bracket the truth. In the flux-driven one the wall takes a fixed share of the flame's
heat: conductivity leaves the outside alone and a poor conductor is hotter inside. In the pool-driven one
the wax pool has a fixed temperature: a poor conductor is cooler outside. The hotter answer counts on
each face, so an insulating filler buys no margin.

Everything that does not depend on the mix is worked out once per job (`wall_case`); after that a wall
temperature is two table look-ups. A calculated margin certifies nothing: burn one.

The temperature limits of phases by exposure are advisory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import ZERO_CELSIUS
from optimizer.job import EXPOSURES, Candle, Vessel
from optimizer.properties.arrays import Values
from optimizer.properties.heat_transfer import EMISSIVITY, STEFAN_BOLTZMANN, heat_flux

INNER_FILM: Final = 60.0
"""Heat transfer from melted wax to the wall at a film factor of one [W/(m2 K)]; assumption."""

HOTTEST_POOL: Final = 130.0
"""Up to here the loss of the outside is tabulated, whatever the flame [degC]."""

_POINTS: Final = 600
_ROUNDS: Final = 2

GYPSUM_LIMITS: Final = MappingProxyType(dict(zip(EXPOSURES, (45.0, 52.0, 60.0), strict=True)))
"""Advisory limit of gypsum by exposure [degC].

45: above 40 degC very dry air already takes crystal water (Wilkes et al. 2004, abstract read); 52: trade
rule of 125 degF, from memory; 60: powder turns to hemihydrate within weeks (Charola & Centeno 2002)."""

SINGLE_HOUR: Final = 8.0
"""How much more ettringite bears for one hour than for repeated burns [K]; judgement."""

HARD_STOP: Final = 80.0
"""Limit when neither phase is present [degC]; judgement."""


_RAMP: Final = (0.0, 0.10)


@dataclass(frozen=True, eq=False)
class Burn:
    """What nobody has measured of a burn: figures of the model, each a number or draws of shape (draws, 1).

    Attributes
    ----------
    flame_share : Values
        Share of the flame's heat that enters the wall [fraction].
    pool : Values
        Temperature of the wax pool [degC].
    pool_share : Values
        Most of the flame's heat that can hold the pool at it [fraction].
    film_factor : Values
        Heat transfer from wax to wall over `INNER_FILM` [-].
    reading : Values
        Error of the caster's own reading of the outer wall, over the error that the job states [-].
    """

    flame_share: Values
    pool: Values
    pool_share: Values
    film_factor: Values = 1.0
    reading: Values = 0.0


@dataclass(frozen=True, eq=False)
class LossTable:
    """What the outside loses to the room, by its temperature, read both ways.

    Attributes
    ----------
    outer, loss, rise : NDArray
        Outside temperature [degC], ascending, heat lost there [W] and its slope [W/K].
    """

    outer: NDArray[np.float64]
    loss: NDArray[np.float64]
    rise: NDArray[np.float64]

    def heat(self, temperature: Values) -> Values:
        """Return the heat lost at an outside `temperature` [degC] [W]."""
        return np.interp(temperature, self.outer, self.loss)

    def slope(self, temperature: Values) -> Values:
        """Return how fast the loss grows at an outside `temperature` [degC] [W/K]."""
        return np.interp(temperature, self.outer, self.rise)

    def temperature(self, heat: Values) -> Values:
        """Return the outside temperature at which `heat` [W] is lost [degC]."""
        return np.interp(heat, self.loss, self.outer)


@dataclass(frozen=True, eq=False)
class WallCase:
    """Facts of vessel, candle and room that no mix changes, and what follows from them.

    Attributes
    ----------
    flame : float
        Heat released by all wicks [W].
    wall_shape : float
        Thermal resistance of the wall times its conductivity, ``ln(ro / ri) / (2 pi H)`` [1/m].
    film : float
        Resistance between wax pool and wall at a film factor of one [K/W].
    table : LossTable
        Loss of the outside to the room.
    room : float
        Temperature of the room [degC].
    measured : float | None
        Outside in the caster's burn test, which replaces the estimate [degC].
    reading_error : float
        How far that reading may be off, in nine cases of ten [K].
    """

    flame: float
    wall_shape: float
    film: float
    table: LossTable
    room: float
    measured: float | None
    reading_error: float


def flame_heat(burn_rate: Values, heat_of_combustion: Values, wicks: Values = 1) -> Values:
    """Return the heat released by a burning candle [W].

    Parameters
    ----------
    burn_rate : Values
        Wax burned by one wick [g/h].
    heat_of_combustion : Values
        Net heat of the wax [kJ/g].
    wicks : Values
        Number of wicks [count].

    References
    ----------
    Mass rate times heat; Hamins, Bundy & Dillon (2005), J. Fire Prot. Eng. 15:265-285 measured 77 W for
    a taper (abstract read).

    Examples
    --------
    >>> round(float(flame_heat(4.0, 43.0)), 2)
    47.78
    """
    return burn_rate * heat_of_combustion * wicks / 3.6


def wall_case(vessel: Vessel, candle: Candle) -> WallCase:
    """Return what vessel, candle and room fix, solved once per job.

    Parameters
    ----------
    vessel : Vessel
        Geometry.
    candle : Candle
        Wicks, wax, room, and the measured outer wall if there is one.

    Notes
    -----
    The outside loses heat as in `surface_loss.heat_flux`.

    Examples
    --------
    >>> case = wall_case(Vessel(214.0), Candle(measured_outer=55.0))
    >>> round(case.flame, 2), case.measured
    (53.75, 55.0)
    """
    flame = float(flame_heat(candle.burn_rate, candle.heat_of_combustion, candle.wicks))
    radius = vessel.outer_diameter / 2.0
    turn = 2.0 * math.pi * vessel.height * 1e-3
    return WallCase(
        flame=flame,
        wall_shape=math.log(radius / (radius - vessel.wall)) / turn,
        film=1e3 / (INNER_FILM * turn * (radius - vessel.wall)),
        table=_loss_table(vessel, candle.room, flame),
        room=candle.room,
        measured=candle.measured_outer,
        reading_error=candle.reading_error,
    )


def _loss_table(vessel: Vessel, room: float, flame: float) -> LossTable:
    """Return the loss table up to where radiation alone would lose the whole flame, or past any pool."""
    area = vessel.outer_area
    radiated = area * EMISSIVITY * 4.0 * STEFAN_BOLTZMANN * (room + ZERO_CELSIUS) ** 3
    reach = max(flame / radiated, HOTTEST_POOL - room)
    outer = room + reach * np.linspace(0.0, 1.0, _POINTS) ** 2
    loss = np.asarray(area * heat_flux(outer, room, vessel.height, vessel.outer_diameter))
    return LossTable(outer, loss, np.gradient(loss, outer))


def wall_temperatures(case: WallCase, conductivity: Values, burn: Burn) -> tuple[Values, Values]:
    """Return the outer and the inner wall temperature in use, the hotter of both idealisations [degC].

    Parameters
    ----------
    case : WallCase
        From `wall_case`.
    conductivity : Values
        Conductivity of the body [W/(m K)].
    burn : Burn
        What is not known of the burn.

    Notes
    -----
    The higher of `flux_driven` and `pool_driven` on each face. With a burn test the outside is what was read,
    within its error, and passes the heat it loses.

    Examples
    --------
    >>> case, burn = wall_case(Vessel(214.0), Candle()), Burn(0.20, 75.0, 0.35)
    >>> [round(float(t), 1) for t in wall_temperatures(case, 0.5, burn)]
    [57.7, 65.7]
    """
    if case.measured is not None:
        outer = case.measured + case.reading_error * burn.reading
        step = case.table.heat(outer) * case.wall_shape / conductivity
        return outer + np.zeros_like(step), outer + step
    outer, inner = flux_driven(case, conductivity, burn.flame_share)
    pool_outer, pool_inner = pool_driven(case, conductivity, burn)
    return np.maximum(outer, pool_outer), np.maximum(inner, pool_inner)


def flux_driven(case: WallCase, conductivity: Values, flame_share: Values) -> tuple[Values, Values]:
    """Return outer and inner temperature of a wall that takes a fixed share of the flame [degC].

    Parameters
    ----------
    case, conductivity
        See `wall_temperatures`.
    flame_share : Values
        Share of the flame's heat that enters the wall [fraction].

    Notes
    -----
    ``T_i = T_o + Q ln(ro / ri) / (2 pi k H)``.

    Examples
    --------
    >>> case = wall_case(Vessel(214.0), Candle())
    >>> [round(float(t), 1) for t in flux_driven(case, 0.5, 0.20)]
    [55.9, 63.4]
    """
    heat = flame_share * case.flame
    outer = case.table.temperature(heat)
    step = heat * case.wall_shape / conductivity
    return outer + np.zeros_like(step), outer + step


def pool_driven(case: WallCase, conductivity: Values, burn: Burn) -> tuple[Values, Values]:
    """Return outer and inner temperature of a wall on a pool of wax [degC].

    Parameters
    ----------
    case, conductivity, burn
        See `wall_temperatures`.

    Notes
    -----
    Wax film, wall and outside in series, the pool at its temperature or at what its share of the flame can
    hold, whichever is cooler. Wax is never cooler than the room it burns in.

    Examples
    --------
    >>> case, burn = wall_case(Vessel(214.0), Candle()), Burn(0.20, 75.0, 0.35)
    >>> [round(float(t), 1) for t in pool_driven(case, 0.5, burn)]
    [57.7, 65.7]
    """
    pool = np.maximum(burn.pool, case.room + 1.0)
    wall = case.wall_shape / conductivity
    resistance = case.film / burn.film_factor + wall
    outer = _outside(case, pool, resistance)
    most = burn.pool_share * case.flame
    heat = np.minimum((pool - outer) / resistance, most)
    outer = np.minimum(outer, case.table.temperature(most))
    return outer, outer + heat * wall


def _outside(case: WallCase, pool: Values, resistance: Values) -> Values:
    """Return the outside that loses what passes from the pool [degC]: Newton's steps on a convex loss."""
    chord = case.table.heat(pool) / (pool - case.room)
    outer = case.room + (pool - case.room) / (1.0 + resistance * chord)
    for _ in range(_ROUNDS):
        surplus = outer + resistance * case.table.heat(outer) - pool
        outer = outer - surplus / (1.0 + resistance * case.table.slope(outer))
    return outer


def flame_share_from_burn(case: WallCase, measured_outer: Values) -> Values:
    """Return the share of the flame's heat that a burn test shows in the wall [fraction].

    Parameters
    ----------
    case : WallCase
        The vessel and candle of the test.
    measured_outer : Values
        Outer wall after 3 to 4 h, by contact probe [degC].

    Notes
    -----
    In steady state the wall takes what its outside loses.

    Examples
    --------
    >>> case = wall_case(Vessel(214.0), Candle())
    >>> round(float(flame_share_from_burn(case, flux_driven(case, 0.5, 0.2)[0])), 3)
    0.2
    """
    return case.table.heat(measured_outer) / case.flame


def _presence(share: Values) -> Values:
    """Return 0 without a phase, 1 from 10 % of the solids, and a smooth rise between [-]."""
    low, high = _RAMP
    part = np.clip((share - low) / (high - low), 0.0, 1.0)
    return part**2 * (3.0 - 2.0 * part)


def phase_limit(
    gypsum_share: Values, ettringite_share: Values, exposure: str, ettringite_limit: Values
) -> Values:
    """Return the lowest temperature limit of the phases present [degC].

    Parameters
    ----------
    gypsum_share, ettringite_share : Values
        Share of the dry solids, room moisture left out [fraction].
    exposure : str
        One of `shop.EXPOSURES`.
    ettringite_limit : Values
        What ettringite bears in repeated or continuous burns [degC]; `SINGLE_HOUR` more for one hour.

    Raises
    ------
    KeyError
        If the exposure is unknown.

    Notes
    -----
    A phase counts fully from 10 % of the solids; below that its limit comes down smoothly from `HARD_STOP`,
    so there is no step to park a blend on. In room air of 22 degC and 40 % humidity ettringite is at
    equilibrium at 49.8 degC (own arithmetic from Cemdata18).

    Examples
    --------
    >>> [float(phase_limit(0.6, share, "repeated burns", 50.0)) for share in (0.2, 0.0)]
    [50.0, 52.0]
    """
    bears = ettringite_limit + (SINGLE_HOUR if exposure == "single hour" else 0.0)
    gypsum = HARD_STOP - (HARD_STOP - GYPSUM_LIMITS[exposure]) * _presence(gypsum_share)
    ettringite = HARD_STOP - (HARD_STOP - bears) * _presence(ettringite_share)
    return np.minimum(gypsum, ettringite)


def heat_margin(limit: Values, outer: Values, inner: Values) -> Values:
    """Return how far the hottest wall stays below the limit, negative when above it [K].

    Parameters
    ----------
    limit : Values
        From `phase_limit` [degC].
    outer, inner : Values
        From `wall_temperatures` [degC].

    Notes
    -----
    A negative margin means slow loss of crystal water near the flame.

    Examples
    --------
    >>> float(heat_margin(52.0, 50.0, 58.5))
    -6.5
    """
    return limit - np.maximum(outer, inner)
