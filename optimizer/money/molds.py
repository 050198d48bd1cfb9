"""How many molds an order is worth: those owned, the fewest that make the date, the most that are of use."""

from __future__ import annotations

import datetime
from bisect import bisect_left
from dataclasses import dataclass, replace

from optimizer.job_inputs import Shop
from optimizer.money.capacity import capacity
from optimizer.money.mold_turns import turns_per_day, whole_up
from optimizer.money.pours import pours_for_order
from optimizer.money.request import Candidate, OrderRequest
from optimizer.money.schedule import ready_date


@dataclass(frozen=True)
class MoldSearch:
    """The molds a plan settles on.

    Attributes
    ----------
    at_work : int
        Molds the plan uses [count].
    ready : datetime.date | None
        When the order is ready with them; None when the blend cannot be cast or takes too long.
    ready_owned : datetime.date | None
        When it is ready with the molds owned alone.
    earliest : datetime.date | None
        Earliest ready date over all numbers of molds that may be had.
    earliest_molds : int
        The fewest that reach it [count].
    """

    at_work: int
    ready: datetime.date | None
    ready_owned: datetime.date | None
    earliest: datetime.date | None
    earliest_molds: int


def ready_in(
    request: OrderRequest, candidate: Candidate, shop: Shop, until: datetime.date | None = None
) -> datetime.date | None:
    """Return when the order is ready in a changed shop, or None when that is not by `until`."""
    return ready_date(request.vessels, capacity(candidate, shop), shop, request.start, until)


def search_molds(request: OrderRequest, candidate: Candidate) -> MoldSearch:
    """Return the molds to work with: those owned if they make the date, else the fewest that do.

    Where none make it, the owned ones stay at work, or those of the earliest date where none are owned.
    An order that takes too long with any number is planned with as many as are of use.
    """

    def ready(molds: int, until: datetime.date | None = None) -> datetime.date | None:
        return ready_in(request, candidate, replace(request.shop, molds=molds), until)

    def fewest(low: int, high: int, until: datetime.date) -> int:
        return low + bisect_left(range(low, high), True, key=lambda molds: ready(molds, until) is not None)

    owned, due = request.shop.molds, request.due
    as_it_is = ready(owned)
    most = max(owned, _most_useful(request, candidate)) if request.may_buy_molds else owned
    with_most = ready(most) if most > owned else as_it_is
    earliest = min(filter(None, (as_it_is, with_most)), default=None)
    top = owned if earliest == as_it_is else most
    least = fewest(0, top, earliest) if earliest else 0
    if as_it_is and as_it_is <= due:
        return MoldSearch(owned, as_it_is, as_it_is, earliest, least)
    if earliest and earliest <= due:
        molds = fewest(owned, most, due)
        return MoldSearch(molds, ready(molds), as_it_is, earliest, least)
    if as_it_is:
        return MoldSearch(owned, as_it_is, as_it_is, earliest, least)
    return MoldSearch(least if earliest else most, earliest, None, earliest, least)


def _most_useful(request: OrderRequest, candidate: Candidate) -> int:
    """Return a number of molds beyond which none is of use: more than the rest of the shop can fill."""
    shop = request.shop
    pours = pours_for_order(request.vessels, shop)
    with_all = capacity(candidate, replace(shop, molds=max(pours, shop.molds_per_mix)))
    by_labor = with_all.labor / with_all.cast_minutes if with_all.cast_minutes else pours
    castings = min(pours, by_labor, with_all.mixer, with_all.shelf)
    by_day = turns_per_day(candidate.demold_time, replace(shop, overnight=False))
    return max(whole_up(castings / max(1, by_day)), shop.molds_per_mix)
