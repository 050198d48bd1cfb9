"""Readings that settle: an exponential approach, after a steady stage if there is one.

The fit knows how little a few readings say: what is known beforehand enters as further residuals, and the
answer comes with draws from its doubt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_DRAWS: Final = 2000
_SEED: Final = 20260302
_STARTS: Final = 41
_LONGEST_STAGE: Final = 0.9


@dataclass(frozen=True)
class Beforehand:
    """What is known before the first reading.

    Attributes
    ----------
    time, factor : float
        Middle of the time constant [time unit] and the factor it is uncertain by [-].
    steady, steady_error : float
        Share of the gap that closes at a steady rate at first, and its standard error [fraction]; error 0:
        no steady stage.
    end, end_error : float | None, float
        Where it will settle and its standard error [unit of the readings]; None: not known.
    """

    time: float
    factor: float
    steady: float = 0.0
    steady_error: float = 0.0
    end: float | None = None
    end_error: float = 1.0


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
        Time constant tau of the approach [unit of the times].
    steady : float
        Share of the gap that closes at a steady rate before [fraction].
    draws : NDArray
        Sets of (end, gap, ln tau, steady) that fit about as well, one per row.
    misfit : float
        Root mean square of the residuals, in standard errors of a reading [-].
    """

    end: float
    gap: float
    time: float
    steady: float
    draws: NDArray[np.float64]
    misfit: float


def fit_approach(
    times: Sequence[float], values: Sequence[float], errors: Sequence[float], beforehand: Beforehand
) -> Approach:
    """Fit an approach to a steady end.

    Best curve and draws from its doubt. Where the readings scatter more than their errors, the doubt grows in
    proportion.

    Parameters
    ----------
    times : Sequence[float]
        When it was read [any time unit].
    values, errors : Sequence[float]
        Readings and their standard errors [any].
    beforehand : Beforehand
        What is known without the readings.

    Notes
    -----
    ``end + gap (1 - rate t)`` until the steady share is used up, then
    ``end + (1 - steady) gap exp(-(t - t1) / tau)`` without a kink. Least squares; near the best point the
    doubt is taken as normal, from the curvature.

    Examples
    --------
    >>> from math import exp
    >>> days = [0.0, 1.0, 2.0, 3.0, 4.0]
    >>> masses = [300.0 + 60.0 * exp(-day / 0.8) for day in days]
    >>> fit = fit_approach(days, masses, [0.3] * 5, Beforehand(1.0, 3.0))
    >>> round(fit.end, 1), round(fit.time, 2)
    (300.0, 0.8)
    """
    import numpy as np

    t, y, sigma = (np.asarray(row, dtype=float) for row in (times, values, errors))
    first, _ = _best(t, y, sigma, beforehand)
    scatter = (_curve(t, first) - y) / sigma
    misfit = float(np.sqrt(np.sum(scatter**2) / max(len(t) - _free(beforehand), 1)))
    full, slopes = _best(t, y, sigma * max(misfit, 1.0), beforehand)
    draws = np.tile(full, (_DRAWS, 1))
    draws[:, : _free(beforehand)] += _deviations(slopes)
    draws[:, 3] = np.clip(draws[:, 3], 0.0, _LONGEST_STAGE)
    return Approach(float(full[0]), float(full[1]), float(np.exp(full[2])), float(full[3]), draws, misfit)


def _free(beforehand: Beforehand) -> int:
    """Return how many of end, gap, ln tau and steady are fitted."""
    return 4 if beforehand.steady_error else 3


def _best(
    t: NDArray[np.float64], y: NDArray[np.float64], sigma: NDArray[np.float64], beforehand: Beforehand
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return (end, gap, ln tau, steady) of least squares and the slopes of the residuals there."""
    import numpy as np
    from scipy.optimize import least_squares

    free = _free(beforehand)
    fixed = [beforehand.steady] * (4 - free)

    def residuals(point: NDArray[np.float64]) -> NDArray[np.float64]:
        full = np.append(point, fixed)
        return np.concatenate([(_curve(t, full) - y) / sigma, _surprise(full, beforehand)])

    starts = [_start(t, y, log_time, beforehand)[:free] for log_time in _log_times(beforehand)]
    start = min(starts, key=lambda point: float(np.sum(residuals(point) ** 2)))
    middle, reach = np.log(beforehand.time), 6.0 * np.log(beforehand.factor)
    lowest = [-np.inf, -np.inf, middle - reach, 0.0][:free]
    highest = [np.inf, np.inf, middle + reach, _LONGEST_STAGE][:free]
    found = least_squares(residuals, start, x_scale="jac", bounds=(lowest, highest))
    return np.asarray(np.append(found.x, fixed)), np.asarray(found.jac)


def _curve(t: NDArray[np.float64], point: NDArray[np.float64]) -> NDArray[np.float64]:
    import numpy as np

    end, gap, log_time, steady = point
    time = np.exp(log_time)
    left = (1.0 - steady) * gap
    turn = steady / (1.0 - steady) * time
    return np.asarray(
        end + np.where(t < turn, gap - left * t / time, left * np.exp(-np.maximum(t - turn, 0.0) / time))
    )


def _surprise(point: NDArray[np.float64], beforehand: Beforehand) -> list[float]:
    """Return how far the curve is from what was known beforehand, in standard errors."""
    import numpy as np

    rows = [float((point[2] - np.log(beforehand.time)) / np.log(beforehand.factor))]
    if beforehand.steady_error:
        rows.append(float((point[3] - beforehand.steady) / beforehand.steady_error))
    if beforehand.end is not None:
        rows.append(float((point[0] - beforehand.end) / beforehand.end_error))
    return rows


def _log_times(beforehand: Beforehand) -> NDArray[np.float64]:
    import numpy as np

    return np.asarray(np.log(beforehand.time) + np.log(beforehand.factor) * np.linspace(-2.0, 2.0, _STARTS))


def _start(
    t: NDArray[np.float64], y: NDArray[np.float64], log_time: float, beforehand: Beforehand
) -> NDArray[np.float64]:
    """Return the best end and gap for a given time constant: a straight-line fit."""
    import numpy as np

    shape = _curve(t, np.array([0.0, 1.0, log_time, beforehand.steady]))
    end, gap = np.linalg.lstsq(np.column_stack([np.ones_like(t), shape]), y, rcond=None)[0]
    return np.array([end, gap, log_time, beforehand.steady])


def _deviations(slopes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Draw deviations from the best point: normal, with the covariance the slopes of the residuals give."""
    import numpy as np

    normal = np.random.default_rng(_SEED).standard_normal((_DRAWS, slopes.shape[1]))
    normal -= normal.mean(axis=0)
    # so many draws, and no luck of the draw: exactly unit covariance
    normal = np.linalg.solve(np.linalg.cholesky(np.cov(normal.T)), normal.T).T
    return np.asarray(np.linalg.solve(np.linalg.qr(slopes, mode="r"), normal.T).T)
