"""The vessel in use: how hot the wall gets beside a burning candle, and what its phases bear.

Two idealisations bracket the truth. In the flux-driven one the wall takes a fixed share of the flame's
heat: conductivity leaves the outside alone and a poor conductor is hotter inside. In the pool-driven one
the wax pool has a fixed temperature: a poor conductor is cooler outside. The hotter answer counts on
each face, so an insulating filler buys no margin.

Everything that does not depend on the mix is worked out once per job (`wall_case`); after that a wall
temperature is two table look-ups. A calculated margin certifies nothing: burn one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from optimizer.properties.surface_loss import EMISSIVITY, STEFAN_BOLTZMANN, heat_flux
from optimizer.shop import EXPOSURES, Candle, Vessel

__all__ = [
    "ETTRINGITE_LIMITS",
    "FLAME_SHARE",
    "FLAME_SHARE_RANGE",
    "GYPSUM_LIMITS",
    "HARD_STOP",
    "OUTER_WALL_RULE",
    "POOL",
    "POOL_SHARE",
    "WallCase",
    "equivalent_hours",
    "flame_heat",
    "flame_share_from_burn",
    "heat_margin",
    "phase_limit",
    "wall_case",
    "wall_temperatures",
]

Array = npt.NDArray[np.float64]

FLAME_SHARE: Final = 0.20
"""Share of the flame's heat that reaches the wall [fraction]; assumption, no published figure."""

FLAME_SHARE_RANGE: Final = (0.10, 0.35)
"""5 and 95 % points of `FLAME_SHARE` [fraction]; assumption."""

POOL: Final = 75.0
"""Wax pool of the pool-driven wall [degC]; 55 to 80 by wax, from memory."""

POOL_SHARE: Final = 0.35
"""Most of the flame's heat that can hold the pool at its temperature [fraction]; assumption."""

INNER_FILM: Final = 60.0
"""Heat transfer from melted wax to the wall [W/(m2 K)]; assumption."""

GYPSUM_LIMITS: Final = dict(zip(EXPOSURES, (45.0, 52.0, 60.0), strict=True))
"""Advisory limit of gypsum by exposure [degC].

45: above 40 degC very dry air already takes crystal water (Wilkes et al. 2004, abstract read); 52: trade
rule of 125 degF, from memory; 60: powder turns to hemihydrate within weeks (Charola & Centeno 2002)."""

ETTRINGITE_LIMITS: Final = dict(zip(EXPOSURES, (50.0, 50.0, 60.0), strict=True))
"""Advisory limit of ettringite by exposure [degC]; judgement, near its equilibrium at half-damp air."""

HARD_STOP: Final = 80.0
"""Limit when neither phase is present [degC]; judgement."""

OUTER_WALL_RULE: Final = 60.0
"""Hottest outer wall of the trade rule, 140 degF [degC]; common practice, no source."""

_RAMP: Final = (0.03, 0.07)
_KELVIN: Final = 273.15
_TABLE: Final = 600


@dataclass(frozen=True, eq=False)
class WallCase:
    """Facts of vessel, candle and room that no mix changes, and what follows from them.

    Attributes
    ----------
    room : float
        Room temperature [degC].
    flame : float
        Heat released by all wicks [W].
    wall_shape : float
        Thermal resistance of the wall times its conductivity, ``ln(ro / ri) / (2 pi H)`` [1/m].
    film : float
        Resistance between wax pool and wall [K/W].
    flux_heat, flux_outer : float
        Flux-driven wall: heat through it [W] and its outside [degC]. With a burn test, the measured
        outside and the heat it loses.
    measured : bool
        True when the caster's burn test replaces the estimate.
    cap_heat, cap_outer : float
        Most heat the pool can give [W], and the outside that loses it [degC].
    outer, loss : Array
        Table of outside temperatures [degC] and the heat they lose [W], ascending.
    pool_outer, pool_conductance : Array
        Table of outside temperatures [degC] of the pool-driven wall, by the conductance from pool to
        outside that gives them [W/K], ascending.
    """

    room: float
    flame: float
    wall_shape: float
    film: float
    flux_heat: float
    flux_outer: float
    measured: bool
    cap_heat: float
    cap_outer: float
    outer: Array
    loss: Array
    pool_outer: Array
    pool_conductance: Array


def flame_heat(
    burn_rate: npt.ArrayLike, heat_of_combustion: npt.ArrayLike, wicks: npt.ArrayLike = 1
) -> Array:
    """Return the heat released by a burning candle [W].

    Parameters
    ----------
    burn_rate : array_like
        Wax burned by one wick [g/h].
    heat_of_combustion : array_like
        Net heat of the wax [kJ/g].
    wicks : array_like
        Number of wicks [-].

    References
    ----------
    Mass rate times heat; Hamins, Bundy & Dillon (2005), J. Fire Prot. Eng. 15:265-285 measured 77 W for
    a taper (abstract read).

    Examples
    --------
    >>> round(float(flame_heat(4.0, 43.0)), 2)
    47.78
    """
    return np.asarray(np.asarray(burn_rate, dtype=float) * heat_of_combustion * np.asarray(wicks) / 3.6)


def wall_case(
    vessel: Vessel, candle: Candle, flame_share: float = FLAME_SHARE, emissivity: float = EMISSIVITY
) -> WallCase:
    """Return what vessel, candle and room fix, solved once per job.

    Parameters
    ----------
    vessel : Vessel
        Geometry.
    candle : Candle
        Wicks, wax, room, and the measured outer wall if there is one.
    flame_share : float
        Share of the flame's heat that enters the wall [fraction].
    emissivity : float
        Emissivity of the outside [-].

    Notes
    -----
    The outside loses heat as in `surface_loss.heat_flux`. The table reaches the temperature at which
    radiation alone would lose the whole flame, so it needs no search for its end.

    Examples
    --------
    >>> case = wall_case(Vessel(214.0), Candle(measured_outer=55.0))
    >>> round(case.flux_outer, 1), case.measured
    (55.0, True)
    """
    area, room = vessel.outer_area, candle.room
    flame = float(flame_heat(candle.burn_rate, candle.heat_of_combustion, candle.wicks))
    radius = vessel.outer_diameter / 2.0
    film = 1e6 / (INNER_FILM * 2.0 * math.pi * (radius - vessel.wall) * vessel.height)

    def lost(temperature: Array) -> Array:
        flux = heat_flux(temperature, room, vessel.height, vessel.outer_diameter, emissivity)
        return np.asarray(area * flux)

    reach = flame / (area * emissivity * 4.0 * STEFAN_BOLTZMANN * (room + _KELVIN) ** 3)
    outer = room + reach * np.linspace(0.0, 1.0, _TABLE) ** 2
    loss = lost(outer)
    pool_outer = np.linspace(room, POOL, _TABLE, endpoint=False)
    heat = flame_share * flame
    flux_outer = float(np.interp(heat, loss, outer))
    if candle.measured_outer is not None:
        flux_outer = candle.measured_outer
        heat = float(lost(np.asarray(flux_outer)))
    return WallCase(
        room=room,
        flame=flame,
        wall_shape=1e3 * math.log(radius / (radius - vessel.wall)) / (2.0 * math.pi * vessel.height),
        film=film,
        flux_heat=heat,
        flux_outer=flux_outer,
        measured=candle.measured_outer is not None,
        cap_heat=POOL_SHARE * flame,
        cap_outer=float(np.interp(POOL_SHARE * flame, loss, outer)),
        outer=outer,
        loss=loss,
        pool_outer=pool_outer,
        pool_conductance=lost(pool_outer) / (POOL - pool_outer),
    )


def wall_temperatures(
    case: WallCase, conductivity: npt.ArrayLike, flame_share: npt.ArrayLike | None = None
) -> tuple[Array, Array]:
    """Return the outer and the inner wall temperature in use, the hotter of both idealisations [degC].

    Parameters
    ----------
    case : WallCase
        From `wall_case`.
    conductivity : array_like
        Conductivity of the body [W/(m K)].
    flame_share : array_like | None
        Share of the flame's heat that enters the wall, in place of the case's own, for draws [fraction].
        A burn test overrules it.

    Notes
    -----
    Flux-driven: ``T_i = T_o + Q ln(ro / ri) / (2 pi k H)``. Pool-driven: pool, wax film, wall and outside
    in series, the pool at `POOL` or at what `POOL_SHARE` of the flame can hold, whichever is cooler.

    Examples
    --------
    >>> case = wall_case(Vessel(214.0), Candle())
    >>> [round(float(t), 1) for t in wall_temperatures(case, 0.5)]
    [57.7, 65.7]
    """
    resistance = case.wall_shape / np.asarray(conductivity, dtype=float)
    heat, outer = _flux_driven(case, flame_share)
    inner = outer + heat * resistance
    if case.measured:
        return np.broadcast_to(outer, inner.shape), inner
    pool_outer, pool_inner = _pool_driven(case, resistance)
    return np.maximum(outer, pool_outer), np.maximum(inner, pool_inner)


def _flux_driven(case: WallCase, flame_share: npt.ArrayLike | None) -> tuple[Array, Array]:
    """Return heat [W] and outside [degC] of the wall that takes a fixed share of the flame."""
    if flame_share is None or case.measured:
        return np.asarray(case.flux_heat), np.asarray(case.flux_outer)
    heat = np.asarray(flame_share, dtype=float) * case.flame
    return heat, np.asarray(np.interp(heat, case.loss, case.outer))


def _pool_driven(case: WallCase, resistance: Array) -> tuple[Array, Array]:
    """Return outside and inside [degC] of the wall on a pool of wax."""
    conductance = 1.0 / (case.film + resistance)
    free = np.interp(conductance, case.pool_conductance, case.pool_outer)
    heat = np.minimum((POOL - free) * conductance, case.cap_heat)
    outer = np.minimum(free, case.cap_outer)
    return outer, np.asarray(outer + heat * resistance)


def flame_share_from_burn(case: WallCase, measured_outer: npt.ArrayLike) -> Array:
    """Return the share of the flame's heat that a burn test shows in the wall [fraction].

    Parameters
    ----------
    case : WallCase
        The vessel and candle of the test.
    measured_outer : array_like
        Outer wall after 3 to 4 h, by contact probe [degC].

    Notes
    -----
    In steady state the wall takes what its outside loses.

    Examples
    --------
    >>> case = wall_case(Vessel(214.0), Candle())
    >>> round(float(flame_share_from_burn(case, case.flux_outer)), 3)
    0.2
    """
    measured = np.asarray(measured_outer, dtype=float)
    return np.asarray(np.interp(measured, case.outer, case.loss) / case.flame)


def _presence(share: npt.ArrayLike) -> Array:
    """Return 0 without a phase, 1 with it, and a smooth rise from 3 to 7 % of solids [-]."""
    low, high = _RAMP
    part = np.clip((np.asarray(share, dtype=float) - low) / (high - low), 0.0, 1.0)
    return np.asarray(part**2 * (3.0 - 2.0 * part))


def phase_limit(gypsum_share: npt.ArrayLike, ettringite_share: npt.ArrayLike, exposure: str) -> Array:
    """Return the lowest temperature limit of the phases present [degC].

    Parameters
    ----------
    gypsum_share, ettringite_share : array_like
        Share of the dry solids [fraction].
    exposure : str
        One of `shop.EXPOSURES`.

    Raises
    ------
    KeyError
        If the exposure is unknown.

    Notes
    -----
    A phase counts from 5 % of the solids; between 3 and 7 % its limit comes down smoothly from
    `HARD_STOP`, so there is no step to park a blend on.

    Examples
    --------
    >>> float(phase_limit(0.6, 0.2, "repeated burns")), float(phase_limit(0.6, 0.0, "repeated burns"))
    (50.0, 52.0)
    """
    gypsum = HARD_STOP - (HARD_STOP - GYPSUM_LIMITS[exposure]) * _presence(gypsum_share)
    ettringite = HARD_STOP - (HARD_STOP - ETTRINGITE_LIMITS[exposure]) * _presence(ettringite_share)
    return np.minimum(gypsum, ettringite)


def heat_margin(limit: npt.ArrayLike, outer: npt.ArrayLike, inner: npt.ArrayLike) -> Array:
    """Return how far the hottest wall stays below the limit, negative when above it [K].

    Parameters
    ----------
    limit : array_like
        From `phase_limit` [degC].
    outer, inner : array_like
        From `wall_temperatures` [degC].

    Notes
    -----
    A negative margin means slow loss of crystal water near the flame; see `equivalent_hours`.

    Examples
    --------
    >>> float(heat_margin(52.0, 50.0, 58.5))
    -6.5
    """
    return np.asarray(np.asarray(limit, dtype=float) - np.maximum(outer, inner))


def equivalent_hours(
    hours: npt.ArrayLike, temperature: npt.ArrayLike, activation: npt.ArrayLike = 100.0
) -> Array:
    """Return the hours at 52 degC that do the same to gypsum [h].

    Parameters
    ----------
    hours : array_like
        Time at `temperature` [h].
    temperature : array_like
        Inner wall [degC].
    activation : array_like
        Activation energy [kJ/mol].

    References
    ----------
    Arrhenius; 100.5 +/- 12 kJ/mol measured at 95 to 175 degC (Strydom et al. 1995), so its use below
    60 degC is an extrapolation.

    Examples
    --------
    >>> round(float(equivalent_hours(1.0, 60.0)), 1)
    2.4
    """
    kelvin = np.asarray(temperature, dtype=float) + _KELVIN
    power = -np.asarray(activation, dtype=float) / 8.314e-3 * (1.0 / kelvin - 1.0 / (52.0 + _KELVIN))
    return np.asarray(np.asarray(hours, dtype=float) * np.exp(power))
