"""Kinds of value a job file holds: each reads what a file says, writes it back, and names what is allowed.

The records of `optimizer.job` are annotated with them: a field's unit and range stand beside its
default. Ranges are wide: they catch slips of the pen and of units, they do not judge a studio. pydantic
asks a kind for its part of the JSON schema; nothing here imports it.
"""

from __future__ import annotations

import datetime
import itertools
import math
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Final, get_type_hints

from optimizer.errors import QuantityError
from optimizer.unit_words import allowed_text
from optimizer.units import hinted_unit, parse

PLAIN_UNITS: Final = frozenset({"-", "count", "fraction", "currency"})
"""Units of values that may be written as plain numbers."""

MOST_MONEY: Final = 1e9
"""Amounts above are slips of the pen [currency]."""

LEAST_MONEY: Final = 1e-6
"""Amounts below, but for 0, are slips of the pen [currency]."""

_MOST_ROWS: Final = 50


@dataclass(frozen=True, kw_only=True)
class Key(ABC):
    """One key of a file.

    Attributes
    ----------
    name : str
        Key in the file; where left out, the name of the field.
    field : str
        Name in the record, where it differs from the key.
    """

    name: str = ""
    field: str = ""

    @abstractmethod
    def read(self, raw: object) -> Any:  # noqa: ANN401  each kind has its own type
        """Return the value of `raw`; raises `QuantityError`."""

    def write(self, value: Any) -> Any:  # noqa: ANN401  of the kind
        """Return the value as it stands in a file."""
        return value

    def _schema(self) -> dict[str, Any]:
        raise NotImplementedError

    def __get_pydantic_json_schema__(self, _core: object, _handler: object) -> dict[str, Any]:
        return self._schema()


@cache
def keys_of(record: type) -> tuple[Key, ...]:
    """Return the keys that the fields of a record are annotated with, each with its names.

    Examples
    --------
    >>> from optimizer.job import Bounds
    >>> [(key.name, key.field) for key in keys_of(Bounds)]
    [('min', 'least'), ('max', 'most')]
    """
    hints = get_type_hints(record, include_extras=True)
    parts = ((field, part) for field, hint in hints.items() for part in getattr(hint, "__metadata__", ()))
    return tuple(
        replace(key, name=key.name or field, field=field if key.name else "")
        for field, key in parts
        if isinstance(key, Key)
    )


@dataclass(frozen=True)
class Number(Key):
    """A quantity.

    Attributes
    ----------
    unit : str
        Unit held in the record.
    least, most : float
        Range [`unit`].
    open_least, open_most : bool
        True when that end of the range is itself excluded.
    whole : bool
        True when only whole numbers of the unit make sense; counts are whole anyway.
    """

    unit: str
    least: float = 0.0
    most: float = math.inf
    open_least: bool = False
    open_most: bool = False
    whole: bool = False

    @property
    def range_text(self) -> str:
        """The range in words."""
        unit = f" {shown_unit(self.unit)}".rstrip()
        low = f"above {self.least:g}" if self.open_least else f"{self.least:g} or more"
        high = f"below {self.most:g}" if self.open_most else f"at most {self.most:g}"
        return f"{low}{unit}" if self.most >= MOST_MONEY else f"{low}, {high}{unit}"

    def read(self, raw: object) -> float | int:
        """Return the value of `raw` [`unit`]; raises `QuantityError`."""
        value = read_number(raw, self.unit)
        too_low = value <= self.least if self.open_least else value < self.least
        too_high = value >= self.most if self.open_most else value > self.most
        if too_low or too_high:
            # the most that money may be is not told with its range: it only catches slips of the pen
            beyond = too_high and self.most >= MOST_MONEY
            allowed = f"at most {self.most:g} {shown_unit(self.unit)}" if beyond else self.range_text
            raise QuantityError(raw, allowed.rstrip(), self._range_repair(value))
        if self.unit.startswith("currency") and 0.0 < value < LEAST_MONEY:
            raise QuantityError(raw, f"0, or {LEAST_MONEY:g} or more", "Write 0 if it costs nothing.")
        if self.whole and value != int(value):
            raise QuantityError(raw, f"a whole number of {self.unit}", "Write a whole number.")
        return int(value) if self.whole or self.unit == "count" else value

    def write(self, value: float) -> str | float:
        """Return the value as it stands in a file."""
        if self.unit in PLAIN_UNITS:
            return value
        return f"{number_text(value)} {unit_word(self.unit)}"

    def _schema(self) -> dict[str, Any]:
        if self.unit not in PLAIN_UNITS:
            return {"type": "string", "$comment": allowed_text(self.unit)}
        low = {"exclusiveMinimum" if self.open_least else "minimum": self.least}
        high = {"exclusiveMaximum" if self.open_most else "maximum": self.most}
        number = "integer" if self.unit == "count" else "number"
        return {"type": [number, "string"], **low, **(high if math.isfinite(self.most) else {})}

    def _range_repair(self, value: float) -> str:
        meant = value / 100.0
        if self.unit == "fraction" and 1.0 < value <= 100.0 and self.least <= meant <= self.most:
            return f'Write "{value:g} %" or {value / 100.0:g} if percent is meant.'
        if value < 0.0 <= self.least:
            return "Leave the minus sign away."
        if self.unit == "fraction":
            return f"Write a {'larger' if value <= self.least else 'smaller'} number."
        return "Check the number and its unit."


@dataclass(frozen=True)
class Flag(Key):
    """A value that is true or false."""

    def read(self, raw: object) -> bool:
        """Return the flag; raises `QuantityError`."""
        if not isinstance(raw, bool):
            raise QuantityError(raw, "true or false", "Write true or false, without quotes.")
        return raw

    def _schema(self) -> dict[str, Any]:
        return {"type": "boolean"}


@dataclass(frozen=True)
class Choice(Key):
    """A word out of a list."""

    words: tuple[str, ...]

    def read(self, raw: object) -> str:
        """Return the word; raises `QuantityError`."""
        if not isinstance(raw, str) or raw not in self.words:
            raise QuantityError(raw, _quoted(self.words), "Write one of these words in quotes.")
        return raw

    def _schema(self) -> dict[str, Any]:
        return {"enum": list(self.words)}


@dataclass(frozen=True)
class Text(Key):
    """Free text of one line."""

    longest: int = 200

    def read(self, raw: object) -> str:
        """Return the text; raises `QuantityError`."""
        if not isinstance(raw, str) or len(raw) > self.longest:
            allowed = f"text of at most {self.longest} characters"
            raise QuantityError(raw, allowed, "Write a short text in quotes.")
        return raw

    def _schema(self) -> dict[str, Any]:
        return {"type": "string", "maxLength": self.longest}


@dataclass(frozen=True)
class Words(Key):
    """Some words of an ordered list, held as their places in it."""

    words: tuple[str, ...]

    def read(self, raw: object) -> tuple[int, ...]:
        """Return the places in rising order; raises `QuantityError`."""
        if not isinstance(raw, list) or not raw or any(word not in self.words for word in raw):
            repair = f'Write a list such as ["{self.words[0]}"].'
            raise QuantityError(raw, f"a list of {_quoted(self.words)}", repair)
        return tuple(place for place, word in enumerate(self.words) if word in raw)

    def write(self, value: Sequence[int]) -> list[str]:
        """Return the value as it stands in a file."""
        return [self.words[place] for place in value]

    def _schema(self) -> dict[str, Any]:
        return {"type": "array", "items": {"enum": list(self.words)}, "minItems": 1}


@dataclass(frozen=True)
class Dates(Key):
    """Days of the calendar."""

    def read(self, raw: object) -> tuple[datetime.date, ...]:
        """Return the dates in rising order; raises `QuantityError`."""
        if not isinstance(raw, list):
            raise QuantityError(raw, "a list of dates", "Write a list such as [2026-12-24, 2026-12-25].")
        return tuple(sorted({self._date(each) for each in raw}))

    def write(self, value: Sequence[datetime.date]) -> list[datetime.date]:
        """Return the value as it stands in a file."""
        return list(value)

    def _schema(self) -> dict[str, Any]:
        return {"type": "array", "items": {"type": "string", "format": "date"}}

    def _date(self, raw: object) -> datetime.date:
        if type(raw) is datetime.date:  # a datetime is a date too, and not wanted
            return raw
        try:
            return datetime.date.fromisoformat(raw if isinstance(raw, str) else "")
        except ValueError:
            raise QuantityError(raw, "dates", "Write year-month-day, such as 2026-12-24.") from None


@dataclass(frozen=True)
class Pairs(Key):
    """Rows of two quantities, ascending in the first: a list of pairs or of small tables.

    Attributes
    ----------
    columns : tuple[Number, Number]
        The two quantities.
    falling : bool
        True when the second may not rise from row to row.
    """

    columns: tuple[Number, Number]
    falling: bool = False

    def read(self, raw: object) -> tuple[tuple[float, float], ...]:
        """Return the rows; raises `QuantityError`."""
        if not isinstance(raw, list) or len(raw) > _MOST_ROWS:
            raise QuantityError(raw, f"a list of at most {_MOST_ROWS} rows", f"Write {self._example}.")
        rows = tuple(self._row(row) for row in raw)
        first, second = self.columns
        for (start, value), (next_start, next_value) in itertools.pairwise(rows):
            if next_start <= start:
                raise QuantityError(raw, f"{first.name} in rising order", f"Sort the rows by {first.name}.")
            if self.falling and next_value > value:
                repair = f"Check the rows: {second.name} of the later one is higher."
                raise QuantityError(raw, f"{second.name} that never rises with {first.name}", repair)
        return rows

    def write(self, rows: Sequence[tuple[float, float]]) -> list[dict[str, str | float]]:
        """Return the rows as they stand in a file."""
        return [{c.name: c.write(x) for c, x in zip(self.columns, row, strict=True)} for row in rows]

    def _schema(self) -> dict[str, Any]:
        cells = {column.name: column._schema() for column in self.columns}
        pair = {"type": "array", "prefixItems": list(cells.values()), "minItems": 2, "maxItems": 2}
        table = {"type": "object", "properties": cells, "additionalProperties": False, "required": [*cells]}
        return {"type": "array", "items": {"anyOf": [pair, table]}}

    @property
    def _example(self) -> str:
        first, second = self.columns
        sample = {"g": '"500 g"', "count": "10"}[first.unit]
        return f"[{{ {first.name} = {sample}, {second.name} = 4.20 }}]"

    def _row(self, row: object) -> tuple[float, float]:
        names = [column.name for column in self.columns]
        cells = row
        if isinstance(row, dict) and set(row) == set(names):
            cells = [row[name] for name in names]
        if not isinstance(cells, list) or len(cells) != len(names):
            raise QuantityError(row, f"rows of {names[0]} and {names[1]}", f"Write {self._example}.")
        return self.columns[0].read(cells[0]), self.columns[1].read(cells[1])


def _quoted(words: Sequence[str]) -> str:
    return ", ".join(f'"{word}"' for word in words)


def read_number(raw: object, unit: str) -> float:
    """Return a quantity of a file in `unit`, clean of the dust a conversion leaves.

    "80.6 F" and "27 C" must be one job: a converted value keeps 12 significant digits.
    Raises `QuantityError`.

    Examples
    --------
    >>> read_number("80.6 F", "degC"), read_number("0,5", "fraction")
    (27.0, 0.5)
    """
    if isinstance(raw, bool) or not isinstance(raw, str | int | float):
        raise QuantityError(raw, allowed_text(unit), "Write one number with its unit, in quotes.")
    if isinstance(raw, float) and not math.isfinite(raw):
        raise QuantityError(raw, allowed_text(unit), "Write an ordinary number.")
    if not isinstance(raw, str) and unit not in PLAIN_UNITS:
        repair = f'Add the unit: "{raw} {hinted_unit(unit)}" if that is meant.'
        raise QuantityError(raw, allowed_text(unit), repair)
    value = parse(raw, unit) + 0.0
    return value if repr(value) in str(raw) else float(f"{value:.12g}")


def unit_word(unit: str) -> str:
    """Return the unit as it stands after a number in a file; nothing for plain numbers.

    Examples
    --------
    >>> unit_word("degC"), unit_word("currency/h"), unit_word("fraction")
    ('C', '/h', '')
    """
    return "" if unit in PLAIN_UNITS else "C" if unit == "degC" else unit.removeprefix("currency")


def shown_unit(unit: str) -> str:
    """Return the unit as people are shown it: `unit_word`, with the sign of degrees."""
    return "°C" if unit == "degC" else unit_word(unit)


def number_text(value: float) -> str:
    """Return a number as short text that reads back to the same number.

    Examples
    --------
    >>> number_text(35.0), number_text(0.1 + 0.2)
    ('35', '0.30000000000000004')
    """
    return str(int(value)) if value == int(value) and abs(value) < 1e6 else repr(float(value))
