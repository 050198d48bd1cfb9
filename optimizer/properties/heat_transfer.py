"""How well the wall conducts heat, and how much its upright outside gives to still air.

Pores and solid make the paste, somewhere between the two Hashin-Shtrikman bounds; grains sit in the
paste as separate inclusions (Maxwell-Eucken). All functions broadcast over arrays.

References
----------
Maxwell-Eucken and Hashin-Shtrikman forms as compared by Carson et al. (2005),
Int. J. Heat Mass Transfer 48:2150-2158 (abstract read).
Churchill & Chu (1975), Int. J. Heat Mass Transfer 18:1323-1329 (upright plate); Popiel (2008), Heat
Transfer Eng. 29:521-536 (slender upright cylinder); Sutherland's law for air, constants from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from optimizer.constants import ZERO_CELSIUS
from optimizer.properties.arrays import Values

AIR: Final = 0.026
"""Still air in the pores of a dry body [W/(m K)], handbook value."""

GYPSUM_SOLID: Final = 1.30
"""Gypsum without pores [W/(m K)], 1.26 to 1.30 from memory."""


BOUND_WEIGHT: Final = 0.60
"""Where a gypsum paste lies between the lower (0) and the upper (1) bound [-].

Fitted to one measurement: 0.3004 W/(m K) at 57.5 % pores (Architecture Civil Engineering Environment
2019, doi 10.21307/acee-2019-037)."""

STEFAN_BOLTZMANN: Final = 5.670374419e-8
"""Stefan-Boltzmann constant [W/(m2 K4)], CODATA 2018."""

EMISSIVITY: Final = 0.90
"""Gypsum, mortar and paint [-], 0.85 to 0.93 in handbooks, from memory; bare metal leaf 0.1 to 0.3."""

_GRAVITY: Final = 9.80665
_PLATE_LIMIT: Final = 35.0
_SLENDER: Final = 25.0


def maxwell_eucken(matrix: Values, inclusion: Values, fraction: Values) -> Values:
    """Return the conductivity of separate round inclusions in a continuous matrix [W/(m K)].

    Parameters
    ----------
    matrix, inclusion : Values
        Conductivity of matrix and inclusion [W/(m K)].
    fraction : Values
        Volume fraction of the inclusion [-].

    Notes
    -----
    ``k = km (ki + 2 km + 2 v (ki - km)) / (ki + 2 km - v (ki - km))``, which is also the
    Hashin-Shtrikman bound with the matrix continuous.

    Examples
    --------
    >>> round(float(maxwell_eucken(1.0, 0.0, 0.5)), 4)
    0.4
    """
    contrast = fraction * (inclusion - matrix)
    base = inclusion + 2.0 * matrix
    return matrix * (base + 2.0 * contrast) / (base - contrast)


def hashin_shtrikman(first: Values, second: Values, second_fraction: Values) -> tuple[Values, Values]:
    """Return the lower and the upper bound of any isotropic mixture of two materials [W/(m K)].

    Parameters
    ----------
    first, second : Values
        Conductivities [W/(m K)].
    second_fraction : Values
        Volume fraction of the second material [-].

    References
    ----------
    Hashin & Shtrikman (1962), J. Appl. Phys. 33:3125-3131 (from memory).

    Examples
    --------
    >>> lower, upper = hashin_shtrikman(1.0, 0.5, 0.5)
    >>> round(float(lower), 4), round(float(upper), 4)
    (0.7143, 0.7273)
    """
    one = maxwell_eucken(first, second, second_fraction)
    other = maxwell_eucken(second, first, 1.0 - second_fraction)
    return np.minimum(one, other), np.maximum(one, other)


def paste_conductivity(
    porosity: Values,
    solid: Values = GYPSUM_SOLID,
    pore: Values = AIR,
    weight: Values = BOUND_WEIGHT,
) -> Values:
    """Return the conductivity of hardened paste [W/(m K)].

    Parameters
    ----------
    porosity : Values
        Pores per volume of paste, grains left out [fraction].
    solid, pore : Values
        Conductivity of the solid and of what fills the pores [W/(m K)].
    weight : Values
        Place between the Hashin-Shtrikman bounds, 0 lower, 1 upper [fraction].

    References
    ----------
    Weight fitted to doi 10.21307/acee-2019-037; see `BOUND_WEIGHT`.

    Examples
    --------
    >>> round(float(paste_conductivity(0.575)), 3)
    0.301
    """
    lower, upper = hashin_shtrikman(solid, pore, porosity)
    return weight * upper + (1.0 - weight) * lower


def body_conductivity(
    porosity_of_paste: Values,
    solid_conductivity: Values,
    heavy_volume: Values,
    heavy_conductivity: Values,
    light_volume: Values,
    light_conductivity: Values,
    weight: Values = BOUND_WEIGHT,
) -> Values:
    """Return the conductivity of the dry body: paste with heavy and light grains in it [W/(m K)].

    Parameters
    ----------
    porosity_of_paste : Values
        Pores per volume of paste, grains left out [fraction].
    solid_conductivity : Values
        Solid of the paste [W/(m K)].
    heavy_volume, light_volume : Values
        Sand-like and lightweight grains per volume of body [fraction].
    heavy_conductivity, light_conductivity : Values
        Conductivity of those grains [W/(m K)].
    weight : Values
        Place of the paste between the Hashin-Shtrikman bounds [fraction].

    Notes
    -----
    Maxwell's relation for several kinds of inclusions in one matrix,
    ``(k - km) / (k + 2 km) = sum v_j (k_j - km) / (k_j + 2 km)``; with one kind it is `maxwell_eucken`,
    and the order in which grains are added does not matter.

    Examples
    --------
    >>> round(float(body_conductivity(0.575, 1.30, 0.3, 7.7, 0.0, 0.05)), 2)
    0.63
    """
    paste = paste_conductivity(porosity_of_paste, solid_conductivity, weight=weight)
    lift = _polarizability(paste, heavy_volume, heavy_conductivity) + _polarizability(
        paste, light_volume, light_conductivity
    )
    return paste * (1.0 + 2.0 * lift) / (1.0 - lift)


def _polarizability(matrix: Values, volume: Values, conductivity: Values) -> Values:
    """Return what one kind of grain adds to the right side of Maxwell's relation [-]."""
    return volume * (conductivity - matrix) / (conductivity + 2.0 * matrix)


@dataclass(frozen=True)
class Air:
    """Properties of a gas film.

    Attributes
    ----------
    conductivity : Values
        Thermal conductivity [W/(m K)].
    viscosity : Values
        Kinematic viscosity [m2/s].
    diffusivity : Values
        Thermal diffusivity [m2/s].
    expansion : Values
        Thermal expansion [1/K].
    """

    conductivity: Values
    viscosity: Values
    diffusivity: Values
    expansion: Values

    @property
    def prandtl(self) -> Values:
        """Prandtl number [-]."""
        return self.viscosity / self.diffusivity


def air_at(temperature: Values) -> Air:
    """Return dry air at sea level.

    Parameters
    ----------
    temperature : Values
        Film temperature [degC].

    References
    ----------
    Sutherland's law with 1.716e-5 Pa s and 110.4 K, 0.0241 W/(m K) and 194 K at 273.15 K; heat capacity
    1007 J/(kg K); ideal gas at 101.325 kPa. Constants from memory.

    Examples
    --------
    >>> round(float(air_at(27.0).prandtl), 2)
    0.71
    """
    kelvin = temperature + ZERO_CELSIUS
    ratio = (kelvin / ZERO_CELSIUS) ** 1.5
    viscosity = 1.716e-5 * ratio * (ZERO_CELSIUS + 110.4) / (kelvin + 110.4)
    conductivity = 0.0241 * ratio * (ZERO_CELSIUS + 194.0) / (kelvin + 194.0)
    density = 101325.0 / (287.05 * kelvin)
    return Air(conductivity, viscosity / density, conductivity / (density * 1007.0), 1.0 / kelvin)


def rayleigh(air: Air, rise: Values, tall: Values) -> Values:
    """Return the Rayleigh number of an upright face [-].

    Parameters
    ----------
    air : Air
        Air at the film temperature.
    rise : Values
        Face above air [K].
    tall : Values
        Height of the face [m].

    References
    ----------
    ``Ra = g beta dT H^3 / (nu alpha)``.

    Examples
    --------
    >>> round(float(rayleigh(air_at(40.0), 40.0, 0.09)) / 1e6, 1)
    2.2
    """
    drive = _GRAVITY * air.expansion * np.abs(rise) * tall**3
    return drive / (air.viscosity * air.diffusivity)


def plate_nusselt(rayleigh_number: Values, prandtl: Values) -> Values:
    """Return the mean Nusselt number of an upright plate [-].

    Parameters
    ----------
    rayleigh_number, prandtl : Values
        Rayleigh and Prandtl number [-].

    References
    ----------
    Churchill & Chu (1975), all Rayleigh numbers.

    Examples
    --------
    >>> round(float(plate_nusselt(0.69 * 2.63e9, 0.69)), 4)
    147.1619
    """
    spread = (1.0 + (0.492 / prandtl) ** (9.0 / 16.0)) ** (8.0 / 27.0)
    return (0.825 + 0.387 * rayleigh_number ** (1.0 / 6.0) / spread) ** 2


def cylinder_factor(grashof: Values, prandtl: Values, slenderness: Values) -> tuple[Values, Values]:
    """Return how much better a slender cylinder convects than a plate, and how far it counts [-].

    Parameters
    ----------
    grashof, prandtl : Values
        Grashof number of the height, Prandtl number [-].
    slenderness : Values
        Height over diameter [-].

    Returns
    -------
    factor : Values
        Nusselt number of the cylinder over that of the plate [-].
    share : Values
        0 where the plate form holds, ``D / H >= 35 / Gr^(1/4)``; 1 below 25 in place of 35; a straight
        fade between. Without the fade the loss would jump by 6 %, and a wider vessel could come out
        hotter than a narrower one.

    References
    ----------
    Popiel (2008); the fade is ours.

    Examples
    --------
    >>> factor, share = cylinder_factor(1e10, 0.7, 2.5)
    >>> round(float(factor), 4), round(float(share), 4)
    (1.0174, 0.0)
    """
    width = np.maximum(grashof, 1e-6) ** 0.25 / slenderness
    gain = 0.0571322 + 0.20305 * prandtl**-0.43
    power = 0.9165 - 0.0043 * np.sqrt(prandtl) + 0.01333 * np.log(prandtl) + 0.0004809 / prandtl
    factor = 1.0 + gain * (np.sqrt(32.0) / width) ** power
    share = np.clip((_PLATE_LIMIT - width) / (_PLATE_LIMIT - _SLENDER), 0.0, 1.0)
    return factor, share


def convection_coefficient(face: Values, room: Values, height: float, diameter: float) -> Values:
    """Return the mean convection coefficient of the upright side [W/(m2 K)].

    Parameters
    ----------
    face, room : Values
        Temperature of the face and of the room [degC].
    height, diameter : float
        Of the vessel [mm].

    References
    ----------
    `plate_nusselt` and, for slender vessels, `cylinder_factor`; air at the mean of face and room.

    Examples
    --------
    >>> round(float(convection_coefficient(60.0, 20.0, 90.0, 90.0)), 1)
    6.2
    """
    air, tall = air_at((face + room) / 2.0), height * 1e-3
    ra = rayleigh(air, face - room, tall)
    factor, share = cylinder_factor(ra / air.prandtl, air.prandtl, height / diameter)
    nusselt = plate_nusselt(ra, air.prandtl) * (1.0 + share * (factor - 1.0))
    return nusselt * air.conductivity / tall


def radiation_flux(face: Values, room: Values, emissivity: Values = EMISSIVITY) -> Values:
    """Return the net heat radiated to a room of one temperature [W/m2].

    Parameters
    ----------
    face, room : Values
        Temperature of the face and of the room [degC].
    emissivity : Values
        Emissivity of the face [-].

    References
    ----------
    Stefan-Boltzmann law.

    Examples
    --------
    >>> round(float(radiation_flux(60.0, 20.0)), 1)
    251.8
    """
    return STEFAN_BOLTZMANN * emissivity * ((face + ZERO_CELSIUS) ** 4 - (room + ZERO_CELSIUS) ** 4)


def heat_flux(
    face: Values,
    room: Values,
    height: float,
    diameter: float,
    emissivity: Values = EMISSIVITY,
) -> Values:
    """Return the heat lost per area of the upright side, negative when the room is hotter [W/m2].

    Base and rim are left out, which puts the wall on the hot side.

    Parameters
    ----------
    face, room : Values
        Temperature of the face and of the room [degC].
    height, diameter : float
        Of the vessel [mm].
    emissivity : Values
        Emissivity of the face [-].

    References
    ----------
    `convection_coefficient` and `radiation_flux`.

    Examples
    --------
    >>> round(float(heat_flux(60.0, 20.0, 90.0, 90.0)))
    501
    """
    rise = face - room
    convected = convection_coefficient(face, room, height, diameter) * rise
    return convected + radiation_flux(face, room, emissivity)
