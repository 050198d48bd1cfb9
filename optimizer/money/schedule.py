"""The day plan of an order: what is cast, sealed and packed on each date until the last box leaves.

Each working day shares its minutes. Casting has those of an even pace, at which finishing keeps up; then
what is dry is sealed and what has cured and burned is packed; what is left of the day casts more. So nothing
that is ready waits long, and the drying rack empties as early as it can. Only the last castings of an order
may go wholly before finishing: the longest wait is behind them, and the work they put off fills the days on
which they dry (the rule of Jackson, 1955, for one worker and jobs with tails: from memory).

A casting takes its place on the drying rack on the day it is poured and keeps it until it is dry, sealed
and its seal has cured, however long it waits for hands. Sealed and cured vessels may touch, so they wait for
test burns and packing off the shelf. Drying and curing run through days off; work and test burns, which
somebody watches, do not. Vessels are counted as expected, so a share lost is a fraction of each day's.
"""

from __future__ import annotations

import datetime
import math
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import accumulate
from typing import NamedTuple

import numpy as np

from optimizer.job import Shop
from optimizer.money.capacity import (
    Capacity,
    day_rates,
    pours_for_order,
    shift_working,
    whole_down,
    whole_up,
    working_days_between,
    working_flags,
)

HORIZON = 3_653
"""Longest plan: ten years [calendar d]."""

_DONE = 1e-6


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


@dataclass(frozen=True)
class OrderSize:
    """How much is made, and what of it is lost on the way.

    Attributes
    ----------
    vessels, pours : int
        Good vessels ordered, and castings to pour for them [count].
    reject, finish_reject : float
        Lost at demolding [fraction of castings] and after sealing [fraction of those left].
    """

    vessels: int
    pours: int
    reject: float
    finish_reject: float


class FloorDay(NamedTuple):
    """One calendar day as `optimizer.money.schedule.DayPlan`; `sealed` and `packed` are running sums."""

    number: int
    working: bool
    cast: int
    limited_by: str
    on_shelf: float
    sealed: float
    packed: float
    off_shelf: float
    minutes: float


@dataclass(frozen=True)
class _Calendar:
    """Which days people work, and for each day of sealing the morning on which packing may begin."""

    working: Sequence[bool]
    packable: Sequence[int]


@lru_cache(maxsize=64)
def _calendar(
    start: datetime.date, week: tuple[int, ...], holidays: tuple[datetime.date, ...], cure: int, burns: int
) -> _Calendar:
    length = HORIZON + 1
    shop = Shop(working_days=week, holidays=holidays)
    working = working_flags(start, length + cure + 7 * burns + 400, shop)
    mornings = np.flatnonzero(working)
    first = list(accumulate((int(flag) for flag in working), initial=0))
    packable = []
    for sealed in range(length):
        cured = sealed + cure
        burned = first[cured] + burns - 1 if burns else 0
        ready = cured if not burns else int(mornings[burned]) + 1 if burned < len(mornings) else HORIZON + 1
        packable.append(ready)
    return _Calendar(working[:length], packable)


def run_floor(
    size: OrderSize, bounds: Capacity, shop: Shop, start: datetime.date, *, until: int, castings_first: int
) -> Floor:
    """Return the floor after the order is packed, or at the end of day `until` when it is not.

    Parameters
    ----------
    bounds : Capacity
        What a working day can do.
    start : datetime.date
        First day on which casting may begin; day 0.
    until : int
        Last day that is lived [calendar d].
    castings_first : int
        So many of the last castings go before sealing and packing [count].
    """
    calendar = _calendar(start, shop.working_days, shop.holidays, bounds.seal_days, bounds.test_burn_days)
    rates = day_rates(bounds, shop)
    pace = whole_down(min(size.pours, rates["molds"], rates["mixer"], rates["labor"]))
    floor = Floor(size, bounds, size.pours - castings_first, pace, calendar.packable)
    for index in range(min(until, HORIZON) + 1):
        floor.live(index, calendar.working[index])
        if floor.packed >= size.vessels - _DONE:
            floor.done = index
            break
    return floor


@dataclass
class Floor:
    """The studio as it stands during the order; `live` takes it through one day.

    Attributes
    ----------
    size, bounds
        As for `run_floor`.
    finish_until : int
        Castings up to which finishing goes first [count].
    pace : int
        Castings a day that molds, mixer and hands, finishing counted, could keep up [count].
    packable : Sequence[int]
        For each day of sealing, the morning on which packing may begin.
    done : int | None
        The day on which the last vessel was packed.
    days : list[FloorDay]
        The days lived.
    """

    size: OrderSize
    bounds: Capacity
    finish_until: int
    pace: int
    packable: Sequence[int]
    done: int | None = None
    days: list[FloorDay] = field(default_factory=list)
    poured: int = 0
    overnight: int = 0
    on_shelf: float = 0.0
    to_seal: float = 0.0
    to_pack: float = 0.0
    sealed: float = 0.0
    packed: float = 0.0
    cured: float = 0.0
    _dry: defaultdict[int, int] = field(default_factory=lambda: defaultdict(int))
    _cured: defaultdict[int, float] = field(default_factory=lambda: defaultdict(float))
    _burned: defaultdict[int, float] = field(default_factory=lambda: defaultdict(float))

    @property
    def seal_each(self) -> float:
        """Work on sealing what is left of one casting [min]."""
        return self.bounds.seal_minutes * (1.0 - self.size.reject)

    def live(self, index: int, working: bool) -> None:
        """Take the floor through one calendar day."""
        self.to_seal += self._dry.pop(index, 0)
        cured = self._cured.pop(index, 0.0)
        self.on_shelf -= cured
        self.cured += cured
        self.to_pack += self._burned.pop(index, 0.0)
        if not working:
            self._note(index, False, 0, "", 0.0)
            return
        self._demold(self.overnight, index)
        self.overnight = 0
        if self.seal_each == 0.0:
            self._seal(0.0, index)
        cast, limited_by = self._cast(self._minutes_to_cast(), index)
        left = self._pack(self._seal(self.bounds.labor - cast * self.bounds.cast_minutes, index))
        used = 0.0 if math.isinf(left) else self.bounds.labor - left
        self._note(index, True, cast, limited_by, used)

    def _note(self, index: int, working: bool, cast: int, limited_by: str, minutes: float) -> None:
        kept = (1.0 - self.size.reject) * (1.0 - self.size.finish_reject)
        off_shelf = max(0.0, self.cured * kept - self.packed)
        sealed = self.sealed * (1.0 - self.size.reject)
        day = (index, working, cast, limited_by, self.on_shelf, sealed, self.packed, off_shelf, minutes)
        self.days.append(FloorDay(*day))

    def _minutes_to_cast(self) -> float:
        """Return the minutes of the day that castings may take.

        At the least they are those of an even pace. A casting is whole: the last one is begun even where a
        little finishing then waits for tomorrow, or minutes would be lost every day.
        """
        labor, each = self.bounds.labor, self.bounds.cast_minutes
        if self.poured >= self.finish_until or each == 0.0:
            return labor
        finishing = self.to_seal * self.seal_each + self.to_pack * self.bounds.pack_minutes
        if math.isinf(labor):
            return labor
        return min(labor, each * max(self.pace, whole_up(max(0.0, labor - finishing) / each)))

    def _cast(self, minutes: float, index: int) -> tuple[int, str]:
        bounds = self.bounds
        cast, limited_by = self.size.pours - self.poured, ""
        if not cast:
            return 0, ""
        each = bounds.cast_minutes
        for name, limit in (
            ("molds", bounds.day_molds + bounds.night_molds),
            ("mixer", bounds.mixer),
            ("shelf", bounds.shelf - self.on_shelf),
            ("labor", minutes / each if each else math.inf),
        ):
            if limit < cast:
                cast, limited_by = max(0, whole_down(limit)), name
        by_day = whole_down(min(cast, bounds.day_molds))
        self.poured += cast
        self.on_shelf += cast
        self._demold(by_day, index)
        self.overnight = cast - by_day
        return cast, limited_by

    def _demold(self, castings: int, index: int) -> None:
        if castings:
            self._dry[index + self.bounds.drying_days] += castings

    def _seal(self, minutes: float, index: int) -> float:
        done, left = _work(self.to_seal, self.seal_each, minutes)
        if not done:
            return left
        self.to_seal -= done
        self.sealed += done
        if self.bounds.seal_days:
            self._cured[index + self.bounds.seal_days] += done
        else:
            self.on_shelf -= done
            self.cured += done
        kept = done * (1.0 - self.size.reject) * (1.0 - self.size.finish_reject)
        if self.packable[index] > index:
            self._burned[self.packable[index]] += kept
        else:
            self.to_pack += kept
        return left

    def _pack(self, minutes: float) -> float:
        wanted = min(self.to_pack, self.size.vessels - self.packed)
        done, left = _work(wanted, self.bounds.pack_minutes, minutes)
        self.to_pack -= done
        self.packed += done
        return left


def _work(waiting: float, minutes_each: float, minutes: float) -> tuple[float, float]:
    """Return what gets done of the work waiting, and the minutes left."""
    if minutes_each == 0.0 or math.isinf(minutes):
        return waiting, minutes
    done = min(waiting, minutes / minutes_each)
    return done, max(0.0, minutes - done * minutes_each)
