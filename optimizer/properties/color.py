"""How white the dry face looks: two-constant Kubelka-Munk mixing, lightness and whiteness indices.

Whiteness is mixed as the ratio of absorbed to scattered light, never by averaging L*. Reflectances and
the luminance Y are fractions of a perfect white.

References
----------
Kubelka & Munk (1931), Z. tech. Phys. 12:593-601; CIE 15 (L*, whiteness, tint).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from optimizer.properties.arrays import Values

__all__ = [
    "D65_TEN_DEGREES",
    "WETTING_FACTOR",
    "absorption_ratio",
    "cie_tint",
    "cie_whiteness",
    "lightness",
    "luminance",
    "mixed_ratio",
    "ratio_bound",
    "reflectance",
    "surface_corrected",
    "wet_reflectance",
    "whiteness_index",
]

D65_TEN_DEGREES: Final = (0.31382, 0.33100)
"""Chromaticity of daylight D65 for the 10-degree observer [-]."""

WETTING_FACTOR: Final = 4.0
"""How much wetting raises the ratio of absorbed to scattered light [-].

Own fit to the mean albedo 0.59 of smooth concretes and its loss of 0.23 on wetting (Levinson & Akbari
2001, abstract read)."""

_LINEAR_BELOW: Final = (6.0 / 29.0) ** 3
_LINEAR_SLOPE: Final = 116.0 * (29.0 / 6.0) ** 2 / 3.0


def absorption_ratio(reflected: Values) -> Values:
    """Return the Kubelka-Munk ratio K/S of a thick layer of reflectance `reflected` [-].

    Parameters
    ----------
    reflected : Values
        Reflectance, above 0 and up to 1 [fraction].

    References
    ----------
    Kubelka & Munk (1931): ``K/S = (1 - R)^2 / (2 R)``.

    Examples
    --------
    >>> round(float(absorption_ratio(0.8)), 6)
    0.025
    """
    return (1.0 - reflected) ** 2 / (2.0 * reflected)


def reflectance(ratio: Values) -> Values:
    """Return the reflectance of a thick layer whose K/S is `ratio`; inverse of `absorption_ratio`.

    Parameters
    ----------
    ratio : Values
        Absorbed over scattered light, at least 0 [-].

    Returns
    -------
    Values
        Reflectance [fraction].

    References
    ----------
    Kubelka & Munk (1931): ``R = 1 + x - sqrt(x^2 + 2 x)``, written as its reciprocal, which keeps all
    digits of a dark layer.

    Examples
    --------
    >>> round(float(reflectance(0.025)), 6)
    0.8
    """
    return 1.0 / (1.0 + ratio + np.sqrt(ratio * (ratio + 2.0)))


def mixed_ratio(amounts: Values, scattering: Values, ratio: Values) -> Values:
    """Return K/S of a mixture; materials along the last axis [-].

    Parameters
    ----------
    amounts : Values
        Mass of each material, in any one unit [g].
    scattering : Values
        Scattering power of each by mass, relative to set gypsum [-].
    ratio : Values
        K/S of each material alone [-].

    Notes
    -----
    ``x = sum w S (K/S) / sum w S``. With all `scattering` equal it is the single-constant form, which is
    badly wrong for titanium white and iron oxide. Textile work finds departures from additivity; allow
    for 2 L* either way.

    Examples
    --------
    >>> alone = absorption_ratio(np.array([0.9, 0.6]))
    >>> x = mixed_ratio(np.array([0.7, 0.3]), np.array([1.0, 2.0]), alone)
    >>> round(float(reflectance(x)), 5)
    0.69953
    """
    weight = np.multiply(amounts, scattering)
    mixed: Values = np.sum(weight * ratio, axis=-1) / np.sum(weight, axis=-1)
    return mixed


def lightness(y: Values) -> Values:
    """Return the CIE 1976 lightness L* of luminance `y` [-].

    Parameters
    ----------
    y : Values
        Luminance, 1 for a perfect white [fraction].

    References
    ----------
    CIE 15: ``116 Y^(1/3) - 16``, linear below ``Y = (6/29)^3``.

    Examples
    --------
    >>> round(float(lightness(0.8)), 2)
    91.68
    """
    return np.where(y > _LINEAR_BELOW, 116.0 * np.cbrt(y) - 16.0, _LINEAR_SLOPE * y)


def luminance(l_star: Values) -> Values:
    """Return the luminance of lightness `l_star`; inverse of `lightness` [fraction].

    Parameters
    ----------
    l_star : Values
        CIE L* [-].

    References
    ----------
    CIE 15.

    Examples
    --------
    >>> round(float(luminance(50.0)), 4)
    0.1842
    """
    return np.where(l_star > 8.0, ((l_star + 16.0) / 116.0) ** 3, l_star / _LINEAR_SLOPE)


def ratio_bound(least_lightness: Values) -> Values:
    """Return the largest K/S whose face is still at least `least_lightness` [-].

    As K/S mixes linearly, ``sum p_i S_i ((K/S)_i - bound) <= 0`` is the whiteness limit as a linear row
    in the amounts ``p_i``.

    Parameters
    ----------
    least_lightness : Values
        Lowest allowed L*, above 0 and up to 100 [-].

    References
    ----------
    `luminance` and `absorption_ratio`.

    Examples
    --------
    >>> round(float(ratio_bound(91.6849)), 4)
    0.025
    """
    return absorption_ratio(luminance(least_lightness))


def wet_reflectance(dry: Values, factor: Values = WETTING_FACTOR) -> Values:
    """Return the reflectance of the same face when wet [fraction].

    Water in the pores leaves the absorption as it is and cuts the scattering, so K/S rises by `factor`.

    Parameters
    ----------
    dry : Values
        Reflectance of the dry face [fraction].
    factor : Values
        Rise of K/S on wetting [-].

    References
    ----------
    Own fit, see `WETTING_FACTOR`.

    Examples
    --------
    >>> round(float(wet_reflectance(0.59)), 2)
    0.36
    """
    return reflectance(factor * absorption_ratio(dry))


def surface_corrected(measured: Values, outside: Values = 0.04, inside: Values = 0.6) -> Values:
    """Return the reflectance below a smooth surface, from the measured one (Saunderson) [fraction].

    Matt casts hardly need it; a glossy sealer does.

    Parameters
    ----------
    measured : Values
        Reflectance as read by the meter [fraction].
    outside, inside : Values
        Share of light the surface throws back from without and from within [fraction].

    References
    ----------
    Saunderson (1942), J. Opt. Soc. Am. 32:727-736 (from memory).

    Examples
    --------
    >>> round(float(surface_corrected(0.8)), 5)
    0.90476
    """
    return (measured - outside) / (1.0 - outside - inside * (1.0 - measured))


def cie_whiteness(
    x: Values,
    y: Values,
    luminance_percent: Values,
    white: tuple[float, float] = D65_TEN_DEGREES,
) -> Values:
    """Return the CIE whiteness of a measured color [-].

    Parameters
    ----------
    x, y : Values
        Chromaticity of the face [-].
    luminance_percent : Values
        Y on the scale where perfect white is 100 [-].
    white : tuple[float, float]
        Chromaticity of the illuminant [-].

    Notes
    -----
    ``W = Y + 800 (xn - x) + 1700 (yn - y)`` (ISO 11475, ASTM E313). Called white only while
    ``40 < W < 5 Y - 280`` and the tint is within -4 and 2 (CIE 15, from memory).

    Examples
    --------
    >>> round(float(cie_whiteness(0.3167, 0.3334, 100.0, (0.3139, 0.3311))), 2)
    93.85
    """
    x_n, y_n = white
    shift = 800.0 * (x_n - x) + 1700.0 * (y_n - y)
    return luminance_percent + shift


def cie_tint(
    x: Values,
    y: Values,
    white: tuple[float, float] = D65_TEN_DEGREES,
    degrees: int = 10,
) -> Values:
    """Return the CIE tint of a measured color, greenish above 0, reddish below [-].

    Parameters
    ----------
    x, y : Values
        Chromaticity of the face [-].
    white : tuple[float, float]
        Chromaticity of the illuminant [-].
    degrees : int
        Observer, 2 or 10 [deg].

    References
    ----------
    CIE 15: ``T = a (xn - x) - 650 (yn - y)``, a = 1000 for the 2-degree and 900 for the 10-degree
    observer.

    Examples
    --------
    >>> round(float(cie_tint(0.3167, 0.3334, (0.3139, 0.3311), degrees=2)), 3)
    -1.305
    """
    x_n, y_n = white
    slope = 1000.0 if degrees == 2 else 900.0
    return slope * (x_n - x) - 650.0 * (y_n - y)


def whiteness_index(y: Values, z: Values) -> Values:
    """Return the older ASTM E313 whiteness from tristimulus Y and Z (illuminant C, percent scale) [-].

    Parameters
    ----------
    y, z : Values
        Tristimulus values, perfect white Y = 100 [-].

    References
    ----------
    ASTM E313: ``WI = 3.388 Z - 3 Y``.

    Examples
    --------
    >>> round(float(whiteness_index(100.0, 105.0)), 2)
    55.74
    """
    return 3.388 * z - 3.0 * y
