"""Every key of a job file in words: what it means and what holds where it is left out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import MISSING, dataclass, fields
from itertools import groupby
from typing import Final

from optimizer.job import Job
from optimizer.jobfile.json_schema import meanings
from optimizer.jobfile.keys import BOUNDS, CANDLE, PRICE, SHOP, TOP_VALUES, VESSEL
from optimizer.jobfile.kinds import Choice, Key
from optimizer.nomenclature import PROPERTIES, QUANTITIES
from optimizer.shop import Bounds, Candle, Price, Shop, Vessel

__all__ = ["KeyRow", "KeyTable", "key_tables"]

_TABLES: Final[tuple[tuple[str, str, Sequence[Key], type], ...]] = (
    ("", "at the top of the file", TOP_VALUES, Job),
    (
        "vessel",
        "cavity_volume by water fill, or the measures of a straight round vessel",
        VESSEL,
        Vessel,
    ),
    ("candle", "without this table the heat margin is not judged", CANDLE, Candle),
    ("shop", "room, people, molds, money", SHOP, Shop),
    ("prices.<material>", "what a powder costs and how much of it is there", PRICE, Price),
    ("bounds.<material>", "shares of the dry powder", BOUNDS, Bounds),
)
_PLAIN_UNITS: Final = {"-": "", "class": "low, medium, high", "currency": "the job's currency", "degC": "°C"}


@dataclass(frozen=True)
class KeyRow:
    """Keys that share one meaning.

    Attributes
    ----------
    names : tuple[str, ...]
        The keys as they are written in the file.
    meaning : str
        What they say, with the unit in brackets.
    default : str
        What holds where they are left out; empty where nothing does.
    """

    names: tuple[str, ...]
    meaning: str
    default: str


@dataclass(frozen=True)
class KeyTable:
    """One table of the job file: its name, what it is for, and its keys."""

    name: str
    purpose: str
    rows: tuple[KeyRow, ...]


def key_tables() -> tuple[KeyTable, ...]:
    """Return every table of a job file with its keys, limits last.

    Examples
    --------
    >>> vessel = key_tables()[1]
    >>> vessel.name, vessel.rows[0].names, vessel.rows[1].default
    ('vessel', ('cavity_volume',), '85 mm, 95 mm, 8 mm, 8 mm')
    """
    tables = [KeyTable(name, purpose, tuple(_rows(keys, record))) for name, purpose, keys, record in _TABLES]
    return (*tables, _limits())


def _limits() -> KeyTable:
    rows = []
    for name in PROPERTIES:
        quantity = QUANTITIES[name]
        unit = _PLAIN_UNITS.get(quantity.unit, quantity.unit)
        rows.append(KeyRow((name,), f"{quantity.meaning} [{unit}]" if unit else quantity.meaning, ""))
    return KeyTable(
        "limits", 'what the vessel must keep, as "<= 45 min"; two of them make a range', tuple(rows)
    )


def _rows(keys: Sequence[Key], record: type) -> Iterator[KeyRow]:
    words = meanings(record)
    defaults = {each.name: each.default for each in fields(record)}
    for meaning, group in groupby(keys, lambda key: _meaning(key, words)):
        members = list(group)
        shown = (_default(key, defaults[key.field or key.name]) for key in members)
        yield KeyRow(tuple(key.name for key in members), meaning, ", ".join(filter(None, shown)))


def _meaning(key: Key, words: dict[str, str]) -> str:
    if isinstance(key, Choice):
        return f"One of: {', '.join(key.words)}."
    return words[key.field or key.name].replace("``", "").replace("degC", "°C")


def _default(key: Key, default: object) -> str:
    if default is MISSING or default in (None, "", ()):
        return ""
    written = key.write(default)  # type: ignore[arg-type]  # a default fits its key
    if isinstance(written, bool):
        return str(written).lower()
    return f"{written:g}" if isinstance(written, float) else str(written)
