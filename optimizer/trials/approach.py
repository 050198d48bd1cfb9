"""Readings that settle: a fit of ``end + gap exp(-t / tau)`` that knows how little a few readings say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["Approach", "fit_approach"]

_DRAWS: Final = 2000
_SEED: Final = 20260302
_STARTS: Final = 41


@dataclass(frozen=True, eq=False)
class Approach:
    """The fitted curve and its doubt.

    Attributes
    ----------
    end : float
        Where it settles [unit of the readings].
    gap : float
        Distance from there at time 0 [unit of the readings].
    time : float
        Time constant tau [unit of the times].
    draws : NDArray
        Sets of (end, gap, ln tau) that fit about as well, one per row.
    misfit : float
        Root mean square of the residuals, in standard errors of a reading [-].
    """

    end: float
    gap: float
    time: float
    draws: NDArray[np.float64]
    misfit: float


def fit_approach(
    times: Sequence[float],
    values: Sequence[float],
    errors: Sequence[float],
    typical_time: tuple[float, float],
    known_end: tuple[float, float] | None = None,
) -> Approach:
    """Fit an exponential approach.

    Parameters
    ----------
    times : Sequence[float]
        When it was read [any time unit].
    values, errors : Sequence[float]
        Readings and their standard errors [any].
    typical_time : tuple[float, float]
        Time constant known beforehand: middle [time unit] and the factor it is uncertain by [-].
    known_end : tuple[float, float] | None
        End known beforehand and its standard error [unit of the readings].

    Returns
    -------
    Approach
        Best curve and draws from its doubt. Where the readings scatter more than their errors, the doubt
        grows in proportion.

    Notes
    -----
    Least squares with the knowledge beforehand as further residuals; near the best point the doubt is
    taken as normal in (end, gap, ln tau), from the curvature.

    Examples
    --------
    >>> from math import exp
    >>> days = [0.0, 1.0, 2.0, 3.0, 4.0]
    >>> fit = fit_approach(days, [300.0 + 60.0 * exp(-day / 0.8) for day in days], [0.3] * 5, (1.0, 3.0))
    >>> round(fit.end, 1), round(fit.time, 2)
    (300.0, 0.8)
    """
    import numpy as np
    from scipy.optimize import least_squares

    t, y, sigma = (np.asarray(row, dtype=float) for row in (times, values, errors))
    middle, width = np.log(typical_time[0]), np.log(typical_time[1])

    def residuals(point: NDArray[np.float64]) -> NDArray[np.float64]:
        end, gap, log_time = point
        rows = [(end + gap * np.exp(-t * np.exp(-log_time)) - y) / sigma, [(log_time - middle) / width]]
        if known_end is not None:
            rows.append([(end - known_end[0]) / known_end[1]])
        return np.concatenate(rows)

    starts = [_start(t, y, log_time) for log_time in middle + width * np.linspace(-2.0, 2.0, _STARTS)]
    best = min(starts, key=lambda point: float(np.sum(residuals(point) ** 2)))
    bounds = ([-np.inf, -np.inf, middle - 6.0 * width], [np.inf, np.inf, middle + 6.0 * width])
    found = least_squares(residuals, best, x_scale="jac", bounds=bounds)
    spare = max(len(residuals(found.x)) - 3, 1)
    misfit = float(np.sqrt(np.sum(found.fun**2) / spare))
    draws = _draws(found.x, np.asarray(found.jac), max(misfit, 1.0))
    return Approach(float(found.x[0]), float(found.x[1]), float(np.exp(found.x[2])), draws, misfit)


def _start(t: NDArray[np.float64], y: NDArray[np.float64], log_time: float) -> NDArray[np.float64]:
    """Return the best end and gap for a given time constant: a straight-line fit."""
    import numpy as np

    table = np.column_stack([np.ones_like(t), np.exp(-t * np.exp(-log_time))])
    end, gap = np.linalg.lstsq(table, y, rcond=None)[0]
    return np.array([end, gap, log_time])


def _draws(point: NDArray[np.float64], jacobian: NDArray[np.float64], scale: float) -> NDArray[np.float64]:
    import numpy as np

    normal = np.random.default_rng(_SEED).standard_normal((_DRAWS, 3))
    triangle = np.linalg.qr(jacobian, mode="r")
    return point + scale * np.linalg.solve(triangle, normal.T).T
