"""How far the axes of trade-offs reach: all blends and rings, near limits, whiskers up to the edge."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

_FAR: Final = 1.0
"""Spreads of the blends and rings beyond which a limit stays off the chart."""

_WHISKER: Final = 0.3
"""Spreads of the blends and rings that whiskers may add at each end."""

_PAD: Final = 0.08
"""Spreads left free at each end, so that rings and letters stay inside."""


@dataclass(frozen=True)
class Reach:
    """Ends of an axis, and the limits on it that are near enough to be drawn.

    Attributes
    ----------
    low, high : float
        Ends, in shown units.
    limits : tuple[float, ...]
        Bounds between them.
    """

    low: float
    high: float
    limits: tuple[float, ...] = ()


def reach_of(places: Iterable[float], whiskers: Iterable[float], limits: Iterable[float]) -> Reach:
    """Return how far an axis reaches.

    Parameters
    ----------
    places : Iterable[float]
        Where blends and rings stand; those that are not finite are passed over.
    whiskers : Iterable[float]
        Ends of likely ranges; they widen the axis a little, and are cut where it ends.
    limits : Iterable[float]
        Bounds; those far from all blends stay off.

    Examples
    --------
    >>> reach_of([30.0, 50.0], [20.0, float("inf")], [180.0])
    Reach(low=21.44, high=58.56, limits=())
    >>> reach_of([30.0, 50.0], [], [60.0]).limits
    (60.0,)
    """
    known = _finite(places)
    if not known.size:
        return Reach(0.0, 1.0)
    low, high = float(known.min()), float(known.max())
    spread = high - low or max(0.1 * abs(high), 0.1)
    near = tuple(bound for bound in limits if low - _FAR * spread <= bound <= high + _FAR * spread)
    ends = np.array([*whiskers, low, high], dtype=float)
    floor = max(float(np.nanmin(ends)), low - _WHISKER * spread)
    roof = min(float(np.nanmax(ends)), high + _WHISKER * spread)
    floor, roof = min(floor, *near, floor), max(roof, *near, roof)
    pad = _PAD * (roof - floor or spread)
    start = floor - pad
    return Reach(max(start, 0.0) if low >= 0.0 and start < 0.0 else start, roof + pad, near)


def clipped(rows: Sequence[Mapping[str, Any]], reaches: Mapping[str, Reach]) -> pd.DataFrame:
    """Return rows with the whiskers of each axis cut at its ends; an end that is never goes to the edge."""
    frame = pd.DataFrame(rows)
    for axis, reach in reaches.items():
        for part in ("low", "high"):
            name = f"{axis}_{part}"
            frame[name] = frame[name].astype(float).clip(reach.low, reach.high)
    return frame


def _finite(values: Iterable[float]) -> np.ndarray[Any, np.dtype[np.float64]]:
    found = np.array([np.nan if value is None else value for value in values], dtype=float)
    kept: np.ndarray[Any, np.dtype[np.float64]] = found[np.isfinite(found)]
    return kept
