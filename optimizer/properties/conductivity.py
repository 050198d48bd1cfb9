"""How well the wall conducts heat: from pores, solid and grains to the body.

Pores and solid make the paste, somewhere between the two Hashin-Shtrikman bounds; grains sit in the
paste as separate inclusions (Maxwell-Eucken). All functions broadcast over arrays.

References
----------
Maxwell-Eucken and Hashin-Shtrikman forms as compared by Carson et al. (2005),
Int. J. Heat Mass Transfer 48:2150-2158 (abstract read).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from optimizer.properties.arrays import Values

AIR: Final = 0.026
"""Still air in the pores of a dry body [W/(m K)], handbook value."""

GYPSUM_SOLID: Final = 1.30
"""Gypsum without pores [W/(m K)], 1.26 to 1.30 from memory."""


BOUND_WEIGHT: Final = 0.60
"""Where a gypsum paste lies between the lower (0) and the upper (1) bound [-].

Fitted to one measurement: 0.3004 W/(m K) at 57.5 % pores (Architecture Civil Engineering Environment
2019, doi 10.21307/acee-2019-037)."""


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
