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
import numpy.typing as npt

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

Array = npt.NDArray[np.float64]

D65_TEN_DEGREES: Final = (0.31382, 0.33100)
"""Chromaticity of daylight D65 for the 10-degree observer [-]."""

WETTING_FACTOR: Final = 4.0
"""How much wetting raises the ratio of absorbed to scattered light [-].

Own fit to the mean albedo 0.59 of smooth concretes and its loss of 0.23 on wetting (Levinson & Akbari
2001, abstract read)."""

_LINEAR_BELOW: Final = (6.0 / 29.0) ** 3
_LINEAR_SLOPE: Final = 116.0 * (29.0 / 6.0) ** 2 / 3.0


def absorption_ratio(reflected: npt.ArrayLike) -> Array:
    """Return the Kubelka-Munk ratio K/S of a thick layer of reflectance `reflected` [-].

    Parameters
    ----------
    reflected : array_like
        Reflectance, above 0 and up to 1 [fraction].

    References
    ----------
    Kubelka & Munk (1931): ``K/S = (1 - R)^2 / (2 R)``.

    Examples
    --------
    >>> round(float(absorption_ratio(0.8)), 6)
    0.025
    """
    r = np.asarray(reflected, dtype=float)
    return np.asarray((1.0 - r) ** 2 / (2.0 * r))


def reflectance(ratio: npt.ArrayLike) -> Array:
    """Return the reflectance of a thick layer whose K/S is `ratio`; inverse of `absorption_ratio`.

    Parameters
    ----------
    ratio : array_like
        Absorbed over scattered light, at least 0 [-].

    Returns
    -------
    Array
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
    x = np.asarray(ratio, dtype=float)
    return np.asarray(1.0 / (1.0 + x + np.sqrt(x * (x + 2.0))))


def mixed_ratio(amounts: npt.ArrayLike, scattering: npt.ArrayLike, ratio: npt.ArrayLike) -> Array:
    """Return K/S of a mixture; materials along the last axis [-].

    Parameters
    ----------
    amounts : array_like
        Mass of each material, in any one unit [g].
    scattering : array_like
        Scattering power of each by mass, relative to set gypsum [-].
    ratio : array_like
        K/S of each material alone [-].

    Notes
    -----
    ``x = sum w S (K/S) / sum w S``. With all `scattering` equal it is the single-constant form, which is
    badly wrong for titanium white and iron oxide. Textile work finds departures from additivity; allow
    for 2 L* either way.

    Examples
    --------
    >>> x = mixed_ratio([0.7, 0.3], [1.0, 2.0], absorption_ratio([0.9, 0.6]))
    >>> round(float(reflectance(x)), 5)
    0.69953
    """
    weight = np.asarray(amounts, dtype=float) * np.asarray(scattering, dtype=float)
    return np.asarray((weight * np.asarray(ratio, dtype=float)).sum(axis=-1) / weight.sum(axis=-1))


def lightness(y: npt.ArrayLike) -> Array:
    """Return the CIE 1976 lightness L* of luminance `y` [-].

    Parameters
    ----------
    y : array_like
        Luminance, 1 for a perfect white [fraction].

    References
    ----------
    CIE 15: ``116 Y^(1/3) - 16``, linear below ``Y = (6/29)^3``.

    Examples
    --------
    >>> round(float(lightness(0.8)), 2)
    91.68
    """
    lum = np.asarray(y, dtype=float)
    return np.asarray(np.where(lum > _LINEAR_BELOW, 116.0 * np.cbrt(lum) - 16.0, _LINEAR_SLOPE * lum))


def luminance(l_star: npt.ArrayLike) -> Array:
    """Return the luminance of lightness `l_star`; inverse of `lightness` [fraction].

    Parameters
    ----------
    l_star : array_like
        CIE L* [-].

    References
    ----------
    CIE 15.

    Examples
    --------
    >>> round(float(luminance(50.0)), 4)
    0.1842
    """
    level = np.asarray(l_star, dtype=float)
    return np.asarray(np.where(level > 8.0, ((level + 16.0) / 116.0) ** 3, level / _LINEAR_SLOPE))


def ratio_bound(least_lightness: npt.ArrayLike) -> Array:
    """Return the largest K/S whose face is still at least `least_lightness` [-].

    As K/S mixes linearly, ``sum p_i S_i ((K/S)_i - bound) <= 0`` is the whiteness limit as a linear row
    in the amounts ``p_i``.

    Parameters
    ----------
    least_lightness : array_like
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


def wet_reflectance(dry: npt.ArrayLike, factor: npt.ArrayLike = WETTING_FACTOR) -> Array:
    """Return the reflectance of the same face when wet [fraction].

    Water in the pores leaves the absorption as it is and cuts the scattering, so K/S rises by `factor`.

    Parameters
    ----------
    dry : array_like
        Reflectance of the dry face [fraction].
    factor : array_like
        Rise of K/S on wetting [-].

    References
    ----------
    Own fit, see `WETTING_FACTOR`.

    Examples
    --------
    >>> round(float(wet_reflectance(0.59)), 2)
    0.36
    """
    return reflectance(np.asarray(factor, dtype=float) * absorption_ratio(dry))


def surface_corrected(
    measured: npt.ArrayLike, outside: npt.ArrayLike = 0.04, inside: npt.ArrayLike = 0.6
) -> Array:
    """Return the reflectance below a smooth surface, from the measured one (Saunderson) [fraction].

    Matt casts hardly need it; a glossy sealer does.

    Parameters
    ----------
    measured : array_like
        Reflectance as read by the meter [fraction].
    outside, inside : array_like
        Share of light the surface throws back from without and from within [fraction].

    References
    ----------
    Saunderson (1942), J. Opt. Soc. Am. 32:727-736 (from memory).

    Examples
    --------
    >>> round(float(surface_corrected(0.8)), 5)
    0.90476
    """
    seen, k_1, k_2 = (np.asarray(v, dtype=float) for v in (measured, outside, inside))
    return np.asarray((seen - k_1) / (1.0 - k_1 - k_2 * (1.0 - seen)))


def cie_whiteness(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    luminance_percent: npt.ArrayLike,
    white: tuple[float, float] = D65_TEN_DEGREES,
) -> Array:
    """Return the CIE whiteness of a measured color [-].

    Parameters
    ----------
    x, y : array_like
        Chromaticity of the face [-].
    luminance_percent : array_like
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
    shift = 800.0 * (x_n - np.asarray(x, dtype=float)) + 1700.0 * (y_n - np.asarray(y, dtype=float))
    return np.asarray(np.asarray(luminance_percent, dtype=float) + shift)


def cie_tint(
    x: npt.ArrayLike,
    y: npt.ArrayLike,
    white: tuple[float, float] = D65_TEN_DEGREES,
    degrees: int = 10,
) -> Array:
    """Return the CIE tint of a measured color, greenish above 0, reddish below [-].

    Parameters
    ----------
    x, y : array_like
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
    return np.asarray(slope * (x_n - np.asarray(x, dtype=float)) - 650.0 * (y_n - np.asarray(y, dtype=float)))


def whiteness_index(y: npt.ArrayLike, z: npt.ArrayLike) -> Array:
    """Return the older ASTM E313 whiteness from tristimulus Y and Z (illuminant C, percent scale) [-].

    Parameters
    ----------
    y, z : array_like
        Tristimulus values, perfect white Y = 100 [-].

    References
    ----------
    ASTM E313: ``WI = 3.388 Z - 3 Y``.

    Examples
    --------
    >>> round(float(whiteness_index(100.0, 105.0)), 2)
    55.74
    """
    return np.asarray(3.388 * np.asarray(z, dtype=float) - 3.0 * np.asarray(y, dtype=float))
