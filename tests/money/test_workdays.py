"""Working days against a calendar walked day by day with the standard library."""

from __future__ import annotations

import datetime

import pytest

from optimizer.job import Shop
from optimizer.money.capacity import (
    next_working,
    shift_working,
    working_days_between,
    working_flags,
)

_DATE = datetime.date
_DAY = datetime.timedelta(days=1)
_YEAR_END = Shop(holidays=(_DATE(2026, 12, 25), _DATE(2027, 1, 1)))
_SIX_DAYS = Shop(working_days=(0, 1, 2, 3, 4, 5))


def _works(day: datetime.date, shop: Shop) -> bool:
    return day.weekday() in shop.working_days and day not in shop.holidays


@pytest.mark.parametrize("shop", [Shop(), _YEAR_END, _SIX_DAYS, Shop(working_days=(6,))])
def test_days_agree_with_a_walked_calendar(shop):
    first = _DATE(2026, 12, 1)
    days = [first + number * _DAY for number in range(600)]
    walked = [(day, _works(day, shop)) for day in days]
    assert list(zip(days, working_flags(first, 600, shop), strict=True)) == walked
    working = [day for day, works in walked if works]
    for number, day in enumerate(days[:90]):
        after = [other for other in working if other >= day]
        assert next_working(day, shop) == after[0]
        assert shift_working(day, 5, shop) == after[5]
        assert working_days_between(first, day, shop) == sum(works for _, works in walked[: number + 1])


def test_the_year_end_by_hand():
    """24 December 2026 is a Thursday; the next working day is Monday the 28th (own arithmetic)."""
    assert shift_working(_DATE(2026, 12, 24), 1, _YEAR_END) == _DATE(2026, 12, 28)
    assert shift_working(_DATE(2026, 12, 28), -1, _YEAR_END) == _DATE(2026, 12, 24)
    assert working_days_between(_DATE(2026, 12, 21), _DATE(2027, 1, 3), _YEAR_END) == 8
    assert working_days_between(_DATE(2026, 12, 21), _DATE(2026, 12, 20), _YEAR_END) == 0
