"""What a hot wall does to itself and to a hand: thermal stress and shock, burn thresholds, touch.

For cautions only. No published candle-container temperature limit was found; the thresholds here are for
burns from contact, and standards on candles and their accessories are a matter for a test house.
"""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import Final

import numpy as np

from optimizer.properties.arrays import Values

__all__ = [
    "SKIN",
    "STONE_BURN_THRESHOLDS",
    "allowed_jump",
    "burn_threshold",
    "contact_temperature",
    "shock_resistance",
    "skin_burn_temperature",
    "thermal_effusivity",
    "thermal_stress",
]

STONE_BURN_THRESHOLDS: Final = MappingProxyType({10.0: 66.0, 60.0: 56.0, 600.0: 48.0, 28800.0: 43.0})
"""Contact time [s]: surface temperature of ceramic, glass and stone [degC].

Czech Government Regulation 361/2007; from one minute on as in ISO 13732-1:2006 (from memory)."""

SKIN: Final = (33.0, 1175.0)
"""Skin temperature [degC] and thermal effusivity [W s^0.5/(m2 K)], from memory."""


def thermal_stress(difference: Values, modulus: Values, expansion: Values, poisson: Values = 0.2) -> Values:
    """Return the bending stress of a wall held flat while one face is hotter [MPa].

    Parameters
    ----------
    difference : Values
        Inner less outer face [K].
    modulus : Values
        Young's modulus [GPa].
    expansion : Values
        Linear thermal expansion [1e-6/K].
    poisson : Values
        Poisson's ratio [-].

    References
    ----------
    Elastic plate theory: ``E a dT / (2 (1 - nu))``.

    Examples
    --------
    >>> round(float(thermal_stress(40.0, 8.0, 20.0)), 3)
    4.0
    """
    strain = expansion * difference * 1e-3
    return modulus * strain / (2.0 * (1.0 - poisson))


def shock_resistance(flexural: Values, modulus: Values, expansion: Values, poisson: Values = 0.2) -> Values:
    """Return the sudden surface chill that cracks the wall, heat transfer unlimited [K].

    Parameters
    ----------
    flexural : Values
        Bending strength [MPa].
    modulus : Values
        Young's modulus [GPa].
    expansion : Values
        Linear thermal expansion [1e-6/K].
    poisson : Values
        Poisson's ratio [-].

    References
    ----------
    First thermal shock parameter, ``R = MOR (1 - nu) / (E a)`` (from memory).

    Examples
    --------
    >>> round(float(shock_resistance(6.0, 8.0, 20.0)), 1)
    30.0
    """
    stiff = modulus * expansion * 1e-3
    return flexural * (1.0 - poisson) / stiff


def allowed_jump(resistance: Values, biot: Values) -> Values:
    """Return the sudden change of the surroundings that the wall takes [K].

    Parameters
    ----------
    resistance : Values
        From `shock_resistance` [K].
    biot : Values
        Heat transfer times half the wall over conductivity [-]; air is near 0.1, cold water above 10.

    References
    ----------
    Manson's fit for a plate, ``R (1.5 + 3.25 / Bi - 0.5 exp(-16 / Bi))`` (from memory).

    Examples
    --------
    >>> round(float(allowed_jump(13.9, 0.083)))
    565
    """
    return resistance * (1.5 + 3.25 / biot - 0.5 * np.exp(-16.0 / biot))


def burn_threshold(seconds: Values) -> Values:
    """Return the stone surface that burns skin touched for so long [degC].

    Parameters
    ----------
    seconds : Values
        Contact, 10 s to 8 h; the ends hold beyond them [s].

    References
    ----------
    `STONE_BURN_THRESHOLDS`, straight in the logarithm of time between its rows.

    Examples
    --------
    >>> burn_threshold(np.array([10.0, 60.0, 600.0])).tolist()
    [66.0, 56.0, 48.0]
    """
    times = np.log(list(STONE_BURN_THRESHOLDS))
    limits = list(STONE_BURN_THRESHOLDS.values())
    return np.interp(np.log(seconds), times, limits)


def thermal_effusivity(conductivity: Values, density: Values, specific_heat: Values) -> Values:
    """Return how strongly a material feels hot or cold, ``sqrt(k rho c)`` [W s^0.5/(m2 K)].

    Parameters
    ----------
    conductivity : Values
        [W/(m K)].
    density : Values
        [g/cm3].
    specific_heat : Values
        [J/(g K)].

    References
    ----------
    Handbook definition.

    Examples
    --------
    >>> round(float(thermal_effusivity(0.35, 1.5, 1.09)))
    756
    """
    volumetric = density * specific_heat * 1e6
    return np.sqrt(conductivity * volumetric)


def contact_temperature(surface: Values, effusivity: Values) -> Values:
    """Return the temperature where skin meets a hot wall at first touch [degC].

    A body rich in sand feels and burns hotter than a light one at the same temperature.

    Parameters
    ----------
    surface : Values
        Wall before the touch [degC].
    effusivity : Values
        From `thermal_effusivity` [W s^0.5/(m2 K)].

    References
    ----------
    Two semi-infinite solids (Incropera, sec. 5.7, from memory), skin as in `SKIN`.

    Examples
    --------
    >>> round(float(contact_temperature(60.0, 756.0)), 1)
    43.6
    """
    skin, skin_effusivity = SKIN
    mixed = effusivity * surface + skin_effusivity * skin
    return mixed / (effusivity + skin_effusivity)


def skin_burn_temperature(seconds: Values, degree: int = 1) -> Values:
    """Return the skin temperature that burns after so long [degC].

    Parameters
    ----------
    seconds : Values
        Contact, 1 s to 6 h [s].
    degree : int
        1: reversible, 2: second-degree burn [-].

    References
    ----------
    Regression in the form of ASTM C1055, from memory, the standard not opened: show it, never quote it.

    Examples
    --------
    >>> round(float(skin_burn_temperature(5.0, degree=2)), 1)
    60.9
    """
    log_time = np.log(seconds) + math.log(1000.0)
    if degree == 2:
        return 15.005 + 0.51907 * log_time + 352.97 / log_time
    return 39.468 - 0.41352 * log_time + 190.60 / log_time
