"""The scenarios of a sweep: every combination of the varied values, with each row of a table if there is one.

Nothing is unfolded in memory: a grid of a million scenarios is a few lists of values.

A sweep may vary any key of a job file that holds a number, a word of a list, a flag or a limit.

A variable knows its key's unit and range from the tables of `optimizer.jobfile.keys`, so that a scenario is
read exactly as the same line of a job file would be.
"""

from __future__ import annotations

import csv
import io
import itertools
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TypeAlias

from optimizer.errors import Fault, FileFaults, QuantityError
from optimizer.job import DAMP_CLASSES, Limit
from optimizer.jobfile.keys import (
    BOUNDS,
    CANDLE,
    PRICE,
    SENSES,
    SHOP,
    TOP_VALUES,
    VESSEL,
    Objective,
    read_limits,
    write_limit,
)
from optimizer.jobfile.reading import nearest
from optimizer.key_kinds import Choice, Flag, Key, Number, unit_word
from optimizer.nomenclature import PROPERTIES, quantity
from optimizer.toml_files import shown_value

Value: TypeAlias = float | bool | str
"""A value in its record's unit, a flag, or a word."""

Values: TypeAlias = tuple[Value | None, ...]
"""One value per variable; None keeps the job's own."""

MOST_SCENARIOS: Final = 10_000_000
_MOST_VALUES: Final = 10_000
_MOST_VARIABLES: Final = 50
_MOST_ROWS: Final = 1_000_000
_MOST_BYTES: Final = 256 * 2**20
_SHOWN_FAULTS: Final = 20

_AXES: Final = re.compile(r"\s*[,;]\s*(?=[A-Za-z][\w.]*\s*(?:<=|>=|≤|≥|=))")
_AXIS: Final = re.compile(r"\s*([A-Za-z][\w.]*)\s*(<=|>=|≤|≥|=)\s*(<=|>=|≤|≥)?(.*?)\s*", re.DOTALL)
_RANGE: Final = re.compile(r"(.+?):(.+?):\s*(\d{1,6})\s*")
_UNIT: Final = re.compile(r"[^\d\s.,+\-−][^\d]*$")
_EXAMPLE: Final = 'key=first:last:count or key=one|two, such as "limits.whiteness=80:94:15"'

_NAME: Final = re.compile(r"\s*([A-Za-z][\w.]*?)\s*(<=|>=|≤|≥)?\s*")
_TABLES: Final[Mapping[str, tuple[Key, ...]]] = {"vessel": VESSEL, "candle": CANDLE, "shop": SHOP}
_BY_MATERIAL: Final[Mapping[str, tuple[Key, ...]]] = {"prices": PRICE, "bounds": BOUNDS}


@dataclass(frozen=True)
class Scenarios:
    """A table of scenarios times a grid.

    Attributes
    ----------
    variables : tuple[Variable, ...]
        What differs between scenarios: the table's columns, then the grid's axes.
    rows : tuple[Values, ...]
        Rows of the table; one empty row without a table.
    axes : tuple[tuple[Value, ...], ...]
        Values of each axis.
    """

    variables: tuple[Variable, ...]
    rows: tuple[Values, ...] = ((),)
    axes: tuple[tuple[Value, ...], ...] = ()

    def __len__(self) -> int:
        """Return how many scenarios there are."""
        return len(self.rows) * math.prod(len(axis) for axis in self.axes)

    def __iter__(self) -> Iterator[Values]:
        """Iterate over the scenarios, the last axis fastest."""
        for row in self.rows:
            for point in itertools.product(*self.axes):
                yield (*row, *point)


def read_scenarios(vary: Sequence[str], table: Path | None, data: Mapping[str, Any]) -> Scenarios:
    """Return the scenarios of a grid, of a table, or of both multiplied.

    Parameters
    ----------
    vary : Sequence[str]
        Texts of axes, each one or several of ``key=first:last:count`` or ``key=one|two`` [-].
    table : Path | None
        CSV file: a header of keys, one row per scenario; an empty cell keeps the job's value [-].

    Raises
    ------
    FileFaults
        All faults of the texts and of the table.

    Examples
    --------
    >>> grid = read_scenarios(["shop.temperature=10C:35C:6, shop.humidity=0.4|0.6"], None, {})
    >>> len(grid), list(grid)[1]
    (12, (10.0, 0.6))
    """
    faults: list[Fault] = []
    variables, rows = ((), ((),)) if table is None else _read_table(table, data, faults)
    axes = [axis for text in vary for axis in _read_axes(text, data, faults)]
    everything = (*variables, *(variable for variable, _ in axes))
    names = [variable.name for variable in everything]
    faults += [
        Fault("--vary", name, "each key once", "Take one of the two out.")
        for name in dict.fromkeys(names)
        if names.count(name) > 1
    ]
    if not faults and not everything:
        faults.append(Fault("--vary", "nothing", _EXAMPLE, "Say what is to vary, or name a --table."))
    if faults:
        raise FileFaults(faults[:_SHOWN_FAULTS])
    found = Scenarios(everything, rows, tuple(values for _, values in axes))
    if len(found) > MOST_SCENARIOS:
        allowed = f"at most {MOST_SCENARIOS:,} scenarios"
        raise FileFaults([Fault("--vary", f"{len(found):,} scenarios", allowed, "Take coarser steps.")])
    return found


def _read_axes(
    text: str, data: Mapping[str, Any], faults: list[Fault]
) -> Iterator[tuple[Variable, tuple[Value, ...]]]:
    items = _AXES.split(text.strip().strip(",;"))
    if len(items) > _MOST_VARIABLES:
        allowed = f"at most {_MOST_VARIABLES} keys"
        faults.append(Fault("--vary", f"{len(items)} keys", allowed, "Vary fewer keys at a time."))
        return
    for item in items:
        match = _AXIS.fullmatch(item)
        if match is None:
            faults.append(Fault("--vary", shown_value(item), _EXAMPLE, "Write a key, = and its values."))
            continue
        key, sign, inner, values = match.groups()
        sense = inner or ("" if sign == "=" else sign)
        where = f"--vary {key[:60]}"
        try:
            variable = variable_of(f"{key} {sense}".strip(), data, where)
            yield variable, _read_values(variable, values)
        except FileFaults as error:
            faults += error.faults
        except QuantityError as error:
            faults.append(error.at(where))


def _read_values(variable: Variable, text: str) -> tuple[Value, ...]:
    """Return the values of an axis in order, each once; raises `QuantityError`."""
    ladder = _RANGE.fullmatch(text)
    if ladder and variable.numeric:
        return _ladder(variable, *ladder.groups())
    if variable.numeric and ":" in text:
        repair = f'Add how many values: "{text[:40]}:15".' if text.count(":") == 1 else "Write a whole count."
        raise QuantityError(text[:60], "first:last:count, or single values parted by |", repair)
    values = tuple(dict.fromkeys(variable.read(each) for each in text.split("|")))
    if len(values) > _MOST_VALUES:
        raise QuantityError(f"{len(values)} values", f"at most {_MOST_VALUES}", "Write fewer.")
    return values


def _ladder(variable: Variable, first: str, last: str, count: str) -> tuple[Value, ...]:
    steps = int(count)
    if not 2 <= steps <= _MOST_VALUES:
        raise QuantityError(count, f"2 to {_MOST_VALUES} values", "Write first:last:count.")
    high = float(variable.read(last))
    try:
        low = float(variable.read(first))
    except QuantityError:
        unit = _UNIT.search(last)
        if unit is None:
            raise
        low = float(variable.read(f"{first} {unit[0]}"))
    points = (low + (high - low) * step / (steps - 1) for step in range(steps))
    return tuple(dict.fromkeys(variable.number(point) for point in points))


def _read_table(
    path: Path, data: Mapping[str, Any], faults: list[Fault]
) -> tuple[tuple[Variable, ...], tuple[Values, ...]]:
    lines = _lines(path)
    header = [cell.partition("[")[0].strip() for cell in next(lines, [])]
    variables: list[Variable] = []
    if len(header) > _MOST_VARIABLES:
        allowed = f"at most {_MOST_VARIABLES} columns"
        faults.append(Fault(path.name, f"{len(header)} columns", allowed, "Vary fewer keys at a time."))
        header = []
    for number, name in enumerate(header, start=1):
        try:
            variables.append(variable_of(name, data, f"{path.name}:column {number}"))
        except FileFaults as error:
            faults += error.faults
    rows: dict[Values, None] = {}
    if not faults:
        for number, cells in enumerate(lines, start=2):
            if any(cell.strip() for cell in cells):
                rows[_row(variables, cells, f"{path.name}:row {number}", faults)] = None
            if len(faults) > _SHOWN_FAULTS:
                break
    if not faults and not 1 <= len(rows) <= _MOST_ROWS:
        allowed = f"1 to {_MOST_ROWS:,} rows below a header of keys"
        faults.append(Fault(path.name, f"{len(rows)} rows", allowed, "Check the file."))
    return tuple(variables), tuple(rows)


def _row(variables: Sequence[Variable], cells: Sequence[str], where: str, faults: list[Fault]) -> Values:
    if len(cells) > len(variables) and any(cell.strip() for cell in cells[len(variables) :]):
        allowed = f"{len(variables)} cells, as in the header"
        faults.append(Fault(where, f"{len(cells)} cells", allowed, "Put cells with a comma in quotes."))
    values: list[Value | None] = []
    for variable, cell in itertools.zip_longest(variables, cells[: len(variables)], fillvalue=""):
        assert isinstance(variable, Variable)
        try:
            values.append(variable.read(cell) if cell.strip() else None)
        except QuantityError as error:
            faults.append(error.at(f"{where}, {variable.name}"))
    return tuple(values)


def _lines(path: Path) -> Iterator[list[str]]:
    try:
        if path.is_dir() or path.stat().st_size > _MOST_BYTES:
            raise OSError(0, "a folder" if path.is_dir() else "a very large file")
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise _unread(path, "a byte that is not UTF-8") from None
    except (OSError, ValueError) as error:
        raise _unread(path, getattr(error, "strerror", None) or str(error)) from None
    head = re.sub(r'"[^"]*"', "", text.partition("\n")[0])
    separator = max((",", ";", "\t"), key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        yield from reader
    except csv.Error as error:
        raise _unread(path, f"{error} in line {reader.line_num}") from None


def _unread(path: Path, reason: str) -> FileFaults:
    repair = "Write a header of job keys and one scenario per row."
    return FileFaults([Fault(str(path), reason, "a CSV file in UTF-8", repair)])


@dataclass(frozen=True)
class Variable:
    """One key that takes several values.

    Attributes
    ----------
    path : tuple[str, ...]
        Key by its parts, such as ``("prices", "gypsum_cement", "price")``.
    kind : Number | Flag | Choice | Objective
        How its values are read; a limit is a number in its property's unit.
    sense : str
        ``<=`` or ``>=`` of a limit, else empty.
    """

    path: tuple[str, ...]
    kind: Number | Flag | Choice | Objective
    sense: str = ""

    @property
    def name(self) -> str:
        """Dotted key, with the sense of a limit."""
        return f"{'.'.join(self.path)} {self.sense}".strip()

    @property
    def unit(self) -> str:
        """Unit of its numbers; empty for words and flags."""
        return self.kind.unit if isinstance(self.kind, Number) else ""

    @property
    def numeric(self) -> bool:
        """True when its values are numbers."""
        return isinstance(self.kind, Number)

    def read(self, text: str) -> Value:
        """Return the value a text stands for, in the key's unit; raises `QuantityError`."""
        text = text.strip()
        if self.sense:
            return self._read_limit(text)
        if isinstance(self.kind, Objective):
            self.kind.read(text)
            return text
        if isinstance(self.kind, Flag):
            return self.kind.read({"true": True, "false": False}.get(text.lower(), text))
        return self.kind.read(text)

    def number(self, value: float) -> Value:
        """Return a number as the key would read it: range and wholeness checked; raises `QuantityError`."""
        return self.read(f"{float(f'{value:.12g}')!r} {unit_word(self.unit)}".strip())

    def raw(self, value: Value) -> Any:  # noqa: ANN401  any TOML value
        """Return a value as it stands in a job file."""
        if self.sense:
            bound = DAMP_CLASSES.index(value) if isinstance(value, str) else float(value)
            return write_limit(Limit(self.path[-1], self.sense, float(bound)))
        known: Key = self.kind
        return known.write(value)

    def _read_limit(self, text: str) -> Value:
        limit = read_limits(self.path[-1], f"{self.sense} {text.removeprefix(self.sense)}")[0]
        return limit.bound if self.numeric else DAMP_CLASSES[int(limit.bound)]


def variable_of(text: str, data: Mapping[str, Any], where: str) -> Variable:
    """Return the variable a dotted key names.

    Parameters
    ----------
    text : str
        The key, a limit perhaps with its sense: ``limits.dry_mass <=`` [-].
    data : Mapping
        Tables of the job file; they say the sense of a limit that names none [-].

    Raises
    ------
    FileFaults
        If there is no such key, or it is none that can be varied.

    Examples
    --------
    >>> variable_of("shop.temperature", {}, "--vary").unit
    'degC'
    >>> variable_of("limits.whiteness", {}, "--vary").name
    'limits.whiteness >='
    """
    match = _NAME.fullmatch(text)
    path = tuple(match[1].split(".")) if match else ()
    if match is None or not all(path):
        raise _unknown(where, text, data)
    if path[0] == "limits" and len(path) == 2 and path[1] in PROPERTIES:
        return _limit(path, SENSES.get(match[2] or "", ""), data)
    kind = _kind(path, data)
    if kind is None or match[2]:
        raise _unknown(where, text, data)
    return Variable(path, kind)


def _kind(path: tuple[str, ...], data: Mapping[str, Any]) -> Number | Flag | Choice | Objective | None:
    if path == ("objective",):
        return Objective()
    keys: tuple[Key, ...] = ()
    if len(path) == 1:
        keys = TOP_VALUES
    elif len(path) == 2:
        keys = _TABLES.get(path[0], ())
    elif len(path) == 3 and path[1] in data.get("materials", ()):
        keys = _BY_MATERIAL.get(path[0], ())
    known = (key for key in keys if key.name == path[-1] and isinstance(key, Number | Flag | Choice))
    return next(known, None)


def _limit(path: tuple[str, ...], sense: str, data: Mapping[str, Any]) -> Variable:
    row = quantity(path[1])
    stated = [text.strip()[:2] for text in _texts(data.get("limits", {}).get(path[1]))]
    usual = ">=" if row.better == "higher" else "<="
    known = sense or (SENSES.get(stated[0], "") if len(stated) == 1 else "") or usual
    if row.unit == "class":
        return Variable(path, Choice(DAMP_CLASSES), known)
    return Variable(path, Number(row.unit), known)


def _texts(raw: object) -> list[str]:
    return [each for each in (raw if isinstance(raw, list) else [raw]) if isinstance(each, str)]


def _unknown(where: str, text: str, data: Mapping[str, Any]) -> FileFaults:
    names = [
        "objective",
        *(f"limits.{name}" for name in PROPERTIES),
        *(key.name for key in TOP_VALUES if isinstance(key, Number | Flag | Choice)),
        *_names(_TABLES, ""),
        *(n for material in data.get("materials", ()) for n in _names(_BY_MATERIAL, f"{material}.")),
    ]
    near = ", ".join(nearest(text, names))
    allowed = f"a key of the job file with a number, a word or a limit; nearest: {near}"
    return FileFaults([Fault(where, shown_value(text), allowed, "Correct the key.")])


def _names(tables: Mapping[str, tuple[Key, ...]], middle: str) -> list[str]:
    return [
        f"{table}.{middle}{key.name}"
        for table, keys in tables.items()
        for key in keys
        if isinstance(key, Number | Flag | Choice)
    ]


def changed(data: Mapping[str, Any], changes: Mapping[Variable, Value]) -> dict[str, Any]:
    """Return the tables of a job file with some values changed; `data` stays as it is.

    Parameters
    ----------
    changes : Mapping[Variable, Value]
        New values, each in its key's unit.

    Examples
    --------
    >>> vary = variable_of("shop.temperature", {}, "--vary")
    >>> changed({"title": "Cup"}, {vary: 10.0})
    {'title': 'Cup', 'shop': {'temperature': '10 C'}}
    """
    out = dict(data)
    for variable, value in changes.items():
        table = out
        for part in variable.path[:-1]:
            inner = table.get(part, {})
            table[part] = dict(inner) if isinstance(inner, dict) else {}
            table = table[part]
        raw = variable.raw(value)
        if variable.sense:
            raw = _beside(table.get(variable.path[-1]), variable.sense, raw)
        table[variable.path[-1]] = raw
    return out


def _beside(present: object, sense: str, text: str) -> str | list[str]:
    """Return the new limit, beside the present one of the other sense if there is one."""
    signs = tuple(sign for sign, meant in SENSES.items() if meant == sense)
    kept = [each for each in _texts(present) if not each.strip().startswith(signs)]
    return [*kept, text] if kept else text
