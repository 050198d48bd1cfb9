"""Sealing: coats down to a target absorption, what the first coat drinks, how fast wax soaks in.

Coats are a step function of absorption. `coat_edges` gives the absorption at which each step lies, so
that a solver can hold an edge as a limit instead of meeting the step.

Notes
-----
No published law relates coats to absorption. The form used, a fixed share left by each coat and a floor
that no number of coats gets below, is an assumption; one sandstone study found that two or three coats
differ little while curing time matters more (Appl. Sci. 2024, 14:4541, abstract read).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.properties.arrays import TINY, Values

__all__ = [
    "FILM_FACTOR",
    "FLOOR_SHARE",
    "THIN_FACTOR",
    "coat_edges",
    "first_coat_volume",
    "sealed_absorption",
    "sealer_coats",
    "wax_soak_time",
]

FILM_FACTOR: Final = 0.35
"""Share of the absorption that one coat of a film-forming or wax sealer leaves [-], assumption."""

THIN_FACTOR: Final = 0.50
"""Share of the absorption that one coat of a thin acrylic leaves [-], assumption."""

FLOOR_SHARE: Final = 0.02
"""Share of the bare absorption that no number of coats gets below [-], assumption."""

_EDGE_SLACK: Final = 1e-9


def sealed_absorption(absorption: Values, coats: Values, factor: Values = FILM_FACTOR) -> Values:
    """Return the absorption left under `coats` coats [fraction].

    Parameters
    ----------
    absorption : Values
        Absorption of the bare dry body [fraction].
    coats : Values
        Coats of sealer [count].
    factor : Values
        Share of the absorption that one coat leaves [-].

    Notes
    -----
    Assumption, see the module.

    Examples
    --------
    >>> round(float(sealed_absorption(0.17, 2)), 4)
    0.0208
    """
    return absorption * np.maximum(factor**coats, FLOOR_SHARE)


def sealer_coats(absorption: Values, target: Values, factor: Values = FILM_FACTOR) -> Values:
    """Return the coats that bring the absorption down to `target`, infinite when none do [count].

    Parameters
    ----------
    absorption : Values
        Absorption of the bare dry body [fraction].
    target : Values
        Absorption to reach, above 0 [fraction].
    factor : Values
        Share of the absorption that one coat leaves, below 1 [-].

    Notes
    -----
    ``ceil(ln(target / absorption) / ln factor)``, at least 0; assumption, see the module.

    Examples
    --------
    >>> float(sealer_coats(0.17, 0.03))
    2.0
    """
    share = target / np.maximum(absorption, TINY)
    coats = np.ceil(np.log(share) / np.log(factor) - _EDGE_SLACK)
    return np.where(share < FLOOR_SHARE * (1.0 - _EDGE_SLACK), np.inf, np.maximum(coats, 0.0))


def coat_edges(target: float, factor: float = FILM_FACTOR, most: int = 6) -> NDArray[np.float64]:
    """Return the largest absorption that 0, 1, ... `most` coats still bring to `target` [fraction].

    Parameters
    ----------
    target : float
        Absorption to reach [fraction].
    factor : float
        Share of the absorption that one coat leaves [-].
    most : int
        Most coats allowed [count].

    Returns
    -------
    NDArray
        Ascending edges, index = coats; edges repeat once the floor is reached [fraction].

    Notes
    -----
    Assumption, see the module.

    Examples
    --------
    >>> coat_edges(0.03, most=2).round(4).tolist()
    [0.03, 0.0857, 0.2449]
    """
    return target / np.maximum(factor ** np.arange(most + 1.0), FLOOR_SHARE)


def first_coat_volume(porosity: Values, area: Values, depth: Values = 1.0) -> Values:
    """Return the sealer that the pores drink with the first coat [mL].

    Parameters
    ----------
    porosity : Values
        Pore share of the body [fraction].
    area : Values
        Sealed face [m2].
    depth : Values
        How deep the sealer soaks in [mm]; 1 mm is an assumption.

    Notes
    -----
    Pore volume of the soaked layer; a square meter one millimeter deep is 1000 mL.

    Examples
    --------
    >>> round(float(first_coat_volume(0.30, 0.025)), 6)
    7.5
    """
    return 1000.0 * porosity * area * depth


def wax_soak_time(
    depth: Values,
    pore_radius: Values,
    viscosity: Values = 5.0,
    tension: Values = 26.0,
    contact_angle: Values = 0.0,
) -> Values:
    """Return how long molten wax takes to soak through an unsealed wall [s].

    Crooked pores stretch it several times over. The point is the order: seconds to minutes, so an
    unsealed inner face is no option.

    Parameters
    ----------
    depth : Values
        Wall thickness [mm].
    pore_radius : Values
        Radius of the pores [um].
    viscosity, tension : Values
        Of the melt: [mPa s] and [mN/m]; defaults are paraffin at 70 to 80 degC, from memory.
    contact_angle : Values
        Between melt and pore wall [deg].

    References
    ----------
    Washburn (1921), Phys. Rev. 17:273-283: ``t = 2 L^2 eta / (r gamma cos theta)``.

    Examples
    --------
    >>> round(float(wax_soak_time(8.0, 1.0)), 1)
    24.6
    """
    length, radius = depth * 1e-3, pore_radius * 1e-6
    pull = radius * tension * np.cos(np.radians(contact_angle))
    return 2.0 * length**2 * viscosity / pull
