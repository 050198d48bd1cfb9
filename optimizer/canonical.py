"""One spelling for equal values: records, mappings, tuples and figures as text."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Final

_BESIDE_THE_POINT: Final = frozenset({"stated", "path", "in_hand", "calibration"})


def canonical_text(value: object) -> str:
    """Return records, mappings and tuples of figures as JSON with one spelling for equal values.

    Mappings are sorted by key; numbers are written as the shortest text that reads back to the same
    float, so that 6 and 6.0 are one.

    Examples
    --------
    >>> canonical_text({"b": 6, "a": (0.1, -0.0)})
    '{"a":[0.1,0.0],"b":6.0}'
    """
    return json.dumps(_plain(value), sort_keys=True, separators=(",", ":"), allow_nan=False)


def _plain(value: object) -> object:
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, int | float):
        return _number(float(value))
    if is_dataclass(value):
        names = (each.name for each in fields(value) if each.name not in _BESIDE_THE_POINT)
        return {name: _plain(getattr(value, name)) for name in names}
    if isinstance(value, Mapping):
        return {str(name): _plain(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    raise TypeError(
        f"{type(value).__name__} has no canonical text; use records, mappings, tuples and numbers"
    )


def _number(value: float) -> float | str:
    """Return the number, or its word where JSON has none."""
    return value + 0.0 if abs(value) < float("inf") else str(value)
