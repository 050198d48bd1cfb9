"""How many molds an order is worth, and what else would make its date, each confirmed by a plan of its own.

Molds first: those owned, the fewest that make the date, the most that are of use.
"""

from __future__ import annotations

import datetime
from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from optimizer.job import Shop
from optimizer.money.capacity import capacity, demold_edges, pours_for_order, turns_per_day, whole_up
from optimizer.money.request import Candidate, OrderRequest
from optimizer.money.schedule import ready_date

LONGEST_SHIFT = 720.0
"""Longest shift proposed [min]."""

_STEP = 15.0
_MOST_PEOPLE_MORE = 10
_PEOPLE_FACTORS = (1.5, 2.0, 3.0, 5.0, 10.0)
_SHELF_STEPS = 1000


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


@dataclass(frozen=True)
class _Trial:
    """Changes, and the order and blend as they are with them."""

    changes: tuple[Change, ...]
    request: OrderRequest
    candidate: Candidate

    def remedy(self) -> Remedy | None:
        ready = ready_in(self.request, self.candidate, self.request.shop, self.request.due)
        return Remedy(self.changes, ready) if ready else None

    def and_molds(self) -> Remedy | None:
        """Return the changes with the fewest molds more that make the date."""
        more = _molds(self.request, self.candidate)
        return Remedy((*self.changes, *more.changes), more.ready) if more else None


def find_remedies(request: OrderRequest, candidate: Candidate) -> tuple[Remedy, ...]:
    """Return every kind of single change that makes the date, each the smallest of its kind.

    Molds, a longer shift, more people, filling overnight, a faster blend, more places on the shelf and more
    working days are tried. When none is enough alone, each of the others but the faster blend is tried
    together with more molds, then more people with more places on the shelf and more molds.

    Parameters
    ----------
    request : OrderRequest
        The order, in the shop as it stands.
    """
    molds = _molds(request, candidate)
    others = [_first(kind(request, candidate), _Trial.remedy) for kind in _KINDS]
    single = [remedy for remedy in (molds, *others) if remedy]
    if single:
        return tuple(single)
    pairs = [_first(kind(request, candidate), _Trial.and_molds) for kind in _KINDS if kind is not _blends]
    return tuple(pair for pair in pairs if pair) or tuple(_hands_and_shelf(request, candidate))


def with_remedy(
    request: OrderRequest, candidate: Candidate, remedy: Remedy
) -> tuple[OrderRequest, Candidate]:
    """Return an order and a blend as they are with a remedy; molds it needs are left to the plan to buy."""
    shop = request.shop
    for change in remedy.changes:
        if change.name == "demold_time":
            candidate = replace(candidate, demold_time=change.needed)
        elif change.name == "overnight":
            shop = replace(shop, overnight=True)
        elif change.name == "working_days":
            shop = replace(shop, working_days=week_of(shop, int(change.needed)))
        elif change.name == "shelf_places":
            shop = replace(shop, shelf_places=int(change.needed))
        elif change.name == "shift":
            shop = replace(shop, shift=change.needed)
        elif change.name == "people":
            shop = replace(shop, people=change.needed)
    return replace(request, shop=shop), candidate


def week_of(shop: Shop, days: int) -> tuple[int, ...]:
    """Return a week of so many working days: the shop's own, then Saturday, Sunday, the others."""
    off = [day for day in (5, 6, 0, 1, 2, 3, 4) if day not in shop.working_days]
    return tuple(sorted((*shop.working_days, *off[: max(0, days - len(shop.working_days))])))


def fast_enough(request: OrderRequest, candidate: Candidate) -> float | None:
    """Return the longest demold time with which the molds owned make the date [min]; None when none does."""
    found = _first(_blends(request, candidate), _Trial.remedy)
    return found.changes[0].needed if found else None


def _first(trials: Sequence[_Trial], tried: Callable[[_Trial], Remedy | None]) -> Remedy | None:
    """Return the least of trials in ascending order that makes the date; more of a thing never harms."""
    if not trials or not tried(trials[-1]):
        return None
    least = bisect_left(trials, True, hi=len(trials) - 1, key=lambda each: tried(each) is not None)
    return tried(trials[least])


def _molds(request: OrderRequest, candidate: Candidate) -> Remedy | None:
    if not request.may_buy_molds:
        return None
    found = search_molds(request, candidate)
    if found.ready is None or found.ready > request.due:
        return None
    return Remedy((Change("molds", request.shop.molds, found.at_work),), found.ready)


def _in_shop(request: OrderRequest, candidate: Candidate, change: Change, shop: Shop) -> _Trial:
    return _Trial((change,), replace(request, shop=shop), candidate)


def _blends(request: OrderRequest, candidate: Candidate) -> list[_Trial]:
    now = turns_per_day(candidate.demold_time, request.shop)
    return [
        _Trial(
            (Change("demold_time", candidate.demold_time, edge),),
            request,
            replace(candidate, demold_time=edge),
        )
        for turns, edge in demold_edges(request.shop)
        if turns > now
    ]


def _overnight(request: OrderRequest, candidate: Candidate) -> list[_Trial]:
    if request.shop.overnight:
        return []
    shop = replace(request.shop, overnight=True)
    return [_in_shop(request, candidate, Change("overnight", 0, 1), shop)]


def _shifts(request: OrderRequest, candidate: Candidate) -> list[_Trial]:
    now = request.shop.shift
    longer = [now + _STEP * more for more in range(1, int((LONGEST_SHIFT - now) / _STEP) + 1)]
    return [
        _in_shop(request, candidate, Change("shift", now, shift), replace(request.shop, shift=shift))
        for shift in longer
    ]


def _people(request: OrderRequest, candidate: Candidate) -> list[_Trial]:
    now = request.shop.people
    return [
        _in_shop(request, candidate, Change("people", now, more), replace(request.shop, people=more))
        for more in _more_people(now)
    ]


def _shelves(request: OrderRequest, candidate: Candidate) -> list[_Trial]:
    shop = request.shop
    pours = pours_for_order(request.vessels, shop)
    step = max(1, (pours - shop.shelf_places) // _SHELF_STEPS)
    sizes = list(range(shop.shelf_places + step, pours + step, step))
    return [
        _in_shop(
            request, candidate, Change("shelf_places", shop.shelf_places, n), replace(shop, shelf_places=n)
        )
        for n in sizes
    ]


def _weeks(request: OrderRequest, candidate: Candidate) -> list[_Trial]:
    shop = request.shop
    longer = [week_of(shop, days) for days in range(len(shop.working_days) + 1, 8)]
    return [
        _in_shop(
            request,
            candidate,
            Change("working_days", len(shop.working_days), len(week)),
            replace(shop, working_days=week),
        )
        for week in longer
    ]


_KINDS = (_blends, _overnight, _shifts, _people, _shelves, _weeks)


def _more_people(now: float) -> list[float]:
    """Return numbers of people to try: ten single steps, then up to ten times as many."""
    steps = {now + more for more in range(1, _MOST_PEOPLE_MORE + 1)}
    return sorted(
        steps | {float(whole_up(now * factor)) for factor in _PEOPLE_FACTORS if now * factor > now + 1}
    )


def _hands_and_shelf(request: OrderRequest, candidate: Candidate) -> Iterator[Remedy]:
    """Yield the fewest people with whom some more places, and then molds, make the date."""

    def wider(hands: _Trial) -> Remedy | None:
        trials = [
            _Trial((*hands.changes, *shelf.changes), shelf.request, candidate)
            for shelf in _shelves(hands.request, candidate)
        ]
        return _first(trials, _Trial.and_molds)

    if found := _first(_people(request, candidate), wider):
        yield found


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
