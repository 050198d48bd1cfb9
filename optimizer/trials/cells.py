"""One trial as the cells of a table row, and back, without losing a digit or a sign."""

from __future__ import annotations

import datetime as dt
import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import zip_longest
from typing import Any, Final, cast

from optimizer.errors import Fault, QuantityError
from optimizer.trials.checks import trial_faults
from optimizer.trials.columns import BOOK, Column, Header
from optimizer.trials.fields import WORDS, labels_of
from optimizer.trials.records import RECORDS, Trial, Version, field_of, needed
from optimizer.units import parse

Cell = str | float | int
"""A cell to write: numbers stay numbers, so that a spreadsheet takes them as such."""

Value = str | float | int | bool | dt.date | tuple[str, ...] | None
"""What a cell means in a trial."""

_Place = tuple[int, str]
_Readings = dict[str, dict[_Place, dict[str, tuple["Typed", Value]]]]

_RECORDS: Final = dict(RECORDS.values())
_FORMULA: Final = re.compile(r"'*[=+\-@\t\n]")
_PLAIN: Final = re.compile(r"-?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?")


def neutral(text: str) -> str:
    """Return text that no spreadsheet takes for a formula: an apostrophe goes before = + - @ tab or line end.

    The text, or the text behind an apostrophe.

    Examples
    --------
    >>> neutral("=1+1"), neutral("'=1+1"), neutral("plain")
    ("'=1+1", "''=1+1", 'plain')
    """
    return f"'{text}" if _FORMULA.match(text) else text


def restored(text: str) -> str:
    """Undo `neutral`.

    Examples
    --------
    >>> restored("'=1+1"), restored("'tis")
    ('=1+1', "'tis")
    """
    return text[1:] if text.startswith("'") and _FORMULA.match(text) else text


def write_row(version: Version, columns: Sequence[Column]) -> list[Cell]:
    """Return the cells of a version of a trial under `columns`.

    Numbers in the unit of their column; empty text where nothing was noted.

    Parameters
    ----------
    columns : Sequence[Column]
        As `columns.headers_for` gives them [-].
    """
    return [_write_cell(_value_of(version, column)) for column in columns]


@dataclass(frozen=True)
class Typed:
    """Where one value of a trial stood in the table.

    Attributes
    ----------
    header : Header
        Its column.
    cell : str
        What was typed.
    """

    header: Header
    cell: str


@dataclass(frozen=True)
class Row:
    """One row of a table as read, before its content is checked.

    Attributes
    ----------
    version : Version
        What could be read; where the day is missing, it holds a stand-in.
    faults : tuple[Fault, ...]
        Cells that could not be read, and readings with a part missing.
    typed : Mapping[str, Typed]
        Place of each value, as `checks` names it (``strengths.2.age``), to where it stood.
    """

    version: Version
    faults: tuple[Fault, ...]
    typed: Mapping[str, Typed]


_STAND_IN: Final = dt.date(2000, 1, 1)


def read_row(
    cells: Sequence[str], headers: Sequence[Header | None], where: str, decimal_comma: bool = False
) -> Row:
    """Return one row of a table, with every fault of its cells.

    What could be read, without checks of its content, and the faults.

    Parameters
    ----------
    decimal_comma : bool
        True when the numbers of the file are written with a decimal comma [-].
    """
    read, faults, broken = _read_cells(cells, headers, where, decimal_comma)
    found: dict[str, Any] = {}
    typed: dict[str, Typed] = {}
    readings: _Readings = defaultdict(lambda: defaultdict(dict))
    for one, value in read:
        column = one.header.column
        if column.part:
            readings[column.field][_place(column)][column.part] = (one, value)
        else:
            found[column.field] = value
            typed[column.field] = one
    for field, parts in readings.items():
        found[field], missing = _records(field, parts, broken, typed, where)
        faults += missing
    faults += [*_surplus(cells, headers, where), *_undated(cells, headers, where)]
    found.setdefault("date", _STAND_IN)
    return Row(_version(found), tuple(faults), typed)


def row_faults(row: Row, where: str, today: dt.date | None = None) -> tuple[Fault, ...]:
    """Return every fault of a row, each at its column and with the value as typed.

    Parameters
    ----------
    row : Row
        From `read_row` [-].
    today : datetime.date | None
        As in `checks.trial_faults` [-].
    """
    return row.faults + tuple(
        at_column(row, fault, where) for fault in trial_faults(row.version.trial, today)
    )


def at_column(row: Row, fault: Fault, where: str) -> Fault:
    """Return a fault of a record as one of the table: the column as in the file, the value as typed.

    Parameters
    ----------
    fault : Fault
        As `checks` names it, such as ``strengths.2.age`` [-].
    """
    typed = row.typed.get(fault.where)
    value = fault.value
    if typed is not None and typed.header.column.unit not in WORDS:
        cell = typed.cell.strip()
        plain = _PLAIN.fullmatch(cell) and typed.header.unit == typed.header.column.unit
        value = repr(cell) if plain or value == cell else f"{cell!r}, which is {value}"
    if typed is None:
        inside = (typed for place, typed in row.typed.items() if f"{place}.".startswith(f"{fault.where}."))
        parent = row.typed.get(fault.where.partition(".")[0])  # labels.2 stands in the column labels
        typed = next(inside, parent)
    column = fault.where if typed is None else f"column {typed.header.text!r}"
    return Fault(f"{where}, {column}", value, fault.allowed, fault.repair)


def cell_text(cell: Cell, decimal_comma: bool = False) -> str:
    """Return a cell as text, numbers with every digit.

    Text that `read_row` reads as the same value.

    Parameters
    ----------
    cell : Cell
        From `write_row` [-].
    decimal_comma : bool
        True: decimal comma in numbers [-].

    Examples
    --------
    >>> cell_text(105.5, decimal_comma=True), cell_text(3)
    ('105,5', '3')
    """
    if isinstance(cell, str):
        return cell
    text = repr(float(cell)) if isinstance(cell, float) else str(int(cell))
    return text.replace(".", ",") if decimal_comma else text


def _read_cells(
    cells: Sequence[str], headers: Sequence[Header | None], where: str, decimal_comma: bool
) -> tuple[list[tuple[Typed, Value]], list[Fault], frozenset[tuple[str, _Place]]]:
    """Return the cells that could be read, the faults of the others, and the readings these belong to."""
    read: list[tuple[Typed, Value]] = []
    faults: list[Fault] = []
    broken: set[tuple[str, _Place]] = set()
    for header, cell in zip(headers, cells, strict=False):
        if header is None or cell == "":
            continue
        try:
            value = _read_cell(cell, header, decimal_comma)
        except QuantityError as error:
            faults.append(error.at(f"{where}, column {header.text!r}"))
            broken.add((header.column.field, _place(header.column)))
            continue
        if value is not None:
            read.append((Typed(header, cell), value))
    return read, faults, frozenset(broken)


def _records(
    field: str,
    found: Mapping[_Place, Mapping[str, tuple[Typed, Value]]],
    broken: frozenset[tuple[str, _Place]],
    typed: dict[str, Typed],
    where: str,
) -> tuple[tuple[Any, ...], list[Fault]]:
    """Return the readings of one group; note in `typed` where each stood."""
    records: list[Any] = []
    faults: list[Fault] = []
    for place, parts in sorted(found.items(), key=lambda item: item[0][0]):
        known: dict[str, Any] = {part: value for part, (_, value) in parts.items()}
        if place[1]:
            if not known.get("mass"):
                continue  # a column per powder: an empty or zero cell means it is not in this batch
            known = {"material": place[1]} | known
        missing = [part for part in needed(_RECORDS[field]) if part not in known]
        if missing:
            if (field, place) not in broken:  # else the cell that cannot be read is the fault
                faults += [_incomplete(field, place[0], part, where) for part in missing]
            continue
        records.append(_RECORDS[field](**known))
        any_cell = next(one for one, _ in parts.values())
        for part in known:
            typed[f"{field}.{len(records)}.{part}"] = parts[part][0] if part in parts else any_cell
    return tuple(records), faults


def _undated(cells: Sequence[str], headers: Sequence[Header | None], where: str) -> list[Fault]:
    """Return the fault of a row without a day, where the table has a column for it."""
    days = [
        cell
        for cell, header in zip_longest(cells, headers, fillvalue="")
        if isinstance(header, Header) and header.column.field == "date"
    ]
    if not days or any(isinstance(day, str) and day.strip() for day in days):
        return []
    return [Fault(f"{where}, column 'date'", "nothing", _DATES, "Add the day of the pour.")]


def _version(found: dict[str, Any]) -> Version:
    number, void = found.pop("version", None), found.pop("void", False)
    return Version(number=number, void=void, reason=found.pop("reason", ""), trial=Trial(**found))


def _incomplete(field: str, number: int, part: str, where: str) -> Fault:
    one = field_of(f"{field}.{part}")
    name = Column(field, one.unit if one else "", number, part).header
    repair = "Fill it in, or empty the other cells of this reading."
    return Fault(f"{where}, column {name!r}", "nothing", "a value", repair)


def _value_of(version: Version, column: Column) -> Value:
    if column.field == "version":
        return version.number
    if column.field in BOOK:
        return ("yes" if version.void else "") if column.field == "void" else version.reason
    value: Any = getattr(version.trial, column.field)
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
        return labels_of(restored(cell))
    if kind == "yes":
        return _yes(cell)
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


def _yes(cell: str) -> bool:
    word = cell.lower()
    if word not in ("yes", "no"):
        raise QuantityError(cell, "yes or no", "Write yes where it does not count, else leave it empty.")
    return word == "yes"


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
