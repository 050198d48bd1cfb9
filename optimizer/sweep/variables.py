"""What a sweep may vary: any key of a job file that holds a number, a word of a list, a flag or a limit.

A variable knows its key's unit and range from the tables of `optimizer.jobfile.keys`, so that a scenario is
read exactly as the same line of a job file would be.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from optimizer.errors import Fault, FileFaults
from optimizer.job import DAMP_CLASSES, Limit
from optimizer.jobfile.keys import BOUNDS, CANDLE, PRICE, SHOP, TOP_VALUES, VESSEL
from optimizer.jobfile.limits import SENSES, Objective, read_limits, write_limit
from optimizer.jobfile.reading import nearest
from optimizer.key_kinds import Choice, Flag, Key, Number, unit_word
from optimizer.nomenclature import PROPERTIES, quantity
from optimizer.toml_files import shown_value

Value: TypeAlias = float | bool | str
"""A value in its record's unit, a flag, or a word."""

_NAME: Final = re.compile(r"\s*([A-Za-z][\w.]*?)\s*(<=|>=|≤|≥)?\s*")
_TABLES: Final[Mapping[str, tuple[Key, ...]]] = {"vessel": VESSEL, "candle": CANDLE, "shop": SHOP}
_BY_MATERIAL: Final[Mapping[str, tuple[Key, ...]]] = {"prices": PRICE, "bounds": BOUNDS}


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
