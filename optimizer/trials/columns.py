"""The columns of a trial table: one row per trial, readings in numbered groups of columns.

``strength 2 value [MPa]`` is the value of the second strength. A header may also read
``strength_2_value_psi``, leave the number away for the first, or name a powder: ``mass of marble_flour [g]``
and ``lot of marble_flour``. A column whose header begins with # is not read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from types import MappingProxyType
from typing import Final

from optimizer.errors import Fault, QuantityError
from optimizer.trials.fields import WORDS
from optimizer.trials.records import FIELDS, GROUP_FIELDS, Version
from optimizer.units import parse

_MOST_READINGS: Final = 999
_MOST_COLUMNS: Final = 5000
_LONGEST_NAME: Final = 500


@dataclass(frozen=True)
class Column:
    """One column.

    Attributes
    ----------
    field : str
        Field of `Trial`.
    unit : str
        Unit of a number; or ``text``, ``name``, ``date``, ``labels``, ``yes``.
    number : int
        Which reading of a group, from 1; 0 for a field of the trial itself.
    part : str
        Field of the reading.
    material : str
        Name of the powder, where the header names it.
    """

    field: str
    unit: str
    number: int = 0
    part: str = ""
    material: str = ""

    @property
    def name(self) -> str:
        """The header without its unit."""
        if not self.number:
            return self.field
        return f"{_WORD_OF[self.field]} {self.number} {self.part}"

    @property
    def header(self) -> str:
        """The header as written on export."""
        plain = self.unit in (*WORDS, "count")
        return self.name if plain else f"{self.name} [{self.unit}]"


@dataclass(frozen=True)
class Header:
    """A column as found in a file.

    Attributes
    ----------
    column : Column
        What it means.
    unit : str
        Unit its plain numbers are in.
    text : str
        The header as read.
    """

    column: Column
    unit: str
    text: str


BOOK: Final[Mapping[str, str]] = MappingProxyType({"version": "count", "void": "yes", "reason": "text"})
"""Columns about a version of a trial: written where a book holds corrections or void trials."""

_WORD_OF: Final = {field: word for word, (field, _) in GROUP_FIELDS.items()}
_ALIASES: Final = {
    "trial": "id",
    "batch": "id",
    "water_mass": "water",
    "demold_time": "demold",
    "first_demold": "demold_first",
    "order": "sold_order",
    "whiteness_l*": "whiteness",
    "soak": "absorption",
    "water_absorption": "absorption",
    "sealer_coats": "coats",
    "strength": "strength_1_value",
    "compressive_strength": "strength_1_value",
    "room": "room_temperature",
    "note": "remarks",
    "notes": "remarks",
    "remark": "remarks",
}


def headers_for(versions: Sequence[Version]) -> tuple[Column, ...]:
    """Return the columns that hold everything in `versions`.

    Every field of a trial, and each group of readings as often as the fullest trial needs, once at least.
    """
    columns = [Column(field, one.unit) for field, one in FIELDS.items() if field != "remarks"]
    for field, parts in GROUP_FIELDS.values():
        most = max((len(getattr(version.trial, field)) for version in versions), default=1)
        for number in range(1, max(most, 1) + 1):
            columns += [Column(field, one.unit, number, part) for part, one in parts.items()]
    if any(version.stated for version in versions):
        columns += [Column(field, unit) for field, unit in BOOK.items()]
    return (*columns, Column("remarks", "text"))


def read_header(
    texts: Sequence[str], where: str, row: int = 1, written: Sequence[str] = ()
) -> tuple[tuple[Header | None, ...], tuple[Fault, ...]]:
    """Return what each header means, and every fault of the header row.

    One item per cell, None for columns that are not read; and the faults.

    Parameters
    ----------
    written : Sequence[str]
        Cells of the header as they stand in the file, where `texts` are their meanings [-].
    """
    if crowded(texts):
        return (), (_crowded(texts, where),)
    found: list[Header | None] = []
    faults: list[Fault] = []
    for number, text in enumerate(texts, start=1):
        place = f"{where}:row {row}, column {number}"
        header = None
        if text.strip() and not text.strip().startswith("#"):
            seen = written[number - 1].strip() if number <= len(written) else text.strip()
            header = _header(text.strip())
            header = header and replace(header, text=seen)
            wrong = [*_header_faults(header, seen, place)]
            faults += wrong
            header = None if wrong else header
        found.append(header)
    faults += _twice(found, f"{where}:row {row}")
    if not any(header is not None and header.column.field == "date" for header in found):
        allowed = "a column named date"
        faults.append(
            Fault(f"{where}:row {row}", "no date column", allowed, "Add the day of the pour to every row.")
        )
    return tuple(found), tuple(faults)


def crowded(texts: Sequence[str]) -> bool:
    """Return whether a header has more or longer names than any table of trials has."""
    return len(texts) > _MOST_COLUMNS or max(map(len, texts), default=0) > _LONGEST_NAME


def _crowded(texts: Sequence[str], where: str) -> Fault:
    """Return the fault of a header row no table of trials has."""
    value = f"{len(texts)} columns, the longest name of {max(map(len, texts))} characters"
    allowed = f"at most {_MOST_COLUMNS} columns with names of at most {_LONGEST_NAME} characters"
    return Fault(f"{where}:row 1", value, allowed, "Check that this is a table of trials.")


def _header(text: str) -> Header | None:
    """Match a header: first as a whole, then with its last word as the unit."""
    bracketed = re.fullmatch(r"(.+?)\s*[\[(](.*)[\])]", text)
    name, unit = (bracketed[1], bracketed[2].strip()) if bracketed else (text, "")
    column = known_column(name)
    if column is not None:
        return Header(column, unit or _default_unit(column), text)
    split = re.fullmatch(r"(.+)[ _]([^ _]+)", name)
    column = known_column(split[1]) if split and not bracketed else None
    return None if column is None or split is None else Header(column, split[2], text)


def _default_unit(column: Column) -> str:
    """Plain numbers without a unit are taken only where the number is its own unit."""
    return column.unit if column.unit in ("-", "count", "fraction", *WORDS) else ""


def known_column(name: str) -> Column | None:
    """Return the column a name means, in any writing of its words; None: no column of the trial table.

    Examples
    --------
    >>> known_column("Strength_2_Value").name, known_column("mood")
    ('strength 2 value', None)
    """
    key = re.sub(r"[\s_\-]+", "_", name.strip().lower()).strip("_")
    key = _ALIASES.get(key, key)
    if key in FIELDS or key in BOOK:
        return Column(key, FIELDS[key].unit if key in FIELDS else BOOK[key])
    named = re.fullmatch(r"(mass|lot)_of_(.+)", key)
    if named:
        return Column("portions", GROUP_FIELDS["powder"][1][named[1]].unit, 0, named[1], named[2])
    match = re.fullmatch(rf"({'|'.join(GROUP_FIELDS)})(?:_?([0-9]+))?(?:_(.+))?", key)
    if not match or not 1 <= int(match[2] or 1) <= _MOST_READINGS:
        return None
    field, parts = GROUP_FIELDS[match[1]]
    part = match[3] or ("material" if match[1] == "powder" else "value")
    return Column(field, parts[part].unit, int(match[2] or 1), part) if part in parts else None


def _header_faults(header: Header | None, text: str, place: str) -> Iterator[Fault]:
    if header is None:
        known = [column.name for column in headers_for(())]
        near = get_close_matches(text.lower(), known, n=3, cutoff=0.4)
        allowed = f"a column of the trial table{', such as ' + ', '.join(near) if near else ''}"
        yield Fault(
            place, repr(text), allowed, "Rename the column, or begin its name with # to leave it out."
        )
        return
    if header.column.unit in WORDS:
        return
    if header.unit:
        try:
            parse(f"1 {header.unit}" if header.unit not in ("-", "count") else "1", header.column.unit)
        except QuantityError as error:
            yield Fault(f"{place} {text!r}", f"the unit {header.unit!r}", error.allowed, error.repair)


def _twice(found: Sequence[Header | None], where: str) -> Iterator[Fault]:
    seen: dict[Column, str] = {}
    for header in found:
        if header is None:
            continue
        if header.column in seen:
            value = f"{seen[header.column]!r} and {header.text!r}"
            yield Fault(where, value, "each column once", "Delete or rename one of the two.")
        seen[header.column] = header.text
