"""What a person says about a table that the table does not say itself.

Days are read as people write them: which of the two numbers of 3/2/2026 is the month is never guessed.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from optimizer.errors import Fault, FileFaults

DATE_ORDERS: Final = ("us", "day-first")
"""How a day such as 3/2/2026 is written: month first, or day first."""

_SLASHED: Final = re.compile(r"([0-9]{1,2})[/\-]([0-9]{1,2})[/\-]([0-9]{4}|[0-9]{2})(?:[T ].*)?")
_ANY: Final = re.compile(r"([0-9]{1,2})[/\-.]([0-9]{1,2})[/\-.]([0-9]{4}|[0-9]{2})(?:[T ].*)?")
_DOTTED: Final = re.compile(r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4}|[0-9]{2})")
_ISO: Final = re.compile(r"([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})(?:[T ][0-9:.]+)?")
_NAMED: Final = re.compile(r"([0-9]{1,2})[ \-.]*([a-z]{3,9})[ \-.,]*([0-9]{4}|[0-9]{2})")
_NAMED_FIRST: Final = re.compile(r"([a-z]{3,9})[ .]*([0-9]{1,2})(?:st|nd|rd|th)?[ ,]+([0-9]{4}|[0-9]{2})")
_MONTHS: Final = (
    *("january", "february", "march", "april", "may", "june", "july"),
    *("august", "september", "october", "november", "december"),
)


@dataclass(frozen=True)
class ImportChoices:
    """Answers to what a table leaves open.

    Attributes
    ----------
    dates : str
        One of `DATE_ORDERS`; empty: see whether the days themselves show it.
    units : tuple[str, ...]
        Units of plain numbers in columns without one, each for the columns it fits.
    columns : Mapping[str, str]
        Header, as `header_key` gives it, to the column or material it means; empty: not read.
    """

    dates: str = ""
    units: tuple[str, ...] = ()
    columns: Mapping[str, str] = field(default_factory=dict)


def header_key(text: str) -> str:
    """Return a header in one writing: lower case, words joined by underscores.

    Examples
    --------
    >>> header_key(" Gypsum-Cement,  g ")
    'gypsum_cement_g'
    """
    return re.sub(r"[\s_\-.,:;]+", "_", text.strip().lower()).strip("_")


def read_choices(dates: str = "", units: Iterable[str] = (), columns: Iterable[str] = ()) -> ImportChoices:
    """Return the choices as typed.

    Parameters
    ----------
    dates : str
        One of `DATE_ORDERS`, or empty [-].
    columns : Iterable[str]
        ``header=meaning`` each [-].

    Raises
    ------
    FileFaults
        For a column without an equals sign.

    Examples
    --------
    >>> read_choices(units=["g, min"], columns=["Cement=csa_cement"])
    ImportChoices(dates='', units=('g', 'min'), columns={'cement': 'csa_cement'})
    """
    parts = [text.partition("=") for text in columns]
    repair = (
        'Write the header, = and what it means, such as "Cement=csa_cement"; nothing after = leaves it out.'
    )
    faults = [
        Fault("--column", repr(name), "header=meaning", repair) for name, equals, _ in parts if not equals
    ]
    if faults:
        raise FileFaults(faults)
    listed = [unit.strip() for text in units for unit in text.split(",")]
    named = {header_key(name): meaning.strip() for name, _, meaning in parts}
    return ImportChoices(dates, tuple(filter(None, listed)), named)


def order_of_pattern(text: str) -> str:
    """Return the order that a pattern such as ``mm/dd/yyyy`` names; empty where it names none.

    Examples
    --------
    >>> order_of_pattern("MM/DD/YYYY"), order_of_pattern("d/m/y"), order_of_pattern("poured")
    ('us', 'day-first', '')
    """
    letters = re.sub(r"[^dmy]+", " ", text.lower()).split()
    if len(letters) != 3 or re.search(r"[a-ce-ln-xz]", text.lower()):
        return ""
    return {"md": "us", "dm": "day-first"}.get(letters[0][0] + letters[1][0], "")


def date_order(cells: Iterable[str], dotted: bool = False) -> tuple[str, str]:
    """Return the order the slashed days of a column must have, and a day that shows it.

    ``us`` or ``day-first`` where a day such as 3/14/2026 decides it; ``both`` where two days contradict each
    other; ``open`` where none decides; empty where no day is slashed.

    Parameters
    ----------
    dotted : bool
        True: days with points count as slashed ones do; else they are always day first [-].

    Examples
    --------
    >>> date_order(["3/2/2026", "3/14/2026"]), date_order(["3/2/2026"]), date_order(["2026-03-02"])
    (('us', '3/14/2026'), ('open', '3/2/2026'), ('', ''))
    """
    shown: dict[str, str] = {}
    for cell in cells:
        match = (_ANY if dotted else _SLASHED).fullmatch(cell.strip())
        if match:
            first, second = int(match[1]), int(match[2])
            order = "day-first" if first > 12 else "us" if second > 12 else "open"
            shown.setdefault(order, cell.strip())
    decided = {order: cell for order, cell in shown.items() if order != "open"}
    if len(decided) == 2:
        return "both", " and ".join(decided.values())
    return next(iter(decided.items()), next(iter(shown.items()), ("", "")))


def iso_day(cell: str, order: str, dotted: bool = False) -> str:
    """Return a day as year-month-day; a cell that is no day stays as it is.

    ``2026-03-02``, or the cell.

    Parameters
    ----------
    order : str
        ``us`` or ``day-first`` for slashed days [-].
    dotted : bool
        As in `date_order` [-].

    Examples
    --------
    >>> iso_day("3/2/26", "us"), iso_day("3/2/26", "day-first"), iso_day("2-Mar-2026", "")
    ('2026-03-02', '2026-02-03', '2026-03-02')
    >>> iso_day("soon", "us"), iso_day("3.2.26", "us"), iso_day("3.2.26", "us", dotted=True)
    ('soon', '2026-02-03', '2026-03-02')
    """
    text = cell.strip()
    parts = _parts(text.lower(), order, dotted)
    if parts is None:
        return cell
    year, month, day = parts
    try:
        return dt.date(year + (2000 if year < 100 else 0), month, day).isoformat()
    except ValueError:
        return cell


def _parts(text: str, order: str, dotted: bool) -> tuple[int, int, int] | None:
    """Return year, month and day of a text."""
    if match := _ISO.fullmatch(text.upper()):
        return int(match[1]), int(match[2]), int(match[3])
    if not dotted and (match := _DOTTED.fullmatch(text)):
        return int(match[3]), int(match[2]), int(match[1])
    if (match := (_ANY if dotted else _SLASHED).fullmatch(text)) and order:
        first, second = int(match[1]), int(match[2])
        month, day = (first, second) if order == "us" else (second, first)
        return int(match[3]), month, day
    if match := _NAMED.fullmatch(text):
        return _with_month(match[3], match[2], match[1])
    if match := _NAMED_FIRST.fullmatch(text):
        return _with_month(match[3], match[1], match[2])
    return None


def _with_month(year: str, word: str, day: str) -> tuple[int, int, int] | None:
    found = [number for number, name in enumerate(_MONTHS, start=1) if name.startswith(word)]
    return (int(year), found[0], int(day)) if len(found) == 1 or word == "may" else None
