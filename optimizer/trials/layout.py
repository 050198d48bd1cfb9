"""A sheet as casters keep it, put in order: which row is the header, what its columns mean, in which units.

Titles above the header, a row of units beneath it, empty columns and rows of totals are recognized. What is
taken by a likeness or passed over with content in it is kept as a doubt, for a person to confirm; what can be
read in several ways is a question, and the table is refused until it is answered.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from optimizer.errors import Fault
from optimizer.trials.columns import Column, crowded
from optimizer.trials.fields import WORDS
from optimizer.trials.header_words import Meaning, fits, meaning_of
from optimizer.trials.import_choices import ImportChoices, date_order, header_key, iso_day, order_of_pattern

_DEEPEST: Final = 25
"""Rows looked through for the header [count]."""

_SUMMARY: Final = frozenset(
    ("total", "totals", "sum", "average", "averages", "mean", "avg", "min", "max", "median", "count")
)
_NOT_NOTED: Final = frozenset(("-", "–", "—", "n/a", "na", "n.a.", "none", "nil", "?"))
_NUMBER: Final = re.compile(r"\s*-?[0-9][0-9 .,]*([eE][-+]?[0-9]+)?\s*")


@dataclass(frozen=True)
class ColumnRead:
    """What one column of the file was taken for.

    Attributes
    ----------
    written : str
        Its header, as it stands in the file.
    name : str
        Header of the trial table it stands for, with what it says beside the value; empty: not read.
    example : str
        Its first cell with content.
    alike : bool
        True when it was taken for its column by a likeness.
    """

    written: str
    name: str
    example: str
    alike: bool = False


@dataclass(frozen=True)
class Layout:
    """A sheet in order.

    Attributes
    ----------
    names, written : tuple[str, ...]
        Headers of the trial table, and the same columns as they stand in the file.
    header_row : int
        Row of the header in the file.
    rows : tuple[tuple[int, tuple[str, ...]], ...]
        Row in the file and its cells, for every row with content.
    columns : tuple[ColumnRead, ...]
        What each column of the file was taken for.
    dates : str
        Order of slashed days: ``us``, ``day-first``, or empty where there are none.
    questions : tuple[Fault, ...]
        What must be answered before anything is read.
    doubts : tuple[Fault, ...]
        What a person has to look at and confirm.
    """

    names: tuple[str, ...]
    written: tuple[str, ...]
    header_row: int
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    columns: tuple[ColumnRead, ...] = ()
    dates: str = ""
    questions: tuple[Fault, ...] = ()
    doubts: tuple[Fault, ...] = ()

    @property
    def own(self) -> bool:
        """True when every header that is read is one of the trial table's own."""
        return all(column.name in ("", column.written) for column in self.columns)


@dataclass
class _Column:
    """One column while it is made out."""

    place: int
    written: str
    cells: list[str]
    meaning: Meaning = field(default_factory=Meaning)
    name: str = ""

    @property
    def example(self) -> str:
        return next((cell.strip() for cell in self.cells if cell.strip()), "")


def laid_out(
    rows: Iterable[Sequence[str]],
    where: str,
    materials: Collection[str] = (),
    choices: ImportChoices | None = None,
) -> Layout:
    """Return a sheet in order.

    Parameters
    ----------
    materials : Collection[str]
        Names that powders may have; empty: only headers such as ``mass of marble_flour`` name one [-].
    """
    choices = choices or ImportChoices()
    powders = tuple(sorted(name for name in materials if name != "water"))
    sheet = [tuple(row) for row in rows]
    if sheet and crowded(sheet[0]):
        return Layout(sheet[0], sheet[0], 1, ())
    head = _header_place(sheet, powders)
    header = sheet[head] if sheet else ()
    body = [(place, row) for place, row in enumerate(sheet[head + 1 :], head + 2) if any(map(str.strip, row))]
    doubts = [_passed(where, head, sheet)] if any(any(map(str.strip, row)) for row in sheet[:head]) else []
    columns = [
        _Column(place, text.strip(), [row[place] if place < len(row) else "" for _, row in body])
        for place, text in enumerate(header)
    ]
    questions: list[Fault] = []
    for column in columns:
        questions += _understood(column, where, powders, choices)
    if _is_units(columns, body):
        body = body[1:]
        for column in columns:
            column.meaning = replace(column.meaning, unit=column.meaning.unit or _bare(column.cells[0]))
            column.cells = column.cells[1:]
    body, columns, dropped = _without_totals(body, columns, where)
    dates, asked, told = _dates(columns, where, choices)
    questions += [*asked, *_units(columns, where, choices)]
    doubts += [*told, *dropped, *_column_doubts(columns, where), *_running(columns, where)]
    _numbered(columns)
    return _layout(columns, body, head, dates, tuple(questions), tuple(doubts))


def _header_place(sheet: Sequence[Sequence[str]], powders: tuple[str, ...]) -> int:
    """Return the place of the header: the first row with a day and another column, else the best one."""
    best, place = 1, 0
    for number, row in enumerate(sheet[:_DEEPEST]):
        known = [meaning_of(text.strip()[:200], powders, False) for text in row[:500] if text.strip()]
        found = [one for one in known if one.column is not None or one.among]
        dated = any(one.column is not None and one.column.field == "date" for one in found)
        if dated and (len(found) > 1 or number == 0):
            return number
        if len(found) > best:
            best, place = len(found), number
    return place


def _passed(where: str, head: int, sheet: Sequence[Sequence[str]]) -> Fault:
    words = next(cell.strip() for row in sheet[:head] for cell in row if cell.strip())
    repair = "Look whether anything in them matters: they are not read."
    rows = "row 1" if head == 1 else f"rows 1 to {head}"
    return Fault(f"{where}: {rows}", repr(words[:60]), f"a header; the header is row {head + 1}", repair)


def _understood(
    column: _Column, where: str, powders: tuple[str, ...], choices: ImportChoices
) -> Iterator[Fault]:
    """Make out what a column means; give the question where it can mean several."""
    if column.written.startswith("#") or not column.written:
        return
    name = re.sub(r"\s*[\[(].*[\])]$", "", column.written)
    said = choices.columns.get(header_key(column.written), choices.columns.get(header_key(name)))
    column.meaning = Meaning() if said == "" else meaning_of(said or column.written, powders)
    unit = meaning_of(column.written, powders).unit
    if said and not column.meaning.unit and column.meaning.column is not None:
        column.meaning = replace(column.meaning, unit=unit if fits(unit, column.meaning.column) else "")
    if said == "":
        column.written = f"# {column.written}"
    if column.meaning.column is not None and column.meaning.column.part == "material":
        column.cells = [header_key(cell) if header_key(cell) in powders else cell for cell in column.cells]
    if said and column.meaning.column is None and not column.meaning.among:
        yield Fault("--column", repr(said), "a column of the trial table, or a material", _HELP)
    if column.meaning.among:
        among = column.meaning.among
        repair = f'Say which, such as --column "{column.written}={among[0]}".'
        if among == ("weighing 1 mass",):
            repair = f'Say after how many days, such as --column "{column.written}=weight day 3 [g]".'
        yield Fault(f"{where}: column {column.written!r}", repr(column.example), " or ".join(among), repair)


_HELP: Final = "`vesselblend trials columns` lists the columns, `vesselblend materials` the materials."


def _bare(cell: str) -> str:
    return cell.strip().strip("[]()")


def _is_units(columns: Sequence[_Column], body: Sequence[tuple[int, Sequence[str]]]) -> bool:
    """Tell whether the first row beneath the header says units and nothing else."""
    if not body:
        return False
    named = [(column, _bare(column.cells[0])) for column in columns if column.cells[0].strip()]
    return bool(named) and all(
        bool(re.fullmatch("[dmyDMY/. -]+", unit))
        if column.meaning.column is not None and column.meaning.column.unit in WORDS
        else not re.search("[0-9]", unit)
        and (column.meaning.column is None or fits(unit, column.meaning.column))
        for column, unit in named
    )


def _without_totals(
    body: list[tuple[int, tuple[str, ...]]], columns: list[_Column], where: str
) -> tuple[list[tuple[int, tuple[str, ...]]], list[_Column], list[Fault]]:
    """Leave out notes, and rows of sums and averages: such a word stands where day or name should."""
    days = next((one.cells for one in columns if _is_day(one)), [""] * len(body))
    totals, notes = [], []
    for place, (_, row) in enumerate(body):
        words = [cell.strip() for cell in row if cell.strip()]
        if words[0].lower().rstrip(":") in _SUMMARY and not re.search("[0-9]", days[place]):
            totals.append(place)
        elif len(words) == 1 and not re.search("[0-9]", words[0]):
            notes.append(place)
    faults = [
        Fault(f"{where}: row {', '.join(str(body[place][0]) for place in places)}", told, allowed, repair)
        for places, told, allowed, repair in (
            (totals, "a row of totals", "a row per trial", "It is not read."),
            (notes, _note(body, notes), "a row per trial", "Nothing else stands there: it is not read."),
        )
        if places
    ]
    left = {*totals, *notes}
    kept = [place for place in range(len(body)) if place not in left]
    for column in columns:
        column.cells = [column.cells[place] for place in kept]
    return [body[place] for place in kept], columns, faults


def _note(body: Sequence[tuple[int, Sequence[str]]], notes: Sequence[int]) -> str:
    """Return the words of the first row that holds a single remark."""
    return next((repr(cell.strip()[:60]) for place in notes for cell in body[place][1] if cell.strip()), "")


def _is_day(column: _Column) -> bool:
    return column.meaning.column is not None and column.meaning.column.field == "date"


def _dates(
    columns: Sequence[_Column], where: str, choices: ImportChoices
) -> tuple[str, list[Fault], list[Fault]]:
    """Write the days as year-month-day; return their order, the question and the doubt."""
    column = next((one for one in columns if _is_day(one)), None)
    if column is None:
        return "", [], []
    place = f"{where}: column {column.written!r}"
    dotted = choices.dates == "us"  # who says that months come first means days with points, too
    order, shown = date_order(column.cells, dotted)
    said = choices.dates or order_of_pattern(column.meaning.unit) or order_of_pattern(column.written)
    column.meaning = replace(column.meaning, unit="")
    told: list[Fault] = []
    asked: list[Fault] = []
    if order == "both":
        repair = "Correct the days in the file: month and day have changed places in some of them."
        asked = [Fault(place, shown, "days in one order", repair)]
    elif order in ("us", "day-first") and said and said != order:
        asked = [Fault(place, shown, f"days in the order said ({said})", f"Say --dates {order}.")]
    elif order == "open" and not said:
        repair = "Say --dates us for month first (March 2 is 3/2), or --dates day-first (2/3)."
        asked = [Fault(place, shown, "days whose month is known", repair)]
    elif order and not said:
        repair = f"Every day is read {'month' if order == 'us' else 'day'} first."
        told = [Fault(place, shown, "days in one order, which this one shows", repair)]
    order = said or (order if order in ("us", "day-first") else "")
    column.cells = [iso_day(cell, order or "us", dotted) for cell in column.cells]
    return order, asked, told


def _units(columns: Sequence[_Column], where: str, choices: ImportChoices) -> list[Fault]:
    """Give columns of plain numbers their unit as said; ask once for all that have none."""
    lacking = []
    for column in columns:
        one = column.meaning.column
        if one is None or not _wants_unit(one) or column.meaning.unit:
            continue
        if not any(_NUMBER.fullmatch(cell) for cell in column.cells):
            continue
        said = next((unit for unit in choices.units if one.part != "age" and fits(unit, one)), "")
        column.meaning = replace(column.meaning, unit=said)
        if not said:
            lacking.append(column)
    if not lacking:
        return []
    examples = list(dict.fromkeys(_example_unit(column.meaning.column) for column in lacking))
    ages = [column for column in lacking if column.meaning.column and column.meaning.column.part == "age"]
    names = ", ".join(repr(column.written) for column in lacking)
    repair = f"Say the units once, such as --unit {','.join(examples)}, or write them in the headers."
    if ages:
        repair = f"Write the unit of each age in its header, such as '{ages[0].written} [d]'." + (
            f" {repair}" if len(ages) < len(lacking) else ""
        )
    for column in lacking:
        column.written = f"# {column.written}"  # the question is asked once, not in every row
    return [Fault(f"{where}: columns {names}", "numbers without a unit", "a unit for each column", repair)]


def _wants_unit(column: Column) -> bool:
    return column.unit not in (*WORDS, "-", "count", "fraction")


def _example_unit(column: Column | None) -> str:
    unit = column.unit if column is not None else ""
    return {"degC": "C", "d": "d"}.get(unit, unit)


def _column_doubts(columns: Sequence[_Column], where: str) -> Iterator[Fault]:
    """Give what was taken by a likeness, and what has content and is not read."""
    for column in columns:
        place = (
            f"{where}: column {column.written!r}" if column.written else f"{where}: column {column.place + 1}"
        )
        if column.written.startswith("#") or column.meaning.among:
            continue
        if column.meaning.column is None:
            if column.example:
                allowed = "a column of the trial table" if column.written else "a header"
                repair = "It is not read. " + (
                    f'Say what it means with --column "{column.written}=..." if it matters.'
                    if column.written
                    else "Give it a header if it matters."
                )
                yield Fault(place, repr(column.example[:60]), allowed, repair)
        elif column.meaning.alike:
            meant = column.meaning.column.header if not column.meaning.column.material else _header(column)
            repair = f'If it is not, say --column "{column.written}=..."; nothing after = leaves it out.'
            yield Fault(place, f"a column taken for {meant!r} by its likeness", "that it is", repair)


def _running(columns: Sequence[_Column], where: str) -> Iterator[Fault]:
    """Give castings poured that count up from row to row: they may be the numbers of the casts."""
    for column in columns:
        counts = [cell.strip() for cell in column.cells if cell.strip()]
        if column.meaning.column is None or column.meaning.column.field != "cast" or len(counts) < 2:
            continue
        first = int(counts[0]) if re.fullmatch("[0-9]{1,6}", counts[0]) else 0
        if counts == [str(first + more) for more in range(len(counts))]:
            place = f"{where}: column {column.written!r}"
            repair = f'If they number the casts, say --column "{column.written}=id".'
            yield Fault(place, f"{', '.join(counts[:3])}, taken for castings poured", "that it is", repair)


def _header(column: _Column) -> str:
    """Return the header of the trial table for a column, with the unit of the file."""
    one, unit = column.meaning.column, column.meaning.unit
    if one is None:
        return ""
    name = f"{one.part} of {one.material}" if one.material else column.name or one.name
    return f"{name} [{unit}]" if unit else name


def _numbered(columns: Sequence[_Column]) -> None:
    """Give readings that say their state or age numbers of their own, weighings in the order of days."""
    for group in ("strengths", "weighings"):
        members = [(one.meaning.column, one) for one in columns if one.meaning.column is not None]
        members = [(what, one) for what, one in members if what.field == group]
        plain = [what.number for what, one in members if not _said(one)]
        said = [one for _, one in members if _said(one)]
        if group == "weighings":
            said.sort(key=lambda column: float(column.meaning.constants[0][1].split()[0]))
        for number, column in enumerate(said, start=max(plain, default=0) + 1):
            one = column.meaning.column
            if one is not None:
                column.name = replace(one, number=number).name


def _said(column: _Column) -> bool:
    return bool(column.meaning.constants)


def _layout(
    columns: Sequence[_Column],
    body: Sequence[tuple[int, Sequence[str]]],
    head: int,
    dates: str,
    questions: tuple[Fault, ...],
    doubts: tuple[Fault, ...],
) -> Layout:
    names = [_name(column) for column in columns]
    written = [column.written for column in columns]
    cells = [_cleaned(column) for column in columns]
    for column, noted in zip(columns, tuple(cells), strict=True):
        for part, value in () if column.written.startswith("#") else column.meaning.constants:
            names.append(f"{' '.join(column.name.split()[:2])} {part}")
            written.append(column.written)
            cells.append([value if cell.strip() else "" for cell in noted])
    width = len(columns)
    rows = tuple(
        (number, (*(column[place] for column in cells), *row[width:]))
        for place, (number, row) in enumerate(body)
    )
    read = tuple(
        ColumnRead(column.written, _taken(column, name), column.example, column.meaning.alike)
        for column, name in zip(columns, names, strict=False)
        if column.written or column.example
    )
    return Layout(tuple(names), tuple(written), head + 1, rows, read, dates, questions, doubts)


def _taken(column: _Column, name: str) -> str:
    """Return what a column was taken for, and the state or age that its header says."""
    said = (f"{part} {value}" for part, value in column.meaning.constants)
    return "" if name.startswith("#") else ", ".join((name, *said))


def _name(column: _Column) -> str:
    if not column.written or column.written.startswith("#") or column.meaning.column is None:
        return f"# {column.written}"
    return _header(column)


def _cleaned(column: _Column) -> list[str]:
    """Return the cells of a column; a dash or n/a in a column of numbers means that nothing was noted."""
    one = column.meaning.column
    if one is None or one.unit in WORDS:
        return column.cells
    return ["" if cell.strip().lower() in _NOT_NOTED else cell for cell in column.cells]
