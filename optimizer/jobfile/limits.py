"""Limits, objective and currency of a job file: text to value and back, and bounds no blend could touch."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, Final, NamedTuple

from optimizer.errors import QuantityError
from optimizer.job import DAMP_CLASSES, Limit
from optimizer.key_kinds import PLAIN_UNITS, Key, number_text, read_number, shown_unit, unit_word
from optimizer.nomenclature import PROPERTIES, quantity

SENSES: Final = {"<=": "<=", "≤": "<=", ">=": ">=", "≥": ">="}
"""Sign of a limit as written -> as held."""

_LIMIT: Final = re.compile(r"\s*(<=|>=|≤|≥)\s*(.*?)\s*", re.DOTALL)
_OBJECTIVE: Final = re.compile(r"\s*(?:(min|max)\s+)?(\w+)\s*")


_CURRENCY_HINTS: Final = {"€": "EUR", "$": "USD", "£": "GBP", "¥": "JPY", "EURO": "EUR", "DOLLAR": "USD"}


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
