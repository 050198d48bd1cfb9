"""Working days of a studio: which dates have people in them, and the dates so many of them away."""

from __future__ import annotations

import datetime
from functools import lru_cache
from typing import Literal, cast

import numpy as np

from optimizer.job_inputs import Shop


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
