"""What one working day can cast with one blend: molds, labor, mixer and drying rack, each on its own.

With the calendar: which dates have people in them, and the dates so many of them away.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, Literal, cast

import numpy as np

from optimizer.job import Shop
from optimizer.money.mold_turns import DAY, turns_per_day, whole_down, whole_up
from optimizer.money.request import Candidate

RESOURCES = ("molds", "labor", "mixer", "shelf", "drying")
"""What can hold an order back, by name."""


@dataclass(frozen=True)
class Capacity:
    """The bounds of a working day, and the minutes and days a vessel takes.

    Attributes
    ----------
    day_molds, night_molds : float
        Castings that leave their molds within the shift, and those left in them overnight [count].
    labor : float
        Minutes of work, all people together [min].
    mixer : float
        Castings that the day's mixes fill [count].
    shelf : float
        Places on the drying rack [count].
    cast_minutes, seal_minutes, pack_minutes : float
        Work on one casting, on sealing one vessel (all coats) and on packing one [min].
    shelf_days, drying_days : int
        Days after its casting on which a vessel leaves the drying rack if no work waits, its seal cured, and
        on whose morning it is dry [calendar d].
    seal_days, test_burn_days : int
        Days to a cured seal [calendar d] and days of test burns [working d].
    """

    day_molds: float
    night_molds: float
    labor: float
    mixer: float
    shelf: float
    cast_minutes: float
    seal_minutes: float
    pack_minutes: float
    shelf_days: int
    drying_days: int
    seal_days: int
    test_burn_days: int


def molds_per_mix(working_window: float, shop: Shop) -> int:
    """Return the molds one mix fills: as many as the bucket, the working window and the molds allow.

    Examples
    --------
    A window of 9 min, 5 of them spent mixing, leaves time for four molds at a minute each.

    >>> molds_per_mix(9.0, Shop(mixing=5.0, pour_minutes=1.0, molds_per_mix=6, molds=10))
    4
    """
    time = working_window - shop.mixing
    if time < 0.0:
        return 0
    return whole_down(min(shop.molds_per_mix, _ratio(time, shop.pour_minutes), shop.molds))


def capacity(candidate: Candidate, shop: Shop) -> Capacity:
    """Return what a working day can do with this blend in this shop.

    Parameters
    ----------
    candidate : Candidate
        Demold time, working window, drying time and coats.
    shop : Shop
        Molds at work, people, shift, mixes and shelf.
    """
    turns = turns_per_day(candidate.demold_time, shop)
    by_day = min(turns, turns_per_day(candidate.demold_time, replace(shop, overnight=False)))
    dry = _morning_dry(candidate.drying_time, shop)
    cure = shop.seal_days if candidate.coats > 0 else 0
    return Capacity(
        day_molds=shop.molds * by_day,
        night_molds=shop.molds * (turns - by_day),
        labor=shop.shift * shop.people,
        mixer=shop.mixes_per_day * molds_per_mix(candidate.working_window, shop),
        shelf=shop.shelf_places,
        cast_minutes=shop.cast_minutes,
        seal_minutes=shop.seal_minutes * candidate.coats,
        pack_minutes=shop.pack_minutes,
        shelf_days=dry + cure,
        drying_days=dry,
        seal_days=cure,
        test_burn_days=shop.test_burn_days,
    )


def _morning_dry(drying_time: float, shop: Shop) -> int:
    """Return the days after casting on whose morning a vessel is dry, drying from the end of a shift."""
    return max(1, whole_up(drying_time + min(shop.shift, DAY) / DAY))


def day_rates(bounds: Capacity, shop: Shop) -> Mapping[str, float]:
    """Return the castings a day that each resource alone could keep up [count/d].

    Labor counts every stage of a casting, for sealing and packing take their minutes from the same
    shift; vessels lost on the way need no more of it. A place on the shelf is taken from the day of casting
    until the seal has cured, in calendar days; days off between only lengthen that.
    """
    kept = 1.0 - shop.reject
    sold = kept * (1.0 - shop.finish_reject)
    minutes = bounds.cast_minutes + kept * bounds.seal_minutes + sold * bounds.pack_minutes
    return {
        "molds": bounds.day_molds + bounds.night_molds,
        "labor": _ratio(bounds.labor, minutes),
        "mixer": bounds.mixer,
        "shelf": bounds.shelf / bounds.shelf_days,
    }


def without(bounds: Capacity, resource: str) -> Capacity:
    """Return the same day with one of `RESOURCES` no longer holding anything back."""
    return _LIFTED[resource](bounds)


def _ratio(amount: float, each: float) -> float:
    return math.inf if each == 0.0 else amount / each


_LIFTED: Final[Mapping[str, Callable[[Capacity], Capacity]]] = {
    "molds": lambda bounds: replace(bounds, day_molds=math.inf),
    "labor": lambda bounds: replace(bounds, labor=math.inf),
    "mixer": lambda bounds: replace(bounds, mixer=math.inf),
    "shelf": lambda bounds: replace(bounds, shelf=math.inf),
    "drying": lambda bounds: replace(bounds, drying_days=1, shelf_days=1 + bounds.seal_days),
}


@lru_cache(maxsize=64)
def _calendar(working_days: tuple[int, ...], holidays: tuple[datetime.date, ...]) -> np.busdaycalendar:
    mask = [day in working_days for day in range(7)]
    return np.busdaycalendar(weekmask=mask, holidays=np.array(holidays, dtype="datetime64[D]"))


def _of(shop: Shop) -> np.busdaycalendar:
    return _calendar(shop.working_days, shop.holidays)


def next_working(day: datetime.date, shop: Shop) -> datetime.date:
    """Return `day` when people work on it, else the first later day on which they do.

    Examples
    --------
    >>> next_working(datetime.date(2026, 12, 5), Shop())
    datetime.date(2026, 12, 7)
    """
    return shift_working(day, 0, shop)


def shift_working(day: datetime.date, count: int, shop: Shop) -> datetime.date:
    """Return the working day `count` working days after `day`, or before it when `count` is negative.

    A day without work counts as the next working day, or as the one before when `count` is negative.

    Examples
    --------
    >>> shift_working(datetime.date(2026, 12, 4), 1, Shop())
    datetime.date(2026, 12, 7)
    """
    roll: Literal["forward", "backward"] = "forward" if count >= 0 else "backward"
    moved = np.busday_offset(np.datetime64(day), count, roll=roll, busdaycal=_of(shop))
    return cast(datetime.date, moved.item())


def working_days_between(first: datetime.date, last: datetime.date, shop: Shop) -> int:
    """Return the working days from `first` to `last`, both counted; 0 when `last` comes first.

    Examples
    --------
    >>> working_days_between(datetime.date(2026, 12, 1), datetime.date(2026, 12, 8), Shop())
    6
    """
    if last < first:
        return 0
    after = np.datetime64(last) + np.timedelta64(1, "D")
    return int(np.busday_count(np.datetime64(first), after, busdaycal=_of(shop)))


def working_flags(first: datetime.date, count: int, shop: Shop) -> list[bool]:
    """Return for each of `count` calendar days from `first` on whether people work on it.

    Examples
    --------
    >>> working_flags(datetime.date(2026, 12, 4), 4, Shop())
    [True, False, False, True]
    """
    days = np.datetime64(first) + np.arange(count)
    return cast(list[bool], np.is_busday(days, busdaycal=_of(shop)).tolist())
