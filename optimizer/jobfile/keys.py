"""The keys of a job file, table by table, read from the records they fill: for readers, checks and help."""

from __future__ import annotations

import inspect
import math
import re
from collections.abc import Iterator
from dataclasses import MISSING, fields
from itertools import groupby
from typing import Any, Final, NamedTuple

from optimizer.errors import Fault, QuantityError
from optimizer.job import Bounds, Candle, Job, Price, Shop, Vessel
from optimizer.key_kinds import Choice, Key, Number, keys_of
from optimizer.nomenclature import PROPERTIES, QUANTITIES

UNTITLED: Final = "Untitled job"
"""Title of a job whose file states none."""

TOP_VALUES, VESSEL, CANDLE, SHOP, PRICE, BOUNDS = map(keys_of, (Job, Vessel, Candle, Shop, Price, Bounds))
_BESIDE: Final = (
    "currency",
    "materials",
    "objective",
    "vessel",
    "candle",
    "shop",
    "limits",
    "bounds",
    "prices",
)
TOP: Final = (*(key.name for key in TOP_VALUES), *_BESIDE)
"""Keys and tables of the file's top level."""

HOMES: Final[dict[str, str]] = {
    **dict.fromkeys(PROPERTIES, "[limits]"),
    **{key.name: "a [prices] table" for key in PRICE},
    **{key.name: "[candle]" for key in CANDLE},
    **{key.name: "[vessel]" for key in VESSEL},
    **{key.name: "[shop]" for key in SHOP},
    **dict.fromkeys(TOP, "the top of the file, above the first table"),
}
"""Where a key belongs, for keys found elsewhere."""

_TABLES: Final[tuple[tuple[str, str, type], ...]] = (
    ("", "at the top of the file", Job),
    ("vessel", "cavity_volume by water fill, or the measures of a straight round vessel", Vessel),
    ("candle", "without this table the heat margin is not judged", Candle),
    ("shop", "room, people, molds, money", Shop),
    ("prices.<material>", "what a powder costs and how much of it is there", Price),
    ("bounds.<material>", "shares of the dry powder", Bounds),
)
_SHOWN_UNITS: Final = {"-": "", "class": "low, medium, high", "currency": "the job's currency", "degC": "°C"}


def schema() -> dict[str, Any]:
    """Return the JSON schema of a job file, for editors that complete and check TOML while one types.

    It holds what can be said of one value alone; units and whether values fit together are checked by
    `optimizer.jobfile.parse_job`.

    Examples
    --------
    >>> schema()["properties"]["confidence"]["minimum"]
    0.5
    """
    from optimizer.jobfile.forms import job_form  # brings pydantic, which takes a while

    found = job_form().model_json_schema()
    dialect = "https://json-schema.org/draft/2020-12/schema"
    tables = _unfolded(found, found.pop("$defs"))
    return {"$schema": dialect, "title": "vesselblend job file", **tables}


def _unfolded(node: Any, definitions: dict[str, Any]) -> Any:  # noqa: ANN401  any part of a schema
    """Return a schema with its tables in place, without titles that repeat the keys."""
    if isinstance(node, list):
        return [_unfolded(each, definitions) for each in node]
    if not isinstance(node, dict):
        return node
    table = definitions.get(str(node.get("$ref")).rpartition("/")[2], {})
    whole = {**table, **{name: part for name, part in node.items() if name != "$ref"}}
    return {
        name: _unfolded(part, definitions)
        for name, part in whole.items()
        if name not in ("title", "default") or isinstance(part, dict)  # a key may be called so
    }


def meanings(record: type) -> dict[str, str]:
    """Return what each field of a record means, from the Attributes section of its docstring.

    Examples
    --------
    >>> meanings(Price)["pack"]
    'Mass of one pack [kg].'
    """
    section = (inspect.getdoc(record) or "").partition("Attributes\n----------\n")[2]
    found: dict[str, str] = {}
    for names, text in re.findall(r"^(\w[\w, ]*) : .*\n((?: {4}.*\n?)+)", section, re.MULTILINE):
        found |= dict.fromkeys(names.split(", "), " ".join(text.split()))
    return found


def range_faults(record: Any, where: str) -> list[Fault]:  # noqa: ANN401  any annotated record
    """Return a fault of `where` for every number or word of a record that a job file could not hold.

    Examples
    --------
    >>> [(fault.where, fault.allowed) for fault in range_faults(Shop(reject=1.0), "shop")]
    [('shop.reject', '0 or more, below 1')]
    """
    kind: type = type(record)
    keys = (key for key in keys_of(kind) if isinstance(key, Number | Choice))
    found = ((key, getattr(record, key.field or key.name)) for key in keys)
    return [fault for key, value in found if value is not None for fault in _range_fault(key, value, where)]


def _range_fault(key: Key, value: Any, where: str) -> list[Fault]:  # noqa: ANN401  of the kind
    if isinstance(key, Number) and not math.isfinite(float(value)):
        return [Fault(f"{where}.{key.name}", f"{value}", key.range_text, "Give an ordinary number.")]
    try:
        key.read(key.write(value))
    except QuantityError as error:
        return [Fault(f"{where}.{key.name}", f"{value}", error.allowed, error.repair)]
    return []


class KeyRow(NamedTuple):
    """Keys that share one meaning, with the unit in brackets; `default` holds where they are left out."""

    names: tuple[str, ...]
    meaning: str
    default: str


class KeyTable(NamedTuple):
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
    tables = [KeyTable(name, purpose, tuple(_rows(record))) for name, purpose, record in _TABLES]
    return (*tables, _limits())


def _limits() -> KeyTable:
    rows = []
    for name in PROPERTIES:
        quantity = QUANTITIES[name]
        unit = _SHOWN_UNITS.get(quantity.unit, quantity.unit)
        rows.append(KeyRow((name,), f"{quantity.meaning} [{unit}]" if unit else quantity.meaning, ""))
    purpose = 'what the vessel must keep, as "<= 45 min"; two of them make a range'
    return KeyTable("limits", purpose, tuple(rows))


def _rows(record: type) -> Iterator[KeyRow]:
    words = meanings(record)
    defaults = {each.name: each.default for each in fields(record)}
    for meaning, group in groupby(keys_of(record), lambda key: _meaning(key, words)):
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
    written = key.write(default)
    if isinstance(written, bool):
        return str(written).lower()
    return f"{written:g}" if isinstance(written, float) else str(written)
