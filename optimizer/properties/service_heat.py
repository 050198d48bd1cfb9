"""The vessel in use: how hot the wall gets beside a burning candle.

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
from numpy.typing import NDArray

from optimizer.constants import ZERO_CELSIUS
from optimizer.properties.arrays import Values
from optimizer.properties.surface_loss import EMISSIVITY, STEFAN_BOLTZMANN, heat_flux
from optimizer.shop import Candle, Vessel

__all__ = [
    "FLAME_SHARE",
    "POOL",
    "POOL_SHARE",
    "LossTable",
    "WallCase",
    "flame_heat",
    "flame_share_from_burn",
    "flux_driven",
    "pool_driven",
    "wall_case",
    "wall_temperatures",
]

FLAME_SHARE: Final = 0.20
"""Share of the flame's heat that reaches the wall [fraction]; assumption, no published figure."""


POOL: Final = 75.0
"""Wax pool of the pool-driven wall [degC]; 55 to 80 by wax, from memory."""

POOL_SHARE: Final = 0.35
"""Most of the flame's heat that can hold the pool at its temperature [fraction]; assumption."""

INNER_FILM: Final = 60.0
"""Heat transfer from melted wax to the wall [W/(m2 K)]; assumption."""

_POINTS: Final = 600


@dataclass(frozen=True, eq=False)
class LossTable:
    """What the outside loses to the room, by its temperature, read both ways.

    Attributes
    ----------
    outer, loss : NDArray
        Outside temperature [degC] and heat lost [W], ascending.
    """

    outer: NDArray[np.float64]
    loss: NDArray[np.float64]

    def heat(self, temperature: Values) -> Values:
        """Return the heat lost at an outside `temperature` [degC] [W]."""
        return np.interp(temperature, self.outer, self.loss)

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
        Resistance between wax pool and wall [K/W].
    table : LossTable
        Loss of the outside to the room.
    flux_heat, flux_outer : float
        Flux-driven wall: heat through it [W] and its outside [degC]. With a burn test, the measured
        outside and the heat it loses.
    measured : bool
        True when the caster's burn test replaces the estimate.
    pool : float
        Temperature of the wax pool [degC].
    cap_heat, cap_outer : float
        Most heat the pool can give [W], and the outside that loses it [degC].
    pool_outer, pool_conductance : NDArray
        Outside of the pool-driven wall [degC] by the conductance from pool to outside [W/K], ascending.
    """

    flame: float
    wall_shape: float
    film: float
    table: LossTable
    flux_heat: float
    flux_outer: float
    measured: bool
    pool: float
    cap_heat: float
    cap_outer: float
    pool_outer: NDArray[np.float64]
    pool_conductance: NDArray[np.float64]


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


def wall_case(
    vessel: Vessel,
    candle: Candle,
    flame_share: float = FLAME_SHARE,
    emissivity: float = EMISSIVITY,
    *,
    pool: float = POOL,
    pool_share: float = POOL_SHARE,
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
    pool : float
        Temperature of the wax pool [degC].
    pool_share : float
        Most of the flame's heat that can hold the pool at it [fraction].

    Notes
    -----
    The outside loses heat as in `surface_loss.heat_flux`.

    Examples
    --------
    >>> case = wall_case(Vessel(214.0), Candle(measured_outer=55.0))
    >>> round(case.flux_outer, 1), case.measured
    (55.0, True)
    """
    pool = max(pool, candle.room + 1.0)  # wax is never cooler than the room it burns in
    flame = float(flame_heat(candle.burn_rate, candle.heat_of_combustion, candle.wicks))
    table = _loss_table(vessel, candle.room, (flame, pool), emissivity)
    radius = vessel.outer_diameter / 2.0
    turn = 2.0 * math.pi * vessel.height * 1e-3
    pool_outer = np.linspace(candle.room, pool, _POINTS, endpoint=False)
    measured = candle.measured_outer
    heat = flame_share * flame if measured is None else float(table.heat(measured))
    return WallCase(
        flame=flame,
        wall_shape=math.log(radius / (radius - vessel.wall)) / turn,
        film=1e3 / (INNER_FILM * turn * (radius - vessel.wall)),
        table=table,
        flux_heat=heat,
        flux_outer=float(table.temperature(heat)) if measured is None else measured,
        measured=measured is not None,
        pool=pool,
        cap_heat=pool_share * flame,
        cap_outer=float(table.temperature(pool_share * flame)),
        pool_outer=pool_outer,
        pool_conductance=np.asarray(table.heat(pool_outer) / (pool - pool_outer)),
    )


def _loss_table(vessel: Vessel, room: float, source: tuple[float, float], emissivity: float) -> LossTable:
    """Return the loss table up to where radiation alone would lose the whole flame, or past the pool."""
    area, (flame, pool) = vessel.outer_area, source
    radiated = area * emissivity * 4.0 * STEFAN_BOLTZMANN * (room + ZERO_CELSIUS) ** 3
    reach = max(flame / radiated, pool - room)
    outer = room + reach * np.linspace(0.0, 1.0, _POINTS) ** 2
    flux = heat_flux(outer, room, vessel.height, vessel.outer_diameter, emissivity)
    return LossTable(outer, np.asarray(area * flux))


def wall_temperatures(
    case: WallCase, conductivity: Values, flame_share: Values | None = None
) -> tuple[Values, Values]:
    """Return the outer and the inner wall temperature in use, the hotter of both idealisations [degC].

    Parameters
    ----------
    case : WallCase
        From `wall_case`.
    conductivity : Values
        Conductivity of the body [W/(m K)].
    flame_share : Values | None
        Share of the flame's heat that enters the wall, in place of the case's own, for draws [fraction].
        A burn test overrules it.

    Notes
    -----
    The higher of `flux_driven` and `pool_driven` on each face; with a burn test the first alone.

    Examples
    --------
    >>> case = wall_case(Vessel(214.0), Candle())
    >>> [round(float(t), 1) for t in wall_temperatures(case, 0.5)]
    [57.7, 65.7]
    """
    outer, inner = flux_driven(case, conductivity, flame_share)
    if case.measured:
        return outer, inner
    pool_outer, pool_inner = pool_driven(case, conductivity)
    return np.maximum(outer, pool_outer), np.maximum(inner, pool_inner)


def flux_driven(
    case: WallCase, conductivity: Values, flame_share: Values | None = None
) -> tuple[Values, Values]:
    """Return outer and inner temperature of a wall that takes a fixed heat [degC].

    Parameters
    ----------
    case, conductivity, flame_share
        See `wall_temperatures`.

    Notes
    -----
    ``T_i = T_o + Q ln(ro / ri) / (2 pi k H)``.

    Examples
    --------
    >>> case = wall_case(Vessel(214.0), Candle())
    >>> [round(float(t), 1) for t in flux_driven(case, 0.5)]
    [55.9, 63.4]
    """
    heat: Values = case.flux_heat
    face: Values = case.flux_outer
    if flame_share is not None and not case.measured:
        heat = flame_share * case.flame
        face = case.table.temperature(heat)
    step = heat * case.wall_shape / conductivity
    return face + np.zeros_like(step), face + step


def pool_driven(case: WallCase, conductivity: Values) -> tuple[Values, Values]:
    """Return outer and inner temperature of a wall on a pool of wax [degC].

    Parameters
    ----------
    case, conductivity
        See `wall_temperatures`.

    Notes
    -----
    Wax film, wall and outside in series, the pool at its temperature or at what its share of the flame can
    hold, whichever is cooler.

    Examples
    --------
    >>> case = wall_case(Vessel(214.0), Candle())
    >>> [round(float(t), 1) for t in pool_driven(case, 0.5)]
    [57.7, 65.7]
    """
    resistance = case.wall_shape / conductivity
    conductance = 1.0 / (case.film + resistance)
    free = np.interp(conductance, case.pool_conductance, case.pool_outer)
    heat = np.minimum((case.pool - free) * conductance, case.cap_heat)
    outer = np.minimum(free, case.cap_outer)
    return outer, outer + heat * resistance


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
    >>> round(float(flame_share_from_burn(case, case.flux_outer)), 3)
    0.2
    """
    return case.table.heat(measured_outer) / case.flame
