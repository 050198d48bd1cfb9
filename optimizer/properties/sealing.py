"""Sealing: coats down to a target absorption.

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

FILM_FACTOR: Final = 0.45
"""Share of the absorption that one coat of a film-forming or wax sealer leaves [-], assumption."""

FLOOR_SHARE: Final = 0.02
"""Share of the bare absorption that no number of coats gets below [-], assumption."""

_EDGE_SLACK: Final = 1e-9


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
    3.0
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
    [0.03, 0.0667, 0.1481]
    """
    return np.asarray(absorption_edge(target, factor, np.arange(most + 1.0)))


def absorption_edge(target: Values, factor: Values, coats: Values) -> Values:
    """Return the largest absorption that `coats` coats still bring to `target` [fraction].

    Parameters
    ----------
    target, factor : Values
        As for `sealer_coats`.
    coats : Values
        Coats of sealer [count].

    Examples
    --------
    >>> round(float(absorption_edge(0.03, 0.45, 2)), 4)
    0.1481
    """
    return target / np.maximum(factor**coats, FLOOR_SHARE)
