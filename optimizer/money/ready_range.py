"""When an order is ready, over all that its plan does not know: times, coats of sealer, castings that fail.

Each draw of the blend's times has a number of castings of its own, at one of `_LEVELS` equally likely points
of the law of `optimizer.money.pours`; the range holds the dates from the 5 % to the 95 % point.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable
from functools import cache
from typing import Final

from optimizer.job_inputs import Shop
from optimizer.money.capacity import Capacity, capacity
from optimizer.money.mold_turns import whole_up
from optimizer.money.pours import pours_for_order
from optimizer.money.request import Candidate, OrderRequest, Times
from optimizer.money.schedule import ready_date

__all__ = ["ready_range"]

_LEVELS: Final = 10
_ENDS: Final = (0.05, 0.95)


def ready_range(
    request: OrderRequest, candidate: Candidate, shop: Shop, begins: Callable[[Capacity], datetime.date]
) -> tuple[datetime.date | None, datetime.date | None]:
    """Return the 5 % and the 95 % point of the ready date; None for never.

    Parameters
    ----------
    request, candidate
        The order, and the blend with its draws.
    shop
        The shop with the molds at work.
    begins
        First day of casting with what a working day can do in one draw.
    """
    own = Times(candidate.demold_time, candidate.drying_time, candidate.working_window, candidate.coats)
    draws = candidate.drawn or (own,) * _LEVELS
    levels = [(k + 0.5) / _LEVELS for k in range(_LEVELS)]
    pours = [pours_for_order(request.vessels, shop, level) for level in levels]

    @cache
    def ready(bounds: Capacity, count: int) -> datetime.date | None:
        return ready_date(request.vessels, bounds, shop, begins(bounds), pours=count)

    dates = [
        ready(capacity(candidate.taking(times), shop), pours[k % _LEVELS]) if _ends(times) else None
        for k, times in enumerate(draws)
    ]
    dates.sort(key=lambda day: day or datetime.date.max)
    early, late = (dates[max(0, whole_up(end * len(dates)) - 1)] for end in _ENDS)
    return early, late


def _ends(times: Times) -> bool:
    """Return whether a vessel dries and can be sealed at all."""
    return math.isfinite(times.drying_time) and math.isfinite(times.coats)
