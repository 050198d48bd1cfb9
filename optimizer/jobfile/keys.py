"""The keys of a job file, table by table, read from the records they fill: for readers, checks and help.

With limits, objective and currency: text to value and back, and bounds no blend could touch.
"""

from __future__ import annotations

import inspect
import math
import re
from collections.abc import Iterator
from dataclasses import MISSING, dataclass, fields
from difflib import get_close_matches
from itertools import groupby
from typing import Any, Final, NamedTuple

from optimizer.errors import Fault, QuantityError
from optimizer.job import DAMP_CLASSES, Bounds, Candle, Job, Limit, Price, Shop, Vessel
from optimizer.key_kinds import (
    PLAIN_UNITS,
    Choice,
    Key,
    Number,
    keys_of,
    number_text,
    read_number,
    shown_unit,
    unit_word,
)
from optimizer.nomenclature import PROPERTIES, QUANTITIES, quantity

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

SENSES: Final = {"<=": "<=", "≤": "<=", ">=": ">=", "≥": ">="}
"""Sign of a limit as written -> as held."""

_LIMIT: Final = re.compile(r"\s*(<=|>=|≤|≥)\s*(.*?)\s*", re.DOTALL)
_OBJECTIVE: Final = re.compile(r"\s*(?:(min|max)\s+)?(\w+)\s*")


_CURRENCY_HINTS: Final = {"€": "EUR", "$": "USD", "£": "GBP", "¥": "JPY", "EURO": "EUR", "DOLLAR": "USD"}


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


@dataclass(frozen=True)
class Bound(Key):
    """One or two limits on a property."""

    property: str

    def read(self, raw: object) -> tuple[Limit, ...]:
        """Return the limits, as `read_limits`."""
        return read_limits(self.property, raw)

    def _schema(self) -> dict[str, Any]:
        text = {"type": "string", "pattern": r"^\s*(<=|>=|≤|≥)"}
        return {"anyOf": [text, {"type": "array", "items": text, "minItems": 1, "maxItems": 2}]}


@dataclass(frozen=True)
class Objective(Key):
    """A property to make best and whether it is to be large."""

    def read(self, raw: object) -> tuple[str, bool]:
        """Return both, as `read_objective`."""
        return read_objective(raw)

    def _schema(self) -> dict[str, Any]:
        return {"type": "string", "pattern": rf"^\s*((min|max)\s+)?({'|'.join(PROPERTIES)})\s*$"}


@dataclass(frozen=True)
class Currency(Key):
    """The code of a currency."""

    def read(self, raw: object) -> str:
        """Return the code; raises `QuantityError` with the code that a sign or a word may mean."""
        if isinstance(raw, str) and re.fullmatch("[A-Z]{3}", raw):
            return raw
        word = raw.strip().upper() if isinstance(raw, str) else ""
        meant = _CURRENCY_HINTS.get(word) or _CURRENCY_HINTS.get(word.removesuffix("S"))
        if meant is None and re.fullmatch("[A-Z]{3}", word):
            meant = word
        sample = f'"{meant}" if that is the currency meant' if meant else 'a code such as "EUR" or "USD"'
        allowed = "three capital letters, the currency's ISO 4217 code"
        raise QuantityError(raw, allowed, f"Write {sample}.")

    def _schema(self) -> dict[str, Any]:
        return {"type": "string", "pattern": "^[A-Z]{3}$"}


class Reach(NamedTuple):
    """Values a property can take: lowest, highest, and whether the lowest itself is out of reach."""

    low: float
    high: float
    open_low: bool


_ABOVE_NOTHING: Final = Reach(0.0, math.inf, open_low=True)
_FROM_NOTHING: Final = Reach(0.0, math.inf, open_low=False)
_SHARE: Final = Reach(0.0, 1.0, open_low=False)
_TEMPERATURE: Final = Reach(-273.15, math.inf, open_low=True)

_REACHES: Final[dict[str, Reach]] = {
    "porosity": _SHARE,
    "absorption": _FROM_NOTHING,
    "whiteness": Reach(0.0, 100.0, open_low=False),
    "casting_peak": _TEMPERATURE,
    "outer_wall_temperature": _TEMPERATURE,
    "inner_wall_temperature": _TEMPERATURE,
    "heat_margin": Reach(-math.inf, math.inf, open_low=False),
    "sealer_coats": _FROM_NOTHING,
    "drying_time": _FROM_NOTHING,
    "crystalline_silica": _SHARE,
    "embodied_co2": _FROM_NOTHING,
    "setting_expansion": Reach(-1000.0, math.inf, open_low=True),
    "damp_risk": Reach(0.0, len(DAMP_CLASSES) - 1.0, open_low=False),
}


def reach(name: str) -> Reach:
    """Return the values the property `name` can take by its nature [its unit].

    Examples
    --------
    >>> reach("porosity").high
    1.0
    """
    return _REACHES.get(name, _ABOVE_NOTHING)


def read_limits(name: str, raw: object) -> tuple[Limit, ...]:
    """Return the limits a file sets on one property: one, or two of opposite sense.

    Raises
    ------
    QuantityError
        If a bound is no quantity of this property, has no sense, cannot bind or cannot be met, or if
        the two contradict each other.

    Examples
    --------
    >>> read_limits("demold_time", "<= 1h15")
    (Limit(property='demold_time', sense='<=', bound=75.0),)
    """
    texts = raw if isinstance(raw, list) else [raw]
    if not 1 <= len(texts) <= 2:
        raise QuantityError(raw, "one bound, or a lower and an upper one", f"Write {_example(name)}.")
    limits = tuple(_read_limit(name, text) for text in texts)
    if len(limits) == 2:
        _check_two(limits, raw)
    return limits


def write_limit(limit: Limit) -> str:
    """Return a limit as it stands in a file.

    Examples
    --------
    >>> write_limit(Limit("damp_risk", "<=", 0.0))
    '<= low'
    """
    unit = quantity(limit.property).unit
    if unit == "class":
        return f"{limit.sense} {DAMP_CLASSES[int(limit.bound)]}"
    return f"{limit.sense} {number_text(limit.bound)} {unit_word(unit)}".rstrip()


def read_objective(raw: object) -> tuple[str, bool]:
    """Return the property to make best and whether it is to be large; raises `QuantityError`.

    A name alone means the direction a caster calls better.

    Examples
    --------
    >>> read_objective("cost"), read_objective("whiteness"), read_objective("max dry_mass")
    (('cost', False), ('whiteness', True), ('dry_mass', True))
    """
    match = _OBJECTIVE.fullmatch(raw) if isinstance(raw, str) else None
    if match is None or match[2] not in PROPERTIES:
        near = get_close_matches(match[2], PROPERTIES, n=3, cutoff=0.0) if match else ["cost"]
        raise QuantityError(raw, "a property's name, or min or max and a name", f"Try {', '.join(near)}.")
    direction, name = match[1], match[2]
    if name == "cost" and direction == "max":
        raise QuantityError(
            raw, "cost or min cost, or another property", 'Write "cost": nobody wants it high.'
        )
    if direction is None and quantity(name).better == "neither":
        raise QuantityError(raw, "min or max before this name", f'Write "min {name}" or "max {name}".')
    return name, direction == "max" if direction else quantity(name).better == "higher"


def write_objective(name: str, maximize: bool) -> str:
    """Return an objective as it stands in a file.

    Examples
    --------
    >>> write_objective("cost", False), write_objective("dry_mass", True)
    ('cost', 'max dry_mass')
    """
    usual = {"lower": False, "higher": True}.get(quantity(name).better)
    return name if usual is maximize else f"{'max' if maximize else 'min'} {name}"


def _read_limit(name: str, raw: object) -> Limit:
    match = _LIMIT.fullmatch(raw) if isinstance(raw, str) else None
    if match is None:
        raise QuantityError(raw, f"<= or >= and a bound, such as {_example(name)}", _sense_repair(name, raw))
    limit = Limit(name, SENSES[match[1]], _bound(name, match[2]))
    _check_reach(limit, raw)
    return limit


def _bound(name: str, text: str) -> float:
    unit = quantity(name).unit
    if unit != "class":
        return read_number(text, unit)
    if text not in DAMP_CLASSES:
        raise QuantityError(text, ", ".join(DAMP_CLASSES), "Write one of these words.")
    return float(DAMP_CLASSES.index(text))


def _check_reach(limit: Limit, raw: object) -> None:
    low, high, open_low = reach(limit.property)
    below = limit.sense == "<="
    if limit.bound >= high if below else limit.bound <= low:
        raise QuantityError(
            raw, _range_text(limit.property), "Take the limit out or tighten it: it cannot bind."
        )
    never = limit.bound < low or (open_low and limit.bound == low) if below else limit.bound > high
    if never:
        raise QuantityError(raw, _range_text(limit.property), "Loosen it: nothing can meet it.")


def _check_two(limits: tuple[Limit, ...], raw: object) -> None:
    bounds = {limit.sense: limit.bound for limit in limits}
    if len(bounds) < 2:
        raise QuantityError(
            raw, "one <= and one >=", f"Keep the tighter of the two {limits[0].sense} bounds."
        )
    if bounds[">="] > bounds["<="]:
        raise QuantityError(raw, "a lower bound below the upper one", "Swap the two bounds or their senses.")


def _range_text(name: str) -> str:
    low, high, open_low = reach(name)
    unit = quantity(name).unit
    if unit == "class":
        return "<= low, <= medium, >= medium or >= high"
    word = shown_unit(unit)
    start = f"a bound above {low:g}" if open_low or high == math.inf else f"a bound from {low:g}"
    return f"{start} {word}".rstrip() if high == math.inf else f"{start} to {high:g} {word}".rstrip()


def _example(name: str) -> str:
    row = quantity(name)
    sense = ">=" if row.better == "higher" else "<="
    bound = {"class": "low", "fraction": "0.3", "g/cm3": "2"}.get(row.unit, "40")
    return (
        f'"{sense} {bound} {"" if row.unit in PLAIN_UNITS | {"class"} else unit_word(row.unit)}'.rstrip()
        + '"'
    )


def _sense_repair(name: str, raw: object) -> str:
    if isinstance(raw, str) and raw.lstrip().startswith(("<", ">", "=")):
        return f"Begin with <= or >=, such as {_example(name)}."
    sense = ">=" if quantity(name).better == "higher" else "<="
    return f'Write "{sense} {str(raw)[:40]}" if that is the sense meant.'
