"""Where set gypsum and ettringite give their water back: equilibrium and heat taken up."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

import numpy as np

from optimizer.constants import GAS_CONSTANT, MOLAR_MASSES, NBS_ENTHALPIES, ZERO_CELSIUS
from optimizer.properties.arrays import Values
from optimizer.properties.drying import saturation_pressure
from optimizer.properties.thermochemistry import heat_of_hydration

__all__ = [
    "DEHYDRATION",
    "dehydration_heat",
    "dehydration_humidity",
    "dehydration_temperature",
    "gypsum_conversion",
    "gypsum_crossing",
    "gypsum_equilibrium_humidity",
]

DEHYDRATION: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {"ettringite": (74_210.0, 191.98), "gypsum": (56_900.0, 149.32)}
)
"""Enthalpy [J] and entropy [J/K] per mole of steam given off: ettringite down to 13 waters, gypsum to
beta-hemihydrate. From Cemdata18 (Lothenbach et al. 2019), no heat-capacity term; own arithmetic."""

_BAR: Final = 1e5


def gypsum_equilibrium_humidity(
    temperature: Values, crossing: float = 97.0, heat_capacity_change: float = 0.0
) -> Values:
    """Return the humidity below which gypsum would rather be alpha-hemihydrate.

    Parameters
    ----------
    temperature : Values
        Temperature of the body [degC].
    crossing : float
        Temperature at which gypsum and hemihydrate are equal in liquid water [degC]: 97 to 107
        measured, up to 125 by some data bases, because the free energy between them is small.
    heat_capacity_change : float
        Products less gypsum, per mole of gypsum [J/(mol K)]: 0 or, by the NBS tables, 46.

    Returns
    -------
    Values
        Relative humidity [fraction].

    Notes
    -----
    van 't Hoff from the enthalpy of the NBS tables (Wagman et al. 1982, from memory), anchored at the
    crossing. Kinetics are slow: gypsum outlasts this line for long.

    Examples
    --------
    >>> round(float(gypsum_equilibrium_humidity(40.0)), 2)
    0.51
    """
    kelvin, anchor = temperature + ZERO_CELSIUS, crossing + ZERO_CELSIUS
    standard = heat_of_hydration("hemihydrate_alpha") * MOLAR_MASSES["hemihydrate"]
    constant = standard - heat_capacity_change * 298.15
    exponent = heat_capacity_change * np.log(kelvin / anchor) - constant * (1.0 / kelvin - 1.0 / anchor)
    humidity: Values = np.exp(exponent / (1.5 * GAS_CONSTANT))
    return humidity


def gypsum_crossing(
    temperature: float, humidity: float, crossing: float = 97.0, heat_capacity_change: float = 0.0
) -> float:
    """Return how warm gypsum may be in room air before it is past the equilibrium line.

    Parameters
    ----------
    temperature : float
        Room air [degC].
    humidity : float
        Relative humidity of the room air [fraction].
    crossing, heat_capacity_change : float
        As for `gypsum_equilibrium_humidity`.

    Returns
    -------
    float
        Temperature of the body [degC].

    Examples
    --------
    >>> round(gypsum_crossing(25.0, 0.5), 1)
    27.7
    """
    from scipy.optimize import brentq

    vapor = humidity * saturation_pressure(temperature)

    def excess(body: float) -> float:
        line = gypsum_equilibrium_humidity(body, crossing, heat_capacity_change)
        return float(line - vapor / saturation_pressure(body))

    return float(brentq(excess, 0.0, 150.0))


def dehydration_temperature(phase: str, vapor_pressure: Values) -> Values:
    """Return the temperature at which a hydrate gives its water off in equilibrium.

    Parameters
    ----------
    phase : str
        ``ettringite`` or ``gypsum``.
    vapor_pressure : Values
        Water vapor around it [Pa].

    Returns
    -------
    Values
        Temperature [degC].

    References
    ----------
    Cemdata18 (Lothenbach et al. 2019); Hall et al., Faraday Trans. 1996, measured 114 degC in steam.

    Examples
    --------
    >>> round(float(dehydration_temperature("ettringite", 101325.0)), 1)
    113.6
    """
    enthalpy, entropy = DEHYDRATION[phase]
    return enthalpy / (entropy - GAS_CONSTANT * np.log(vapor_pressure / _BAR)) - ZERO_CELSIUS


def dehydration_humidity(phase: str, temperature: Values) -> Values:
    """Return the humidity below which a hydrate gives its water off in equilibrium.

    Parameters
    ----------
    phase : str
        ``ettringite`` or ``gypsum``.
    temperature : Values
        Temperature of the body [degC].

    Returns
    -------
    Values
        Relative humidity at that temperature [fraction].

    References
    ----------
    Cemdata18 (Lothenbach et al. 2019).

    Examples
    --------
    >>> round(float(dehydration_humidity("gypsum", 50.0)), 3)
    0.324
    """
    enthalpy, entropy = DEHYDRATION[phase]
    kelvin = temperature + ZERO_CELSIUS
    pressure = _BAR * np.exp((entropy - enthalpy / kelvin) / GAS_CONSTANT)
    return pressure / saturation_pressure(temperature)


def dehydration_heat(product: str) -> float:
    """Return the heat gypsum takes up when it is calcined and the steam leaves.

    Parameters
    ----------
    product : str
        ``hemihydrate_alpha``, ``hemihydrate_beta`` or ``anhydrite``.

    Returns
    -------
    float
        Heat [J/g gypsum].

    References
    ----------
    Wagman et al., NBS tables, 1982 (from memory).

    Examples
    --------
    >>> round(dehydration_heat("anhydrite"))
    609
    """
    steam = 2.0 if product == "anhydrite" else 1.5
    heat = NBS_ENTHALPIES[product] + steam * NBS_ENTHALPIES["steam"] - NBS_ENTHALPIES["gypsum"]
    return 1000.0 * heat / MOLAR_MASSES["gypsum"]


def gypsum_conversion(mass_loss: Values) -> Values:
    """Return how much gypsum has become hemihydrate, from its loss of mass.

    Parameters
    ----------
    mass_loss : Values
        Loss of mass of dry gypsum [fraction].

    Returns
    -------
    Values
        Converted share [fraction].

    Examples
    --------
    >>> round(gypsum_conversion(0.003), 3)
    0.019
    """
    return mass_loss * MOLAR_MASSES["gypsum"] / (1.5 * MOLAR_MASSES["water"])
