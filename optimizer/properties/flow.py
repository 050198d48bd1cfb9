"""How far a slurry spreads: water demand, yield stress from a spread, and the spread at another ratio.

The mini-slump form holds for a spread much wider than high and without surface tension. Between water
ratios the yield stress falls exponentially, with a slope that two of the caster's own pours give; no
published slope is shipped.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from optimizer.properties.arrays import Values

__all__ = [
    "MINI_CONE",
    "POURABLE_SPREAD",
    "cone_volume",
    "flow_slope",
    "spread",
    "spread_at_ratio",
    "water_demand",
    "yield_stress",
]

MINI_CONE: Final = 38.9
"""Volume of the mini-slump cone of the worked values [mL]; a 19/38/57 mm cone holds 37.7."""

POURABLE_SPREAD: Final = (90.0, 130.0)
"""Spread of a slurry that pours well [mm]; from memory."""

_GRAVITY: Final = 9.80665
_SPREAD_FACTOR: Final = 225.0 * _GRAVITY / (128.0 * np.pi**2)


def cone_volume(top: float, bottom: float, height: float) -> float:
    """Return the volume of a slump cone [mL].

    Parameters
    ----------
    top, bottom, height : float
        Inner diameters and height [mm].

    Notes
    -----
    Truncated cone.

    Examples
    --------
    >>> round(cone_volume(19.0, 38.0, 57.0), 1)
    37.7
    """
    return float(np.pi * height * (top**2 + top * bottom + bottom**2) / 12.0 * 1e-3)


def yield_stress(spread_diameter: Values, density: Values, volume: Values = MINI_CONE) -> Values:
    """Return the yield stress that stops a slurry at this spread [Pa].

    Parameters
    ----------
    spread_diameter : Values
        Diameter of the spread [mm].
    density : Values
        Density of the slurry [g/cm3].
    volume : Values
        Volume poured [mL].

    References
    ----------
    Roussel, Stefani & Leroy (2005), Cem. Concr. Res. 35:817-822 (abstract read; form from memory):
    ``225 rho g V^2 / (128 pi^2 R^5)``.

    Examples
    --------
    >>> round(float(yield_stress(100.0, 1.9)), 1)
    16.1
    """
    radius = spread_diameter / 2e3
    load = density * 1e3 * (volume * 1e-6) ** 2
    return _SPREAD_FACTOR * load / radius**5


def spread(stress: Values, density: Values, volume: Values = MINI_CONE) -> Values:
    """Return the spread of a slurry of this yield stress; inverse of `yield_stress` [mm].

    Parameters
    ----------
    stress : Values
        Yield stress [Pa].
    density : Values
        Density of the slurry [g/cm3].
    volume : Values
        Volume poured [mL].

    References
    ----------
    See `yield_stress`.

    Examples
    --------
    >>> round(float(spread(yield_stress(110.0, 1.8), 1.8)), 6)
    110.0
    """
    load = density * 1e3 * (volume * 1e-6) ** 2
    return 2e3 * (_SPREAD_FACTOR * load / stress) ** 0.2


def flow_slope(ratios: tuple[float, float], stresses: tuple[float, float]) -> float:
    """Return how fast the yield stress falls with water, from two pours of one blend [-].

    Parameters
    ----------
    ratios : tuple[float, float]
        Water per powder of the two pours, different [-].
    stresses : tuple[float, float]
        Yield stress of each [Pa].

    Notes
    -----
    ``stress = A exp(-B w)``; form common practice, no source.

    Examples
    --------
    >>> round(flow_slope((0.33, 0.37), (40.0, 12.0)), 1)
    30.1
    """
    return float(np.log(stresses[0] / stresses[1]) / (ratios[1] - ratios[0]))


def spread_at_ratio(known_spread: Values, known_ratio: Values, slope: Values, ratio: Values) -> Values:
    """Return the spread of the same blend at another water ratio [mm].

    The change of density with water is left out; it moves the spread by less than a percent.

    Parameters
    ----------
    known_spread : Values
        Measured spread [mm].
    known_ratio, ratio : Values
        Water per powder of the pour and of the wanted mix [-].
    slope : Values
        From `flow_slope` [-].

    Notes
    -----
    The spread goes as yield stress to the power -1/5.

    Examples
    --------
    >>> round(float(spread_at_ratio(100.0, 0.33, 30.0, 0.35)), 1)
    112.7
    """
    more = ratio - known_ratio
    return known_spread * np.exp(slope * more / 5.0)


def water_demand(amounts: Values, demands: Values, reduction: Values = 0.0) -> Values:
    """Return the least water that a blend pours with; materials along the last axis.

    Parameters
    ----------
    amounts : Values
        Mass of each dry material [g], or amount per liter of slurry [kg/L].
    demands : Values
        Water each needs alone, per mass [-].
    reduction : Values
        Water saved by a plasticizer [fraction].

    Returns
    -------
    Values
        Water, in the unit of `amounts`.

    Notes
    -----
    Linear by mass; common practice, no source.

    Examples
    --------
    >>> round(float(water_demand(np.array([700.0, 300.0]), np.array([0.33, 0.05]), 0.15)), 1)
    209.1
    """
    needed: Values = np.sum(np.multiply(amounts, demands), axis=-1)
    return needed * (1.0 - reduction)
