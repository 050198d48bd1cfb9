"""How long a demolded wall takes to constant mass in one room, and the coats of sealer it then needs.

Two stages, both faces open: a constant-rate stage while free water reaches the surface, then a
drying front that draws back into the wall. What depends on the room alone is worked out once
(`DryingRoom`); what depends on the mix is then a few multiplications.

Coats are a step function of absorption. `coat_edges` gives the absorption at which each step lies, so
that a solver can hold an edge as a limit instead of meeting the step.

Notes
-----
No published law relates coats to absorption. The form used, a fixed share left by each coat and a floor
that no number of coats gets below, is an assumption; one sandstone study found that two or three coats
differ little while curing time matters more (Appl. Sci. 2024, 14:4541, abstract read).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.constants import GAS_CONSTANT, MOLAR_MASSES, ZERO_CELSIUS
from optimizer.errors import QuantityError
from optimizer.properties.arrays import TINY, Values

FRONT_SHARE: Final = 0.75
"""Part of the full front stage that counts: between the half and the whole that bound it (judgement)."""

DAMPEST_ROOM: Final = 0.95
"""Relative humidity above which a casting is not said to dry at all [fraction] (judgement)."""

_SECONDS_PER_DAY: Final = 86_400.0
_PRESSURE: Final = 101_325.0
_VAPOR_GAS_CONSTANT: Final = 1000.0 * GAS_CONSTANT / MOLAR_MASSES["water"]
_AIR_FILM: Final = 1.2 * 1006.0 * 0.89
"""Air density, heat capacity and Lewis factor at room conditions [J/(m3 K)] (from memory)."""

_CRITICAL_TEMPERATURE: Final = 647.096
_CRITICAL_PRESSURE: Final = 22.064e6
_SATURATION: Final = (
    (1.0, -7.85951783),
    (1.5, 1.84408259),
    (3.0, -11.7866497),
    (3.5, 22.6807411),
    (4.0, -15.9618719),
    (7.5, 1.80122502),
)

FILM_FACTOR: Final = 0.45
"""Share of the absorption that one coat of a film-forming or wax sealer leaves [-], assumption."""

FLOOR_SHARE: Final = 0.02
"""Share of the bare absorption that no number of coats gets below [-], assumption."""

_EDGE_SLACK: Final = 1e-9


@dataclass(frozen=True)
class DryingRoom:
    """What one room does to any wall.

    Attributes
    ----------
    wet_bulb : Values
        Temperature of a wet face [degC].
    constant_rate : Values
        Water lost by a wet face [kg/(m2 d)].
    front_rate : Values
        Vapor diffusing through still air over the room's dryness, per meter of path [kg/(m d)].
    """

    wet_bulb: Values
    constant_rate: Values
    front_rate: Values


def saturation_pressure(temperature: Values) -> Values:
    """Return the vapor pressure over water.

    Parameters
    ----------
    temperature : Values
        Temperature, 0 to 370 [degC].

    Returns
    -------
    Values
        Pressure [Pa].

    References
    ----------
    Wagner and Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783; IAPWS SR1-86(1992) (from memory).

    Examples
    --------
    >>> round(float(saturation_pressure(20.0)))
    2339
    """
    kelvin = temperature + ZERO_CELSIUS
    gap = 1.0 - kelvin / _CRITICAL_TEMPERATURE
    series = sum(factor * gap**power for power, factor in _SATURATION)
    return _CRITICAL_PRESSURE * np.exp(_CRITICAL_TEMPERATURE / kelvin * series)


def vapor_density(temperature: Values, humidity: Values = 1.0) -> Values:
    """Return the water vapor in air.

    Parameters
    ----------
    temperature : Values
        Temperature [degC].
    humidity : Values
        Relative humidity [fraction].

    Returns
    -------
    Values
        Vapor [kg/m3].

    Examples
    --------
    >>> round(float(vapor_density(20.0)), 4)
    0.0173
    """
    pressure = humidity * saturation_pressure(temperature)
    return pressure / (_VAPOR_GAS_CONSTANT * (temperature + ZERO_CELSIUS))


def wet_bulb(temperature: Values, humidity: float) -> Values:
    """Return the temperature of a wet, ventilated face.

    Parameters
    ----------
    temperature : Values
        Air [degC].
    humidity : float
        Relative humidity [fraction].

    Returns
    -------
    Values
        Wet-bulb temperature [degC].

    References
    ----------
    Psychrometer equation of WMO guide No. 8, annex 4.B (from memory), solved by bisection.

    Examples
    --------
    >>> round(float(wet_bulb(20.0, 0.5)), 1)
    13.8
    """
    vapor = humidity * saturation_pressure(temperature)
    low, high = np.zeros(np.shape(temperature)), np.asarray(temperature, float)
    for _ in range(40):
        middle = 0.5 * (low + high)
        factor = 6.53e-4 * (1.0 + 9.44e-4 * middle) * _PRESSURE
        above = saturation_pressure(middle) - factor * (temperature - middle) > vapor
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return np.asarray(0.5 * (low + high))


def drying_room(temperature: Values, humidity: float, film: float = 4.0) -> DryingRoom:
    """Return what a room does to any wall drying in it.

    Parameters
    ----------
    temperature : Values
        Air, 1 to 60 [degC].
    humidity : float
        Relative humidity, at most 0.95 [fraction].
    film : float
        Heat transfer of the air at the faces [W/(m2 K)]: 4 still air, 12 a fan (judgement).

    Returns
    -------
    DryingRoom
        Rates that `drying_time` takes.

    Raises
    ------
    QuantityError
        If the room is too damp to dry anything, or its air is out of range.

    Notes
    -----
    The mass transfer of the faces follows from the heat transfer by the Lewis relation. Vapor
    diffusivity of air: Massman, Atmos. Environ. 32 (1998) 1111 (from memory).

    Examples
    --------
    >>> room = drying_room(20.0, 0.5)
    >>> round(room.constant_rate * 1000.0 / 24.0)
    44
    """
    if not 0.0 <= humidity <= DAMPEST_ROOM:
        raise QuantityError(
            humidity, f"a humidity from 0 to {DAMPEST_ROOM}", "Dry castings in a less humid room."
        )
    if not np.all((np.asarray(temperature) >= 1.0) & (np.asarray(temperature) <= 60.0)) or film <= 0.0:
        raise QuantityError(temperature, "room air from 1 to 60 degC", "State the air castings dry in.")
    wet = wet_bulb(temperature, humidity)
    outside = vapor_density(temperature, humidity)
    diffusivity = 2.178e-5 * ((temperature + ZERO_CELSIUS) / ZERO_CELSIUS) ** 1.81
    return DryingRoom(
        wet_bulb=wet,
        constant_rate=_SECONDS_PER_DAY * film / _AIR_FILM * (vapor_density(wet) - outside),
        front_rate=_SECONDS_PER_DAY * diffusivity * (vapor_density(temperature) - outside),
    )


def drying_time(
    room: DryingRoom,
    free_water: Values,
    wall: Values,
    resistance: Values,
    damp_days: Values = 0.0,
) -> Values:
    """Return the time from demolding to constant mass.

    Parameters
    ----------
    room : DryingRoom
        Where the casting stands.
    free_water : Values
        Water to lose [kg per m3 of body, 1000 times kg per liter].
    wall : Values
        Wall thickness, both faces open [mm].
    resistance : Values
        Vapor resistance number of the body against still air [-].
    damp_days : Values
        Time kept damp first [d].

    Returns
    -------
    Values
        Drying time [d].

    Notes
    -----
    Constant-rate stage plus `FRONT_SHARE` of the receding-front stage, which starts from a wall full
    of water and so bounds the true one from above.

    Examples
    --------
    >>> round(float(24.0 * drying_time(drying_room(20.0, 0.5), 229.6, 10.0, 10.0)))
    54
    """
    half = 0.5e-3 * np.asarray(wall)
    water = np.maximum(free_water, 0.0)
    constant = water * half / room.constant_rate
    front = water * half**2 * resistance / (2.0 * room.front_rate)
    return damp_days + constant + FRONT_SHARE * front


def sealer_coats(absorption: Values, target: Values, factor: Values = FILM_FACTOR) -> Values:
    """Return the coats that bring the absorption down to `target`, infinite when none do [count].

    Parameters
    ----------
    absorption : Values
        Absorption of the bare dry body [fraction].
    target : Values
        Absorption to reach, above 0 [fraction].
    factor : Values
        Share of the absorption that one coat leaves, below 1 [-].

    Notes
    -----
    ``ceil(ln(target / absorption) / ln factor)``, at least 0; assumption, see the module.

    Examples
    --------
    >>> float(sealer_coats(0.17, 0.03))
    3.0
    """
    share = target / np.maximum(absorption, TINY)
    coats = np.ceil(np.log(share) / np.log(factor) - _EDGE_SLACK)
    return np.where(share < FLOOR_SHARE * (1.0 - _EDGE_SLACK), np.inf, np.maximum(coats, 0.0))


def coat_edges(target: float, factor: float = FILM_FACTOR, most: int = 6) -> NDArray[np.float64]:
    """Return the largest absorption that 0, 1, ... `most` coats still bring to `target` [fraction].

    Parameters
    ----------
    target : float
        Absorption to reach [fraction].
    factor : float
        Share of the absorption that one coat leaves [-].
    most : int
        Most coats allowed [count].

    Returns
    -------
    NDArray
        Ascending edges, index = coats; edges repeat once the floor is reached [fraction].

    Notes
    -----
    Assumption, see the module.

    Examples
    --------
    >>> coat_edges(0.03, most=2).round(4).tolist()
    [0.03, 0.0667, 0.1481]
    """
    return np.asarray(absorption_edge(target, factor, np.arange(most + 1.0)))


def absorption_edge(target: Values, factor: Values, coats: Values) -> Values:
    """Return the largest absorption that `coats` coats still bring to `target` [fraction].

    Parameters
    ----------
    target, factor : Values
        As for `sealer_coats`.
    coats : Values
        Coats of sealer [count].

    Examples
    --------
    >>> round(float(absorption_edge(0.03, 0.45, 2)), 4)
    0.1481
    """
    return target / np.maximum(factor**coats, FLOOR_SHARE)
