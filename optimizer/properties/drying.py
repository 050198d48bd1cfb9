"""How long a demolded wall takes to constant mass, in one room.

Two stages, both faces open: a constant-rate stage while free water reaches the surface, then a
drying front that draws back into the wall. What depends on the room alone is worked out once
(`DryingRoom`); what depends on the mix is then a few multiplications.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from optimizer.constants import GAS_CONSTANT, MOLAR_MASSES, ZERO_CELSIUS
from optimizer.errors import QuantityError
from optimizer.properties.arrays import Values

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
