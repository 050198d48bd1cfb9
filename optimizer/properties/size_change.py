"""How much a body widens while it sets and shrinks while it dries.

Both are changes of length without any restraint but that of the grains in the paste; a mold that does not
give way, and a face that dries first, are not looked at. Magnitudes are known to a factor of two at best.
"""

from __future__ import annotations

import numpy as np

from optimizer.properties.arrays import Values


def grain_restraint(grains: Values, exponent: Values) -> Values:
    """Return the share of the paste's own change of length that a body with grains makes [fraction].

    Parameters
    ----------
    grains : Values
        Share of the volume that stiff grains take, below 1 [fraction].
    exponent : Values
        1.2 to 1.7 for sand and gravel [-].

    References
    ----------
    Pickett 1956, J. Am. Concr. Inst. 52:581 (from memory).

    Examples
    --------
    >>> round(float(grain_restraint(0.7, 1.7)), 2)
    0.13
    """
    return (1.0 - grains) ** exponent


def setting_expansion(
    gypsum_share: Values, gypsum: Values, cement: Values, together: Values, restraint: Values = 1.0
) -> Values:
    """Return how much a body lengthens from the liquid mix to the set body, before it dries [mm/m].

    Parameters
    ----------
    gypsum_share : Values
        Gypsum-type share of the hydrates, by volume [fraction].
    gypsum, cement : Values
        What the paste of each alone does, at its water; negative where it shrinks [mm/m].
    together : Values
        What half of each adds: sulfate beside cement makes ettringite in a body that is rigid by then [mm/m].
    restraint : Values
        `grain_restraint` [fraction].

    Notes
    -----
    Linear between the two, with a bow that is full at half of each (assumption). That more sulfate makes the
    same clinker swell is the trade of self-stressing cement, which may swell 13 mm/m under water (GB 20472,
    from memory).

    Examples
    --------
    >>> [round(float(setting_expansion(share, 2.0, 0.3, 1.5)), 2) for share in (1.0, 0.5, 0.0)]
    [2.0, 2.65, 0.3]
    """
    other = 1.0 - gypsum_share
    own = gypsum_share * gypsum + other * cement + 4.0 * gypsum_share * other * together
    return own * restraint


def drying_shrinkage(gypsum_share: Values, gypsum: Values, cement: Values, restraint: Values = 1.0) -> Values:
    """Return how much a body shortens from damp to the moisture of a room [mm/m].

    Parameters
    ----------
    gypsum_share : Values
        Gypsum-type share of the hydrates, by volume [fraction].
    gypsum, cement : Values
        Shrinkage of the paste of each alone [mm/m].
    restraint : Values
        `grain_restraint` [fraction].

    Notes
    -----
    On the log between the two, as other properties of the paste (assumption). Water is left out: one abstract
    has less shrinkage of CSA mortars with more water (Golaszewska 2024, Materials 17:2806), against what
    portland cement does.

    Examples
    --------
    >>> round(float(drying_shrinkage(0.0, 0.3, 1.7, grain_restraint(0.58, 1.7))), 2)
    0.39
    """
    return np.exp(gypsum_share * np.log(gypsum) + (1.0 - gypsum_share) * np.log(cement)) * restraint
