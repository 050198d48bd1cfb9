"""The JSON schema of a job file, for editors that complete and check TOML while one types."""

from __future__ import annotations

import inspect
import math
import re
from collections.abc import Sequence
from functools import singledispatch
from typing import Any

from optimizer.job import Job
from optimizer.jobfile.keys import BOUNDS, CANDLE, PRICE, SHOP, TOP_VALUES, VESSEL
from optimizer.jobfile.kinds import PLAIN_UNITS, Choice, Dates, Flag, Key, Number, Pairs, Text, Words
from optimizer.nomenclature import PROPERTIES, QUANTITIES
from optimizer.shop import Bounds, Candle, Price, Shop, Vessel
from optimizer.unit_words import allowed_text

__all__ = ["meanings", "schema"]

_DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema() -> dict[str, Any]:
    """Return the JSON schema of a job file.

    It holds what can be said of one value alone; units and whether values fit together are checked by
    `optimizer.jobfile.parse_job`.

    Examples
    --------
    >>> schema()["properties"]["confidence"]["minimum"]
    0.5
    """
    words = meanings(Job)
    properties = {
        **_properties(TOP_VALUES, Job),
        "currency": {"type": "string", "pattern": "^[A-Z]{3}$"},
        "materials": {"type": "array", "items": {"type": "string"}, "minItems": 1, "uniqueItems": True},
        "objective": {"type": "string", "pattern": rf"^\s*((min|max)\s+)?({'|'.join(PROPERTIES)})\s*$"},
        "vessel": _table(VESSEL, Vessel),
        "candle": _table(CANDLE, Candle),
        "shop": _table(SHOP, Shop),
        "limits": _limits(),
        "bounds": {"type": "object", "additionalProperties": _table(BOUNDS, Bounds)},
        "prices": {"type": "object", "additionalProperties": _table(PRICE, Price, ("pack", "price"))},
    }
    for name, entry in properties.items():
        entry.setdefault("description", words.get(name, ""))
    return {
        "$schema": _DIALECT,
        "title": "vesselblend job file",
        **_closed(properties, ("currency", "materials", "vessel")),
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


def _closed(properties: dict[str, Any], required: Sequence[str] = ()) -> dict[str, Any]:
    closed = {"type": "object", "properties": properties, "additionalProperties": False}
    return {**closed, "required": list(required)} if required else closed


def _table(keys: Sequence[Key], record: type, required: Sequence[str] = ()) -> dict[str, Any]:
    return _closed(_properties(keys, record), required)


def _properties(keys: Sequence[Key], record: type) -> dict[str, Any]:
    words = meanings(record)
    return {key.name: {"description": words.get(key.field or key.name, ""), **_entry(key)} for key in keys}


def _limits() -> dict[str, Any]:
    text = {"type": "string", "pattern": r"^\s*(<=|>=|≤|≥)"}
    bound = {"anyOf": [text, {"type": "array", "items": text, "minItems": 1, "maxItems": 2}]}
    words = {name: f"{row.meaning} [{row.unit}]" for name, row in QUANTITIES.items()}
    return _closed({name: {"description": words[name], **bound} for name in PROPERTIES})


@singledispatch
def _entry(key: Key) -> dict[str, Any]:
    raise TypeError(key)


@_entry.register
def _(key: Number) -> dict[str, Any]:
    if key.unit not in PLAIN_UNITS:
        return {"type": "string", "$comment": allowed_text(key.unit)}
    low = {"exclusiveMinimum" if key.open_least else "minimum": key.least}
    high = {"exclusiveMaximum" if key.open_most else "maximum": key.most}
    number = "integer" if key.unit == "count" else "number"
    return {"type": [number, "string"], **low, **(high if math.isfinite(key.most) else {})}


@_entry.register
def _(key: Flag) -> dict[str, Any]:
    return {"type": "boolean"}


@_entry.register
def _(key: Choice) -> dict[str, Any]:
    return {"enum": list(key.words)}


@_entry.register
def _(key: Text) -> dict[str, Any]:
    return {"type": "string", "maxLength": key.longest}


@_entry.register
def _(key: Words) -> dict[str, Any]:
    return {"type": "array", "items": {"enum": list(key.words)}, "minItems": 1}


@_entry.register
def _(key: Dates) -> dict[str, Any]:
    return {"type": "array", "items": {"type": "string", "format": "date"}}


@_entry.register
def _(key: Pairs) -> dict[str, Any]:
    cells = {column.name: _entry(column) for column in key.columns}
    pair = {"type": "array", "prefixItems": list(cells.values()), "minItems": 2, "maxItems": 2}
    return {"type": "array", "items": {"anyOf": [pair, _closed(cells, tuple(cells))]}}
