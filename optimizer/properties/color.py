"""How white the dry face looks: two-constant Kubelka-Munk mixing and lightness.

Whiteness is mixed as the ratio of absorbed to scattered light, never by averaging L*. Reflectances and
the luminance Y are fractions of a perfect white.

References
----------
Kubelka & Munk (1931), Z. tech. Phys. 12:593-601; CIE 15 (L*).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from optimizer.properties.arrays import Values

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
