"""The day plan of an order: what is cast, sealed and packed on each date until the last box leaves.

The shop (`optimizer.money.shop_simulation`) finishes what is ready before it casts more, and lets no more
of the last castings go before finishing than the earliest ready date needs.
"""

from __future__ import annotations

import datetime
import math
from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass

from optimizer.job import Shop
from optimizer.money.capacity import Capacity, shift_working, working_days_between
from optimizer.money.mold_turns import pours_for_order, whole_down, whole_up
from optimizer.money.shop_simulation import HORIZON, Floor, OrderSize, run_floor


@dataclass(frozen=True)
class DayPlan:
    """One calendar day of an order.

    Attributes
    ----------
    day : datetime.date
        The date.
    working : bool
        True when people work.
    cast : int
        Castings poured [count].
    on_shelf : int
        Places of the drying rack taken at the end of the day: castings that dry, wait for sealing or cure
        their seal [count].
    off_shelf : int
        Vessels with a cured seal that wait for test burns or packing at the end of the day [count].
    sealed, packed : int
        Vessels sealed and packed, rounded so that the days add up [count].
    minutes : float
        Minutes of work used, all people together [min].
    limited_by : str
        What kept the day from casting more; empty when nothing was left to cast or nobody works.
    """

    day: datetime.date
    working: bool
    cast: int
    on_shelf: int
    off_shelf: int
    sealed: int
    packed: int
    minutes: float
    limited_by: str


@dataclass(frozen=True)
class Schedule:
    """All days of an order.

    Attributes
    ----------
    days : tuple[DayPlan, ...]
        Every calendar day from the start to the day the last box leaves.
    ready : datetime.date
        The day the order is packed and may leave.
    pours : int
        Castings poured in all [count].
    last_cast : datetime.date | None
        The last day of casting; None for an order of nothing.
    castings_first : int
        So many of the last castings go before sealing and packing [count].
    """

    days: tuple[DayPlan, ...]
    ready: datetime.date
    pours: int
    last_cast: datetime.date | None
    castings_first: int = 0

    @property
    def casting_days(self) -> int:
        """Days on which anything is cast [count]."""
        return sum(1 for day in self.days if day.cast)

    @property
    def fullest(self) -> DayPlan | None:
        """The first day on which most places of the drying rack are taken; None for an order of nothing."""
        return max(self.days, key=lambda day: day.on_shelf, default=None)


def make_schedule(vessels: int, bounds: Capacity, shop: Shop, start: datetime.date) -> Schedule | None:
    """Return the day plan of an order, or None when it cannot be made within ten years.

    Parameters
    ----------
    vessels : int
        Good vessels ordered [count].
    bounds : Capacity
        What a working day can do.
    shop : Shop
        Rejects, calendar and days of packing.
    start : datetime.date
        First day on which casting may begin.
    """
    size = _size(vessels, shop)
    if size.pours == 0:
        return Schedule((), start, 0, None)
    found = _earliest(size, bounds, shop, start, HORIZON)
    if found is None:
        return None
    done, first = found

    def ends(castings_first: int) -> Floor:
        return run_floor(size, bounds, shop, start, until=done, castings_first=castings_first)

    first = bisect_left(range(first), True, key=lambda number: ends(number).done is not None)
    floor = ends(first)
    assert floor.done is not None
    ready = _boxed(start + datetime.timedelta(days=floor.done), shop)
    days = tuple(_days(floor, start))
    return Schedule(days, ready, size.pours, max(each.day for each in days if each.cast), first)


def ready_date(
    vessels: int,
    bounds: Capacity,
    shop: Shop,
    start: datetime.date,
    until: datetime.date | None = None,
    pours: int | None = None,
) -> datetime.date | None:
    """Return the day an order is ready, or None when that is not by `until`, or not within ten years.

    Parameters
    ----------
    vessels, bounds, shop, start
        As for `make_schedule`, whose plan is ready on the day given here.
    until : datetime.date | None
        Stop looking after this day.
    pours : int | None
        Castings poured until the last good one [count]; default: those planned.
    """
    size = _size(vessels, shop, pours)
    last = HORIZON if until is None else min(HORIZON, (until - start).days)
    if size.pours == 0:
        return start if last >= 0 else None
    found = _earliest(size, bounds, shop, start, last)
    ready = found and _boxed(start + datetime.timedelta(days=found[0]), shop)
    return ready if ready and (until is None or ready <= until) else None


def most_vessels(bounds: Capacity, shop: Shop, start: datetime.date) -> int:
    """Return the good vessels that are packed within ten years [count]."""
    kept = (1.0 - shop.reject) * (1.0 - shop.finish_reject)
    most = _most_a_day(bounds) * (HORIZON + 1)
    if most < 1.0 or math.isinf(most):
        return 0
    size = OrderSize(whole_up(most), whole_up(most / kept), shop.reject, shop.finish_reject)
    return whole_down(run_floor(size, bounds, shop, start, until=HORIZON, castings_first=0).packed)


def _size(vessels: int, shop: Shop, pours: int | None = None) -> OrderSize:
    """Return the order's size, counted so that the last casting is needed: the date is as sure as the pours.

    Castings beyond those expected to be needed are counted as lost at the latest stage that loses any.
    """
    pours = pours_for_order(vessels, shop) if pours is None else pours
    kept = vessels / pours if pours else 1.0
    demolded = max(1.0 - shop.reject, kept)
    return OrderSize(vessels, pours, 1.0 - demolded, 1.0 - kept / demolded)


def _earliest(
    size: OrderSize, bounds: Capacity, shop: Shop, start: datetime.date, until: int
) -> tuple[int, int] | None:
    """Return the earliest last day of packing and how many castings go first for it."""
    if _hopeless(size, bounds, shop, start, until):
        return None
    best: tuple[int, int] | None = None
    for first in (_most_first(size, bounds), 0):
        floor = run_floor(size, bounds, shop, start, until=until, castings_first=first)
        if floor.done is not None:
            best = (floor.done, first)
            until = floor.done - 1 if first else until
    return best


def _most_first(size: OrderSize, bounds: Capacity) -> int:
    """Return how many castings may go before finishing: those of the days a vessel is on its way itself.

    More would gain a day or two on a long order, and pile up vessels by the thousand until its end.
    """
    way = bounds.drying_days + bounds.seal_days + bounds.test_burn_days
    return whole_up(min(size.pours, way * _most_a_day(bounds)))


def _hopeless(size: OrderSize, bounds: Capacity, shop: Shop, start: datetime.date, until: int) -> bool:
    """Return whether castings, or the work on all of them, cannot be done by `until` in any plan."""
    a_day = _most_a_day(bounds)
    if a_day < 1.0 or until < 0:
        return True
    last = start + datetime.timedelta(days=until)
    days = working_days_between(start, last, shop)
    sealed = size.vessels / (1.0 - size.finish_reject)
    minutes = size.pours * bounds.cast_minutes + sealed * bounds.seal_minutes
    minutes += size.vessels * bounds.pack_minutes
    return size.pours > days * a_day or minutes * (1.0 - 1e-9) > days * bounds.labor


def _most_a_day(bounds: Capacity) -> float:
    by_labor = math.inf if bounds.cast_minutes == 0.0 else bounds.labor / bounds.cast_minutes
    return min(bounds.day_molds + bounds.night_molds, bounds.mixer, bounds.shelf, by_labor)


def _boxed(packed: datetime.date, shop: Shop) -> datetime.date:
    return shift_working(packed, max(0, shop.pack_days - 1), shop)


def _days(floor: Floor, start: datetime.date) -> Iterator[DayPlan]:
    """Yield every calendar day, vessels in whole numbers that add up."""
    sealed = packed = 0
    for each in floor.days:
        sealed_by, packed_by = whole_down(each.sealed), whole_down(each.packed)
        yield DayPlan(
            day=start + datetime.timedelta(days=each.number),
            working=each.working,
            cast=each.cast,
            on_shelf=whole_up(each.on_shelf),
            off_shelf=whole_up(each.off_shelf),
            sealed=sealed_by - sealed,
            packed=packed_by - packed,
            minutes=each.minutes,
            limited_by=each.limited_by,
        )
        sealed, packed = sealed_by, packed_by
