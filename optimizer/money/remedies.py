"""What would make the date: single changes to the shop as it stands, each confirmed by a plan of its own."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from optimizer.money.molds import least_whole, plan_in, search_molds
from optimizer.money.request import Candidate, OrderRequest
from optimizer.money.turns import demold_edges, pours_needed, turns_per_day
from optimizer.shop import Shop

__all__ = ["LONGEST_SHIFT", "Change", "Remedy", "find_remedies"]

LONGEST_SHIFT = 720.0
"""Longest shift proposed [min]."""

_STEP = 15.0
_MOST_PEOPLE_MORE = 10


@dataclass(frozen=True)
class Change:
    """One thing to change.

    Attributes
    ----------
    name : str
        Field of the shop (``molds``, ``shift``, ``people``, ``shelf_places``, ``overnight``,
        ``working_days``) or ``demold_time`` of the blend.
    now, needed : float
        Its figure as it stands and the least change that helps; ``overnight`` 0 and 1; ``working_days`` the
        working days of a week [the field's unit].
    """

    name: str
    now: float
    needed: float


@dataclass(frozen=True)
class Remedy:
    """A change, or a pair of changes, that makes the date.

    Attributes
    ----------
    changes : tuple[Change, ...]
        What to change, everything else as it stands.
    ready : datetime.date
        Ready date of the plan made with them.
    """

    changes: tuple[Change, ...]
    ready: datetime.date


def find_remedies(request: OrderRequest, candidate: Candidate) -> tuple[Remedy, ...]:
    """Return every kind of single change that makes the date, each the smallest of its kind.

    Molds, a longer shift, more people, filling overnight, a faster blend, more places on the shelf and more
    working days are tried. When none is enough alone, a longer shift together with more molds is tried.

    Parameters
    ----------
    request : OrderRequest
        The order, in the shop as it stands.
    candidate : Candidate
        The blend.
    """
    kinds = (_molds, _blend, _overnight, _hours, _people, _shelf, _week)
    found = [remedy for kind in kinds if (remedy := kind(request, candidate))]
    return tuple(found) or tuple(_hours_and_molds(request, candidate))


def _first(request: OrderRequest, trials: Iterable[tuple[Change, Candidate, Shop]]) -> Remedy | None:
    for change, candidate, shop in trials:
        if made := plan_in(request, candidate, shop, request.due):
            return Remedy((change,), made.ready)
    return None


def _molds(request: OrderRequest, candidate: Candidate) -> Remedy | None:
    if not request.may_buy_molds:
        return None
    found = search_molds(request, candidate)
    if found.schedule is None or found.schedule.ready > request.due:
        return None
    return Remedy((Change("molds", request.shop.molds, found.at_work),), found.schedule.ready)


def _blend(request: OrderRequest, candidate: Candidate) -> Remedy | None:
    now = turns_per_day(candidate.demold_time, request.shop)
    faster = [edge for turns, edge in demold_edges(request.shop) if turns > now]
    trials = (
        (
            Change("demold_time", candidate.demold_time, edge),
            replace(candidate, demold_time=edge),
            request.shop,
        )
        for edge in faster
    )
    return _first(request, trials)


def _overnight(request: OrderRequest, candidate: Candidate) -> Remedy | None:
    if request.shop.overnight:
        return None
    return _first(request, [(Change("overnight", 0, 1), candidate, replace(request.shop, overnight=True))])


def _hours(request: OrderRequest, candidate: Candidate) -> Remedy | None:
    return _first(request, ((change, candidate, shop) for change, shop in _longer_shifts(request.shop)))


def _longer_shifts(shop: Shop) -> Iterator[tuple[Change, Shop]]:
    shift = shop.shift + _STEP
    while shift <= LONGEST_SHIFT:
        yield Change("shift", shop.shift, shift), replace(shop, shift=shift)
        shift += _STEP


def _people(request: OrderRequest, candidate: Candidate) -> Remedy | None:
    now = request.shop.people
    numbers = [now + more for more in range(1, _MOST_PEOPLE_MORE + 1)]
    return _first(
        request,
        ((Change("people", now, each), candidate, replace(request.shop, people=each)) for each in numbers),
    )


def _shelf(request: OrderRequest, candidate: Candidate) -> Remedy | None:
    shop = request.shop
    pours = pours_needed(request.vessels, shop.reject, shop.finish_reject)

    def works(places: int) -> bool:
        return plan_in(request, candidate, replace(shop, shelf_places=places), request.due) is not None

    if pours <= shop.shelf_places or not works(pours):
        return None
    places = least_whole(shop.shelf_places, pours, works)
    return _first(
        request,
        [(Change("shelf_places", shop.shelf_places, places), candidate, replace(shop, shelf_places=places))],
    )


def _week(request: OrderRequest, candidate: Candidate) -> Remedy | None:
    shop = request.shop
    off = [day for day in (5, 6, 0, 1, 2, 3, 4) if day not in shop.working_days]
    longer = [tuple(sorted((*shop.working_days, *off[:more]))) for more in range(1, len(off) + 1)]
    trials = (
        (
            Change("working_days", len(shop.working_days), len(week)),
            candidate,
            replace(shop, working_days=week),
        )
        for week in longer
    )
    return _first(request, trials)


def _hours_and_molds(request: OrderRequest, candidate: Candidate) -> Iterator[Remedy]:
    for change, shop in _longer_shifts(request.shop):
        remedy = _molds(replace(request, shop=shop), candidate)
        if remedy:
            yield Remedy((change, *remedy.changes), remedy.ready)
            return
