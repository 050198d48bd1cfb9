"""The day plan of an order: what is cast, sealed and packed on each date until the last box leaves.

Casting comes first each working day, then sealing, then packing: the work with the longest wait behind it
goes first (the rule of Jackson, 1955, for one worker and jobs with tails: from memory). Drying and curing
seals run through days off; work and test burns, which somebody watches, do not. What a day leaves undone
waits for the next.

A vessel demolded on some day counts its drying from the end of that day, so it is sealed from the morning
after its last whole day of drying. Its seal cures, samples burn, and it is packed on the working day after.
"""

from __future__ import annotations

import datetime
import math
from collections import defaultdict
from dataclasses import dataclass, field

from optimizer.money.capacity import Capacity
from optimizer.money.turns import pours_needed, whole_down
from optimizer.money.workdays import calendar_days, shift_working
from optimizer.shop import Shop

__all__ = ["DayPlan", "Schedule", "make_schedule"]

_LONGEST = 36_525
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
        Places of the drying shelf taken at the end of the day [count].
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
    """

    days: tuple[DayPlan, ...]
    ready: datetime.date
    pours: int
    last_cast: datetime.date | None

    @property
    def casting_days(self) -> int:
        """Days on which anything is cast [count]."""
        return sum(1 for day in self.days if day.cast)


def make_schedule(
    vessels: int,
    bounds: Capacity,
    shop: Shop,
    start: datetime.date,
    until: datetime.date | None = None,
) -> Schedule | None:
    """Return the day plan of an order, or None when it cannot be made, or not by `until`.

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
    until : datetime.date | None
        Stop looking after this day; None looks a hundred years ahead.
    """
    pours = pours_needed(vessels, shop.reject, shop.finish_reject)
    if pours == 0:
        return Schedule((), start, 0, None)
    if _most_a_day(bounds) < 1.0:
        return None
    last = start + datetime.timedelta(days=_LONGEST) if until is None else until
    floor = _Floor(vessels, pours, bounds, shop)
    for index, (day, working) in enumerate(calendar_days(start, shop)):
        if day > last:
            return None
        floor.live(index, day, working)
        if floor.packed >= vessels - _DONE:
            break
    ready = shift_working(day, max(0, shop.pack_days - 1), shop)
    if ready > last:
        return None
    return Schedule(tuple(floor.days), ready, pours, max(each.day for each in floor.days if each.cast))


def _most_a_day(bounds: Capacity) -> float:
    by_labor = math.inf if bounds.cast_minutes == 0.0 else bounds.labor / bounds.cast_minutes
    return min(bounds.day_molds + bounds.night_molds, bounds.mixer, bounds.shelf, by_labor)


@dataclass
class _Floor:
    """The studio as it stands during the order; `live` takes it through one day."""

    vessels: int
    pours: int
    bounds: Capacity
    shop: Shop
    poured: int = 0
    overnight: int = 0
    on_shelf: int = 0
    to_seal: float = 0.0
    to_pack: float = 0.0
    sealed: float = 0.0
    packed: float = 0.0
    places_freed: dict[int, int] = field(default_factory=lambda: defaultdict(int))
    dried: dict[int, float] = field(default_factory=lambda: defaultdict(float))
    tested: dict[int, float] = field(default_factory=lambda: defaultdict(float))
    days: list[DayPlan] = field(default_factory=list)

    def live(self, index: int, day: datetime.date, working: bool) -> None:
        self.on_shelf -= self.places_freed.pop(index, 0)
        self.to_seal += self.dried.pop(index, 0.0)
        self.to_pack += self.tested.pop(index, 0.0)
        if not working:
            self.days.append(DayPlan(day, False, 0, self.on_shelf, 0, 0, 0.0, ""))
            return
        self._demold(self.overnight, index)
        cast, limited_by = self._cast(index)
        sealed_before, packed_before = self.sealed, self.packed
        left = self._seal(self.bounds.labor - cast * self.bounds.cast_minutes, index, day)
        left = self._pack(left)
        sealed = whole_down(self.sealed) - whole_down(sealed_before)
        packed = whole_down(self.packed) - whole_down(packed_before)
        used = 0.0 if math.isinf(left) else self.bounds.labor - left
        self.days.append(DayPlan(day, True, cast, self.on_shelf, sealed, packed, used, limited_by))

    def _cast(self, index: int) -> tuple[int, str]:
        wanted = self.pours - self.poured
        cast, limited_by = wanted, ""
        by_labor = self.bounds.labor / self.bounds.cast_minutes if self.bounds.cast_minutes else math.inf
        limits = {
            "molds": self.bounds.day_molds + self.bounds.night_molds,
            "labor": by_labor,
            "mixer": self.bounds.mixer,
            "shelf": self.bounds.shelf - self.on_shelf,
        }
        for name, limit in limits.items():
            if limit < cast:
                cast, limited_by = whole_down(limit), name
        by_day = whole_down(min(cast, self.bounds.day_molds))
        self.poured += cast
        self.on_shelf += cast
        self._demold(by_day, index)
        self.overnight = cast - by_day
        return cast, limited_by

    def _demold(self, castings: int, index: int) -> None:
        if castings:
            self.places_freed[index + self.bounds.shelf_days] += castings
            self.dried[index + self.bounds.drying_days + 1] += castings * (1.0 - self.shop.reject)

    def _seal(self, minutes: float, index: int, day: datetime.date) -> float:
        done, left = _work(self.to_seal, self.bounds.seal_minutes, minutes)
        self.to_seal -= done
        self.sealed += done
        kept = done * (1.0 - self.shop.finish_reject)
        wait = self._days_to_packing(day) if done else 0
        if wait:
            self.tested[index + wait] += kept
        else:
            self.to_pack += kept
        return left

    def _days_to_packing(self, sealed: datetime.date) -> int:
        burns = self.bounds.test_burn_days
        if not burns:
            return self.bounds.seal_days
        cured = sealed + datetime.timedelta(days=self.bounds.seal_days)
        return (shift_working(cured, burns - 1, self.shop) - sealed).days + 1

    def _pack(self, minutes: float) -> float:
        wanted = min(self.to_pack, self.vessels - self.packed)
        done, left = _work(wanted, self.bounds.pack_minutes, minutes)
        self.to_pack -= done
        self.packed += done
        return left


def _work(waiting: float, minutes_each: float, minutes: float) -> tuple[float, float]:
    """Return what gets done of the work waiting, and the minutes left."""
    if minutes_each == 0.0 or math.isinf(minutes):
        return waiting, minutes
    done = min(waiting, minutes / minutes_each)
    return done, minutes - done * minutes_each
