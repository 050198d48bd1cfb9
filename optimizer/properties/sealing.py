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
import numpy.typing as npt

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

Array = npt.NDArray[np.float64]

FILM_FACTOR: Final = 0.35
"""Share of the absorption that one coat of a film-forming or wax sealer leaves [-], assumption."""

THIN_FACTOR: Final = 0.50
"""Share of the absorption that one coat of a thin acrylic leaves [-], assumption."""

FLOOR_SHARE: Final = 0.02
"""Share of the bare absorption that no number of coats gets below [-], assumption."""

_EDGE_SLACK: Final = 1e-9


def sealed_absorption(
    absorption: npt.ArrayLike, coats: npt.ArrayLike, factor: npt.ArrayLike = FILM_FACTOR
) -> Array:
    """Return the absorption left under `coats` coats [fraction].

    Parameters
    ----------
    absorption : array_like
        Absorption of the bare dry body [fraction].
    coats : array_like
        Coats of sealer [count].
    factor : array_like
        Share of the absorption that one coat leaves [-].

    Notes
    -----
    Assumption, see the module.

    Examples
    --------
    >>> round(float(sealed_absorption(0.17, 2)), 4)
    0.0208
    """
    left = np.maximum(np.asarray(factor, dtype=float) ** np.asarray(coats), FLOOR_SHARE)
    return np.asarray(np.asarray(absorption, dtype=float) * left)


def sealer_coats(
    absorption: npt.ArrayLike, target: npt.ArrayLike, factor: npt.ArrayLike = FILM_FACTOR
) -> Array:
    """Return the coats that bring the absorption down to `target`, infinite when none do [count].

    Parameters
    ----------
    absorption : array_like
        Absorption of the bare dry body [fraction].
    target : array_like
        Absorption to reach, above 0 [fraction].
    factor : array_like
        Share of the absorption that one coat leaves, below 1 [-].

    Notes
    -----
    ``ceil(ln(target / absorption) / ln factor)``, at least 0; assumption, see the module.

    Examples
    --------
    >>> float(sealer_coats(0.17, 0.03))
    2.0
    """
    bare = np.asarray(absorption, dtype=float)
    share = np.asarray(target, dtype=float) / np.maximum(bare, np.finfo(float).tiny)
    coats = np.ceil(np.log(share) / np.log(np.asarray(factor, dtype=float)) - _EDGE_SLACK)
    return np.asarray(np.where(share < FLOOR_SHARE * (1.0 - _EDGE_SLACK), np.inf, np.maximum(coats, 0.0)))


def coat_edges(target: float, factor: float = FILM_FACTOR, most: int = 6) -> Array:
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
    Array
        Ascending edges, index = coats; edges repeat once the floor is reached [fraction].

    Notes
    -----
    Assumption, see the module.

    Examples
    --------
    >>> coat_edges(0.03, most=2).round(4).tolist()
    [0.03, 0.0857, 0.2449]
    """
    return np.asarray(target / np.maximum(factor ** np.arange(most + 1.0), FLOOR_SHARE))


def first_coat_volume(porosity: npt.ArrayLike, area: npt.ArrayLike, depth: npt.ArrayLike = 1.0) -> Array:
    """Return the sealer that the pores drink with the first coat [mL].

    Parameters
    ----------
    porosity : array_like
        Pore share of the body [fraction].
    area : array_like
        Sealed face [m2].
    depth : array_like
        How deep the sealer soaks in [mm]; 1 mm is an assumption.

    Notes
    -----
    Pore volume of the soaked layer; a square meter one millimeter deep is 1000 mL.

    Examples
    --------
    >>> round(float(first_coat_volume(0.30, 0.025)), 6)
    7.5
    """
    return np.asarray(1000.0 * np.asarray(porosity, dtype=float) * np.asarray(area) * np.asarray(depth))


def wax_soak_time(
    depth: npt.ArrayLike,
    pore_radius: npt.ArrayLike,
    viscosity: npt.ArrayLike = 5.0,
    tension: npt.ArrayLike = 26.0,
    contact_angle: npt.ArrayLike = 0.0,
) -> Array:
    """Return how long molten wax takes to soak through an unsealed wall [s].

    Crooked pores stretch it several times over. The point is the order: seconds to minutes, so an
    unsealed inner face is no option.

    Parameters
    ----------
    depth : array_like
        Wall thickness [mm].
    pore_radius : array_like
        Radius of the pores [um].
    viscosity, tension : array_like
        Of the melt: [mPa s] and [mN/m]; defaults are paraffin at 70 to 80 degC, from memory.
    contact_angle : array_like
        Between melt and pore wall [deg].

    References
    ----------
    Washburn (1921), Phys. Rev. 17:273-283: ``t = 2 L^2 eta / (r gamma cos theta)``.

    Examples
    --------
    >>> round(float(wax_soak_time(8.0, 1.0)), 1)
    24.6
    """
    length, radius = np.asarray(depth, dtype=float) * 1e-3, np.asarray(pore_radius, dtype=float) * 1e-6
    pull = radius * np.asarray(tension, dtype=float) * np.cos(np.radians(contact_angle))
    return np.asarray(2.0 * length**2 * np.asarray(viscosity, dtype=float) / pull)
