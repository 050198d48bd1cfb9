"""Quantities that stand inside texts, put into the units shown: hints, job files, notes.

Grams stay grams: the scale at the bench shows them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from optimizer.units import System, convert, significant, unit_in

_TYPED: Final[Mapping[str, tuple[str, str, str]]] = {
    "kg": ("kg", "lb", "lb"),
    "mL": ("mL", "floz", "fl oz"),
    "mm": ("mm", "in", "in"),
    "km": ("km", "mi", "mi"),
    "MPa": ("MPa", "psi", "psi"),
    "g/cm3": ("g/cm3", "lb/ft3", "lb/ft3"),
    "C": ("degC", "degF", "F"),
    "K": ("K", "delta_degF", "F"),
    "/kg": ("currency/kg", "currency/lb", "/lb"),
    "/km": ("currency/km", "currency/mi", "/mi"),
}
"""Unit as typed: its name, its US counterpart, and how that is typed."""

_WEIGHED: Final[Mapping[str, tuple[str, str, str]]] = {"g": ("g", "oz", "oz")}
"""Grams where they are no reading of a scale."""

_PROSE: Final[Mapping[str, tuple[str, str, str]]] = {
    "°C": ("degC", "degF", "°F"),
    "K": ("K", "delta_degF", "°F"),
    "mm": ("mm", "in", "in"),
}
"""The same for units in sentences; a sentence that says K speaks of a difference."""

_US_NAMED: Final = re.compile(r"[0-9] ?(in3?|psi|F|lb|oz|mi|fl oz)\b")

_ONE_QUANTITY: Final = re.compile(r"[-+]?[0-9]+(?:\.[0-9]+)? ?[A-Za-z/][A-Za-z0-9/]*")

_STATED: Final = re.compile(r'^((?:# )?[\w.]+ = )("[^"\n]*")( *)', re.MULTILINE)
"""A line of a job file that states a quantity, or would without its #."""

_HEAD: Final = re.compile(r"(.*) \[([A-Z]{3}(?=[/\]]))?([^\]]*)\]")
"""A head of a column with its unit, which may be money or money for something."""

_NUMBER: Final = r"(?<![\w.])([-+]?)([0-9]+(?:\.[0-9]+)?) ?"


def typed_in(text: str, units: System, digits: int = 3) -> str:
    """Return a text of typed quantities in other units, such as a hint.

    Parameters
    ----------
    text : str
        With quantities in metric units [-].
    units : str
        ``metric`` (the text as it is) or ``us`` [-].
    digits : int
        Significant digits; up to three of them, temperatures are whole degrees [-].

    Examples
    --------
    >>> typed_in("0 h: 21 C, 1 h: 38 C", "us"), typed_in("100 mm", "us"), typed_in("1 K", "us")
    ('0 h: 70 F, 1 h: 100 F', '3.94 in', '1.8 F')
    >>> typed_in("-5 C", "us"), typed_in("4.5 g/h", "us")
    ('23 F', '4.5 g/h')
    """
    return _in_units(text, units, _TYPED, digits)


def hint_in(hint: str, units: System) -> str:
    """Return what may be typed in a field; a hint that names a US unit stays as it is.

    Examples
    --------
    >>> hint_in("8 mm", "us"), hint_in("21 C or 70 F", "us")
    ('0.315 in', '21 C or 70 F')
    """
    return hint if _US_NAMED.search(hint) else typed_in(hint, units)


def field_in(text: str, units: System, *, limit: bool = False) -> str:
    """Return what a field shows of a quantity that a job file states; any other text stays as it is.

    Parameters
    ----------
    limit : bool
        Whether it is a bound, whose grams no scale at the bench shows [-].

    Examples
    --------
    >>> [field_in(text, "us") for text in ("215 mL", "2,3 kg", "Jar of 8 mm", "1 g")]
    ['7.27 fl oz', '2,3 kg', 'Jar of 8 mm', '1 g']
    >>> field_in("380 g", "us", limit=True)
    '13.4 oz'
    """
    known = {**_TYPED, **_WEIGHED} if limit else _TYPED
    return _in_units(text, units, known, 3) if _ONE_QUANTITY.fullmatch(text) else text


def prose_in(text: str, units: System) -> str:
    """Return a sentence with its temperatures, differences of temperature and lengths in the units shown.

    Examples
    --------
    >>> prose_in("The margin changes by -2.0 K with a wall 2 mm thicker.", "us")
    'The margin changes by -3.6 °F with a wall 0.079 in thicker.'
    >>> prose_in("The mix may pass 48 °C.", "us")
    'The mix may pass 118 °F.'
    """
    return _in_units(text, units, _PROSE, 2)


@dataclass(frozen=True)
class ShownColumn:
    """A column of a table as it is shown.

    Attributes
    ----------
    name : str
        Its head, with the unit shown.
    unit, shown : str
        Unit its numbers are held in, and the one they are shown in; empty for plain numbers and words.
    """

    name: str
    unit: str = ""
    shown: str = ""

    def of(self, value: float) -> float:
        """Return a number of the column as shown [`shown`]."""
        return convert(value, self.unit, self.shown)


def column_in(head: str, units: System) -> ShownColumn:
    """Return a column of a table of numbers in the units shown, from its head.

    Examples
    --------
    >>> column_in("dry_strength [MPa]", "us").name, column_in("prices.x.freight_per_kg [EUR/kg]", "us").name
    ('dry_strength [psi]', 'prices.x.freight_per_kg [EUR/lb]')
    >>> column_in("shop.temperature [degC]", "us").of(20.0)
    68.0
    """
    found = _HEAD.fullmatch(head)
    if units == "metric" or found is None:
        return ShownColumn(head)
    name, currency, unit = found.groups()
    held = f"currency{unit}" if currency else unit
    shown = unit_in(held, units)
    return ShownColumn(f"{name} [{currency or ''}{shown.removeprefix('currency')}]", held, shown)


def job_text_in(text: str, units: System) -> str:
    r"""Return the text of a job file with the quantities it states in other units, and US dollars with them.

    Comments stay: what they say of grams and milliliters of water holds anywhere.

    Examples
    --------
    >>> job_text_in('currency = "EUR"  # money\nwall = "8 mm"       # of 8 mm', "us")
    'currency = "USD"  # money\nwall = "0.315 in"   # of 8 mm'
    """
    if units == "metric":
        return text
    text = text.replace('currency = "EUR"', 'currency = "USD"')
    return _STATED.sub(_stated, text)


def _stated(line: re.Match[str]) -> str:
    """Return a line that states a key, what follows its value where it stood."""
    key, value, space = line.groups()
    shown = typed_in(value, "us")
    return f"{key}{shown}{space and ' ' * max(1, len(space) + len(value) - len(shown))}"


def _in_units(text: str, units: System, known: Mapping[str, tuple[str, str, str]], digits: int) -> str:
    if units == "metric":
        return text
    pattern = _NUMBER + "(" + "|".join(map(re.escape, sorted(known, key=len, reverse=True))) + r")(?![\w/])"

    def put(match: re.Match[str]) -> str:
        name, shown, word = known[match[3]]
        number = convert(float(match[1] + match[2]), name, shown)
        return f"{match[1].strip('-')}{_digits(number, shown, digits)} {word}"

    return re.sub(pattern, put, text)


def _digits(number: float, unit: str, digits: int) -> str:
    if unit in ("degF", "delta_degF") and abs(number) >= 10.0 and digits <= 3:
        return f"{number:.0f}"
    shown = significant(number, digits)
    return shown.rstrip("0").rstrip(".") if "." in shown else shown
