"""How many molds an order is worth: those owned, the fewest that make the date, the most that are of use."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, replace

from optimizer.money.capacity import capacity
from optimizer.money.request import Candidate, OrderRequest
from optimizer.money.schedule import Schedule, make_schedule
from optimizer.money.turns import pours_needed, turns_per_day, whole_up
from optimizer.shop import Shop

__all__ = ["MoldSearch", "least_whole", "plan_in", "search_molds"]


@dataclass(frozen=True)
class MoldSearch:
    """The molds a plan settles on.

    Attributes
    ----------
    at_work : int
        Molds the plan uses [count].
    schedule : Schedule | None
        The plan with them; None when the blend cannot be cast.
    owned_are_enough : bool
        True when the molds owned make the date.
    earliest : datetime.date | None
        Earliest ready date over all numbers of molds that may be had.
    earliest_molds : int
        The fewest that reach it [count].
    """

    at_work: int
    schedule: Schedule | None
    owned_are_enough: bool
    earliest: datetime.date | None
    earliest_molds: int


def plan_in(
    request: OrderRequest, candidate: Candidate, shop: Shop, until: datetime.date | None = None
) -> Schedule | None:
    """Return the day plan of the order in a changed shop, or None when it cannot be made by `until`."""
    return make_schedule(request.vessels, capacity(candidate, shop), shop, request.start, until)


def search_molds(request: OrderRequest, candidate: Candidate) -> MoldSearch:
    """Return the molds to work with: those owned if they make the date, else the fewest that do.

    Where none make it, the owned ones stay at work, or those of the earliest date where none are owned.
    """

    def plan(molds: int, until: datetime.date | None = None) -> Schedule | None:
        return plan_in(request, candidate, replace(request.shop, molds=molds), until)

    owned = request.shop.molds
    as_it_is = plan(owned)
    most = max(owned, _most_useful(request, candidate)) if request.may_buy_molds else owned
    best = plan(most)
    earliest = best.ready if best else None
    least = least_whole(0, most, lambda molds: plan(molds, earliest) is not None) if best else 0
    if as_it_is and as_it_is.ready <= request.due:
        return MoldSearch(owned, as_it_is, True, earliest, least)
    if earliest and earliest <= request.due:
        molds = least_whole(owned, most, lambda molds: plan(molds, request.due) is not None)
        return MoldSearch(molds, plan(molds), False, earliest, least)
    if as_it_is:
        return MoldSearch(owned, as_it_is, False, earliest, least)
    return MoldSearch(least, best and plan(least), False, earliest, least)


def least_whole(low: int, high: int, works: Callable[[int], bool]) -> int:
    """Return the least whole number from `low` to `high` that works.

    `high` must work, and whatever is more than a number that works must work too.

    Examples
    --------
    >>> least_whole(0, 100, lambda number: number >= 37)
    37
    """
    while low < high:
        middle = (low + high) // 2
        if works(middle):
            high = middle
        else:
            low = middle + 1
    return high


def _most_useful(request: OrderRequest, candidate: Candidate) -> int:
    """Return a number of molds beyond which none is of use: more than the rest of the shop can fill."""
    shop = request.shop
    pours = pours_needed(request.vessels, shop.reject, shop.finish_reject)
    with_all = capacity(candidate, replace(shop, molds=max(pours, shop.molds_per_mix)))
    by_labor = with_all.labor / with_all.cast_minutes if with_all.cast_minutes else pours
    castings = min(pours, by_labor, with_all.mixer, with_all.shelf)
    by_day = turns_per_day(candidate.demold_time, replace(shop, overnight=False))
    return max(whole_up(castings / max(1, by_day)), shop.molds_per_mix)
