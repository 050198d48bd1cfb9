"""Dates as they are typed on a command line."""

from __future__ import annotations

import calendar
import datetime as dt
import re
from typing import Final

from optimizer.errors import Fault, FileFaults

_DAY: Final = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")


def typed_day(option: str, text: str) -> dt.date:
    """Return the date of year-month-day.

    Raises
    ------
    FileFaults
        When the text is no date, or the calendar has no such day.

    Examples
    --------
    >>> typed_day("--due", "2026-11-30")
    datetime.date(2026, 11, 30)
    >>> typed_day("--due", "2026-11-31")
    Traceback (most recent call last):
    ...
    optimizer.errors.FileFaults: --due: read 2026-11-31; allowed: days 01 to 30. November 2026 ...
    """
    found = _DAY.fullmatch(text.strip())
    if not found:
        raise _fault(option, text, "year-month-day", "Write the date as year-month-day, such as 2026-12-24.")
    year, month, day = (int(part) for part in found.groups())
    if not 1 <= month <= 12 or year < 1:
        repair = "Write the date as year-month-day, the month second."
        raise _fault(option, text, "a month from 01 to 12", repair)
    last = calendar.monthrange(year, month)[1]
    if not 1 <= day <= last:
        name = f"{calendar.month_name[month]} {year}"
        repair = f"{name} has {last} days: write {year:04}-{month:02}-{last} or another day."
        raise _fault(option, text, f"days 01 to {last}", repair)
    return dt.date(year, month, day)


def _fault(option: str, text: str, allowed: str, repair: str) -> FileFaults:
    return FileFaults([Fault(option, text, allowed, repair)])
