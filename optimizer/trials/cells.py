"""One trial as the cells of a table row, and back, without losing a digit or a sign."""

from __future__ import annotations

import datetime as dt
import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any, Final, cast

from optimizer.errors import Fault, QuantityError
from optimizer.trials.columns import GROUPS, Column, Header
from optimizer.trials.records import Burn, Portion, Reject, Strength, Trial, Weighing
from optimizer.units import parse

__all__ = ["Cell", "neutral", "read_row", "restored", "write_row"]

Cell = str | float | int
"""A cell to write: numbers stay numbers, so that a spreadsheet takes them as such."""

Value = str | float | int | dt.date | tuple[str, ...] | None
"""What a cell means in a trial."""

_RECORDS: Final[dict[str, type[Any]]] = {
    "portions": Portion,
    "weighings": Weighing,
    "strengths": Strength,
    "burns": Burn,
    "rejects": Reject,
}
_NEEDED: Final = {
    "portions": ("material", "mass"),
    "weighings": ("age", "mass"),
    "strengths": ("value",),
    "burns": (),
    "rejects": ("cause", "count"),
}
_FORMULA: Final = re.compile(r"'*[=+\-@\t\n]")
_PLAIN: Final = re.compile(r"-?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?")


def neutral(text: str) -> str:
    """Return text that no spreadsheet takes for a formula: an apostrophe goes before = + - @ tab or line end.

    Parameters
    ----------
    text : str
        Any text [-].

    Returns
    -------
    str
        The text, or the text behind an apostrophe.

    Examples
    --------
    >>> neutral("=1+1"), neutral("'=1+1"), neutral("plain")
    ("'=1+1", "''=1+1", 'plain')
    """
    return f"'{text}" if _FORMULA.match(text) else text


def restored(text: str) -> str:
    """Undo `neutral`.

    Parameters
    ----------
    text : str
        A cell as read [-].

    Returns
    -------
    str
        The text as it was before export.

    Examples
    --------
    >>> restored("'=1+1"), restored("'tis")
    ('=1+1', "'tis")
    """
    return text[1:] if text.startswith("'") and _FORMULA.match(text) else text


def write_row(trial: Trial, columns: Sequence[Column]) -> list[Cell]:
    """Return the cells of `trial` under `columns`.

    Parameters
    ----------
    trial : Trial
        The record [-].
    columns : Sequence[Column]
        As `columns.headers_for` gives them [-].

    Returns
    -------
    list[Cell]
        Numbers in the unit of their column; empty text where nothing was noted.
    """
    return [_write_cell(_value_of(trial, column)) for column in columns]


def read_row(
    cells: Sequence[str], headers: Sequence[Header | None], where: str, decimal_comma: bool = False
) -> tuple[Trial | None, tuple[Fault, ...]]:
    """Return the trial of one row, or every fault of the row.

    Parameters
    ----------
    cells : Sequence[str]
        Texts of the row [-].
    headers : Sequence[Header | None]
        What the columns mean [-].
    where : str
        File and row, for faults [-].
    decimal_comma : bool
        True when the numbers of the file are written with a decimal comma [-].

    Returns
    -------
    tuple[Trial | None, tuple[Fault, ...]]
        The record without checks of its content, or None with the faults.
    """
    values: dict[str, Any] = {}
    readings: dict[str, dict[Any, dict[str, Any]]] = defaultdict(lambda: defaultdict(dict))
    faults: list[Fault] = []
    for header, cell in zip(headers, cells, strict=False):
        if header is None or cell == "":
            continue
        column = header.column
        try:
            value = _read_cell(cell, header, decimal_comma)
        except QuantityError as error:
            faults.append(error.at(f"{where}, column {header.text!r}"))
            continue
        if value is None:
            continue
        if column.part:
            readings[column.field][_place(column)][column.part] = value
        else:
            values[column.field] = value
    faults += _surplus(cells, headers, where)
    for field, found in readings.items():
        values[field], missing = _records(field, found, where)
        faults += missing
    if not faults and "date" not in values:
        faults.append(Fault(f"{where}, column 'date'", "nothing", _DATES, "Add the day of the pour."))
    return (None, tuple(faults)) if faults else (Trial(**values), ())


def _value_of(trial: Trial, column: Column) -> Value:
    value: Any = getattr(trial, column.field)
    if column.number:
        value = getattr(value[column.number - 1], column.part) if column.number <= len(value) else None
    return cast(Value, value)


def _write_cell(value: Value) -> Cell:
    if value is None:
        return ""
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, tuple):
        return neutral(" ".join(value))
    return neutral(value) if isinstance(value, str) else value


def _place(column: Column) -> tuple[int, str]:
    """Order readings by their number; powders named in the header come after, in the order of the columns."""
    return (column.number, "") if column.number else (10**6, column.material)


def _records(
    field: str, found: Mapping[tuple[int, str], dict[str, Any]], where: str
) -> tuple[tuple[Any, ...], list[Fault]]:
    records: list[Any] = []
    faults: list[Fault] = []
    for (number, material), parts in sorted(found.items(), key=lambda item: item[0][0]):
        if material:
            if "mass" not in parts or parts["mass"] == 0.0:
                continue  # a column per powder: an empty or zero cell means it is not in this batch
            parts = {"material": material} | parts
        missing = [part for part in _NEEDED[field] if part not in parts]
        for part in missing:
            unit = dict(_parts_of(field))[part]
            name = Column(field, unit, number, part).header
            repair = "Fill it in, or empty the other cells of this reading."
            faults.append(Fault(f"{where}, column {name!r}", "nothing", "a value", repair))
        if not missing:
            records.append(_RECORDS[field](**parts))
    return tuple(records), faults


def _parts_of(field: str) -> Mapping[str, str]:
    return next(parts for name, parts in GROUPS.values() if name == field)


def _surplus(cells: Sequence[str], headers: Sequence[Header | None], where: str) -> list[Fault]:
    beyond = [cell for cell in cells[len(headers) :] if cell.strip()]
    if not beyond:
        return []
    repair = "Put quotes around text with separators in it, or give the column a header."
    return [Fault(where, f"{len(cells)} cells", f"at most {len(headers)}, one per header", repair)]


def _read_cell(cell: str, header: Header, decimal_comma: bool) -> Value:
    kind = header.column.unit
    if kind == "text":
        return restored(cell.replace("\r\n", "\n").replace("\r", "\n"))
    cell = cell.strip()
    if not cell:
        return None
    if kind == "name":
        return restored(cell)
    if kind == "labels":
        return tuple(restored(cell).split())
    return _date(cell) if kind == "date" else _number(cell, header.unit, kind, decimal_comma)


@lru_cache(maxsize=65536)
def _number(cell: str, given: str, wanted: str, decimal_comma: bool) -> float | int:
    if decimal_comma:
        if "." in cell:
            raise QuantityError(
                cell, "numbers with a decimal comma, as elsewhere in the file", "Write 1234,5."
            )
        cell = cell.replace(",", ".")
    plain = _PLAIN.fullmatch(cell) is not None
    if plain and given == wanted and wanted != "count":
        value = float(cell)
    else:
        bare = plain or not re.search(r"[A-Za-z%°/µ]", cell)
        with_unit = bare and given and given not in ("-", "count") and not (given == wanted == "fraction")
        value = parse(f"{cell} {given}" if with_unit else cell, wanted)
    return int(value) if wanted == "count" else value


_DATES: Final = "a day such as 2026-03-02 or 2.3.2026"


def _date(cell: str) -> dt.date:
    match = re.fullmatch(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})(?:[T ]00:00(?::00)?)?", cell)
    parts = match and (match[1], match[2], match[3])
    if not parts:
        match = re.fullmatch(r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})", cell)
        parts = match and (match[3], match[2], match[1])
    if not parts:
        raise QuantityError(
            cell, _DATES, "Write year-month-day: 3/2/2026 is read differently in different places."
        )
    try:
        return dt.date(*map(int, parts))
    except ValueError:
        raise QuantityError(cell, _DATES, "Write a day the calendar has.") from None
