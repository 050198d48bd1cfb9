"""Loads a young or finished vessel meets: squeezed, sucked by its mold, dropped.

Estimates with beam and plate formulas, to size what a casting must bear, not to certify it.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from optimizer.properties.arrays import Values

__all__ = [
    "ATMOSPHERE",
    "THIN_RIM",
    "base_suction_stress",
    "drop_stress",
    "ring_pinch_stress",
]

ATMOSPHERE: Final = 0.1
"""Most that a sealed mold can suck with [MPa]."""

THIN_RIM: Final = 6.0
"""Walls below this need more strength to demold [mm]; judgement."""

_CLAMPED: Final = 0.75
_SUPPORTED: Final = 1.24
_GRAVITY: Final = 9.80665


def ring_pinch_stress(force: Values, radius: Values, wall: Values, band: Values) -> Values:
    """Return the bending stress of a wall squeezed across its diameter [MPa].

    Parameters
    ----------
    force : Values
        Squeeze [N].
    radius : Values
        Mean radius of the wall [mm].
    wall : Values
        Thickness [mm].
    band : Values
        Height of the wall that shares the load: all of it, or some 20 mm of rim [mm].

    References
    ----------
    Thin ring under two opposite forces: ``M = F R / pi``, ``6 M / (b t^2)``.

    Examples
    --------
    >>> round(float(ring_pinch_stress(20.0, 41.0, 5.0, 20.0)), 2)
    3.13
    """
    moment = force * radius / np.pi
    return 6.0 * moment / (band * wall**2)


def base_suction_stress(radius: Values, base: Values, pressure: Values = ATMOSPHERE) -> tuple[Values, Values]:
    """Return the bending stress of a base sucked by the core as it is pulled [MPa].

    Parameters
    ----------
    radius : Values
        Inner radius of the base [mm].
    base : Values
        Thickness of the base [mm].
    pressure : Values
        Suction; letting air in under the core takes it away [MPa].

    Returns
    -------
    clamped, supported : Values
        With the edge held by a stiff wall, and with a wall that gives [MPa].

    References
    ----------
    Round plate under even pressure, ``0.75 p (R/t)^2`` and ``1.24 p (R/t)^2`` (Poisson's ratio 0.3).

    Examples
    --------
    >>> [round(float(stress), 2) for stress in base_suction_stress(37.0, 8.0)]
    [1.6, 2.65]
    """
    slender = (radius / base) ** 2
    load = pressure * slender
    return (_CLAMPED * load), (_SUPPORTED * load)


def drop_stress(drop: Values, mass: Values, volume: Values, modulus: Values = 10.0) -> Values:
    """Return the stress if a fall's energy were spread evenly through the body [MPa].

    Above the bending strength of any blend from table height: none survives a drop by strength.

    Parameters
    ----------
    drop : Values
        Drop [m].
    mass : Values
        Vessel [g].
    volume : Values
        Volume of the body [mL].
    modulus : Values
        Young's modulus [GPa].

    References
    ----------
    Elastic energy: ``sqrt(2 E m g h / V)``.

    Examples
    --------
    >>> round(float(drop_stress(0.75, 600.0, 360.0)), 1)
    15.7
    """
    energy = mass * _GRAVITY * drop / volume
    return np.sqrt(2.0 * modulus * energy)
