"""Text with units in, text with units out: the only place where units are converted.

Inside the package every figure is a float in the unit of `optimizer.nomenclature`. A number is read by
a strict pattern of our own; a unit is looked up in a closed list of spellings and handed to pint, which
holds every factor (times: the standard library). Nothing is ever evaluated. pint is imported at the first
text that needs a factor: it takes most of a second.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import timedelta
from fractions import Fraction
from functools import lru_cache
from threading import Lock
from typing import TYPE_CHECKING, Final, Literal

from optimizer.errors import QuantityError
from optimizer.nomenclature import CHANCE, quantity
from optimizer.unit_words import allowed_text, spell

if TYPE_CHECKING:
    import pint

System = Literal["metric", "us"]

_LONGEST: Final = 200
_MOST_DECIMALS: Final = 6
_PLAIN: Final = frozenset({"-", "count", "fraction", "currency", "g/g"})

_NUMBER: Final = re.compile(
    r"(?P<sign>[+-]?)\s?(?P<whole>[0-9]{1,3}(?: [0-9]{3})+(?![0-9])|[0-9]+)?"
    r"(?:(?P<mark>[.,])(?P<decimals>[0-9]+))?(?P<power>[eE][+-]?[0-9]{1,3}(?![0-9]))?(?P<unit>.*)",
    re.DOTALL,
)
_HOURS: Final = re.compile(
    r"([0-9]{1,4})\s*(?:h|hr|hrs|hours?)\s*([0-5]?[0-9])\s*(?:min|mins|minutes?)?", re.I
)
_US_AMOUNTS: Final = {
    "g": "oz",
    "kg": "lb",
    "mL": "floz",
    "mm": "in",
    "km": "mi",
    "MPa": "psi",
    "degC": "degF",
    "K": "delta_degF",
    "g/cm3": "lb/ft3",
    "currency/kg": "currency/lb",
    "currency/km": "currency/mi",
    "currency/L": "currency/gal",
    "mm/m": "in/ft",
}
_WORDS: Final = {
    "degC": "°C",
    "degF": "°F",
    "delta_degF": "°F difference",
    "floz": "fl oz",
    "-": "",
    "count": "",
    "class": "",
    "currency": "",
}
_USABLE: Final = {
    "min": "min, h or d",
    "h": "min, h or d",
    "d": "h, d or wk",
    "g": "g, kg, oz or lb",
    "kg": "g, kg, oz or lb",
    "mL": "mL, L, fl oz or in3",
    "mm": "mm, cm or in",
    "km": "km or mi",
    "MPa": "MPa or psi",
    "degC": "C or F",
    "K": "K, C or F",
}
"""Units of each kind that a caster meets, for who wrote one of another kind."""

_TIMES: Final = frozenset({"second", "minute", "hour", "day", "week"})
_TEMPERATURES: Final = frozenset({"degC", "degF", "K", "delta_degF"})

_TYPED: Final = {"degC": "C", "degF": "F", "delta_degF": "F", "floz": "fl oz"}
"""Units as a caster types them, where not by their name."""

_lock: Final = Lock()
_hinted: ContextVar[System] = ContextVar("_hinted", default="metric")


@contextmanager
def hints_in(system: System) -> Iterator[None]:
    """Let the repairs of faults name units of a system for a while: whoever reads Fahrenheit typed it.

    Masses keep grams in both: the scale at the bench shows them.

    Examples
    --------
    >>> try:
    ...     with hints_in("us"):
    ...         parse("70", "degC")
    ... except QuantityError as error:
    ...     print(error.repair)
    Add the unit: 70 F if that is meant.
    """
    token = _hinted.set(system)
    try:
        yield
    finally:
        _hinted.reset(token)


def parse(text: str | float, unit: str) -> float:
    """Read a quantity and return it in `unit`.

    Decimal point or decimal comma; spaces may group thousands ("1 200 g"); "1h15" is a time. For the
    unit ``K`` degrees are differences. A plain number is enough where the unit is a plain number
    (``-``, ``count``, ``fraction``, ``g/g``, ``currency``). Money per something is written "20 /h".

    Parameters
    ----------
    text : str or float
        What somebody typed, or a number from a file [any].
    unit : str
        Unit wanted, as in `optimizer.nomenclature` [-].

    Raises
    ------
    QuantityError
        With what is allowed and the repair: no number, missing or unknown unit, wrong dimension,
        ambiguous comma, overlong text, or a number beyond any size.

    Examples
    --------
    >>> parse("2,3 kg", "g")
    2300.0
    >>> parse("1h15", "min")
    75.0
    >>> round(parse("3500 psi", "MPa"), 2)
    24.13
    >>> parse("20 /h", "currency/h")
    20.0
    """
    words = _words(text, unit)
    hours = _HOURS.fullmatch(words)
    if hours:
        number, unit_text = 60.0 * int(hours[1]) + int(hours[2]), "min"
    else:
        number, unit_text = _number_and_unit(words, unit)
    try:
        scale, offset = _conversion(unit_text, unit)
    except QuantityError as error:
        repair = error.repair if unit_text else _unit_repair(words, unit)
        raise QuantityError(words, error.allowed, repair) from None
    result = number * scale + offset
    if not math.isfinite(result):
        raise QuantityError(words, allowed_text(unit), "Write a number of ordinary size.")
    if unit == "count" and result != int(result):
        raise QuantityError(words, allowed_text(unit), "Write a whole number.")
    return result


def convert(value: float, unit_from: str, unit_to: str) -> float:
    """Convert `value` from one unit to another.

    The quantity [`unit_to`].

    Parameters
    ----------
    value : float or numpy.ndarray
        The quantity [`unit_from`].
    unit_from, unit_to : str
        Units; with ``K`` or ``delta_degF`` as `unit_to`, degrees are differences [-].

    Raises
    ------
    QuantityError
        If the two units measure different things.

    Examples
    --------
    >>> convert(0.0, "degC", "degF")
    32.0
    """
    if unit_from == unit_to:
        return value
    scale, offset = _conversion(unit_from, unit_to)
    return value * scale + offset


def display_value(value: float, quantity_name: str, system: System = "metric") -> tuple[float, str]:
    """Return `value` of the named quantity in the unit people are shown, with that unit's word.

    Number [shown unit] and the unit's word; shares become percent, pure numbers have no word.

    Parameters
    ----------
    value : float
        The quantity [unit of `optimizer.nomenclature`].
    quantity_name : str
        A name of the nomenclature [-].
    system : str
        ``metric`` or ``us`` [-].

    Examples
    --------
    >>> display_value(0.08, "absorption")
    (8.0, '%')
    >>> display_value(50.0, "casting_peak", "us")
    (122.0, '°F')

    A difference is no reading of a thermometer, and says so.

    >>> display_value(0.0, "heat_margin", "us")
    (0.0, '°F difference')
    """
    row = quantity(quantity_name)
    unit = row.us_unit if system == "us" else row.unit
    if unit == "fraction":
        return 100.0 * value, "%"
    return convert(value, row.unit, unit), _WORDS.get(unit, unit)


def unit_in(unit: str, system: System) -> str:
    """Return the unit in which a system shows an amount of `unit`.

    Examples
    --------
    >>> unit_in("MPa", "us"), unit_in("min", "us"), unit_in("MPa", "metric")
    ('psi', 'min', 'MPa')
    """
    return _US_AMOUNTS.get(unit, unit) if system == "us" else unit


def show(value: float | str, quantity_name: str, system: System = "metric") -> str:
    """Return the quantity as text: digits worth showing, unit of the system.

    Text such as "24 MPa"; "never" for a time without end, "unknown" for no number.

    Parameters
    ----------
    value : float or str
        The quantity [unit of `optimizer.nomenclature`]; a class is its own word.
    quantity_name : str
        A name of the nomenclature [-].
    system : str
        ``metric`` or ``us`` [-].

    Examples
    --------
    >>> show(24.13, "dry_strength", "us")
    '3500 psi'
    >>> show(0.2284, "porosity")
    '23 %'
    >>> show(3.4085, "cost")
    '3.41'
    >>> show(0.998, "chance")
    'over 99 %'
    """
    if isinstance(value, str):
        return value
    if quantity_name == CHANCE.name:
        return odds_words(value)
    row = quantity(quantity_name)
    number, word = display_value(value, quantity_name, system)
    if not math.isfinite(number):
        return _endless(number, row.unit)
    return f"{_digits(number, row.unit, row.digits)} {word}".strip()


def show_amount(value: float, unit: str, digits: int = 3, system: System = "metric") -> str:
    """Return any amount that is not in the nomenclature (length, volume, powder...) as text.

    Parameters
    ----------
    value : float
        The amount [`unit`].
    unit : str
        Its unit; with ``us`` the usual counterpart is shown [-].
    system : str
        ``metric`` or ``us`` [-].

    Examples
    --------
    >>> show_amount(215.0, "mL", system="us")
    '7.27 fl oz'
    """
    shown = unit_in(unit, system)
    number = convert(value, unit, shown)
    if not math.isfinite(number):
        return _endless(number, unit)
    if unit == "fraction":
        return f"{significant(100.0 * number, digits)} %"
    word = _WORDS.get(shown, shown).removeprefix("currency")
    return f"{_digits(number, unit, digits)} {word}".strip()


def odds_words(chance: float) -> str:
    """Return a chance in whole percent; nothing is quite certain.

    Examples
    --------
    >>> odds_words(0.5), odds_words(0.999), odds_words(0.0)
    ('50 %', 'over 99 %', 'under 1 %')
    """
    percent = 100.0 * chance
    if percent >= 99.5:
        return "over 99 %"
    return "under 1 %" if percent < 0.5 else f"{percent:.0f} %"


def significant(value: float, digits: int) -> str:
    """Return a finite number with so many significant digits, without exponent.

    Parameters
    ----------
    value : float
        Any finite number [any].

    Examples
    --------
    >>> significant(1234.5, 2), significant(9.96, 2), significant(0.0412, 2)
    ('1200', '10', '0.041')
    """
    for _ in range(2):  # rounding may lift 9.96 to 10: then one decimal less
        places = digits - 1 - (math.floor(math.log10(abs(value))) if value else 0)
        value = round(value, min(places, _MOST_DECIMALS))
    return f"{value + 0.0:.{min(max(places, 0), _MOST_DECIMALS)}f}"


def _endless(number: float, unit: str) -> str:
    if math.isnan(number):
        return "unknown"
    return "never" if unit in ("min", "h", "d") else "unlimited"


def _digits(number: float, unit: str, digits: int) -> str:
    if unit in ("currency", "count"):
        return f"{number + 0.0:.{2 if unit == 'currency' else 0}f}"
    if unit in _TEMPERATURES:
        places = 0 if abs(number) >= 9.95 else 1
        return f"{round(number, places) + 0.0:.{places}f}"
    return significant(number, digits)


def _words(text: object, unit: str) -> str:
    """Return the text with plain spaces and signs, checked for kind and length."""
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise QuantityError(text, allowed_text(unit), "Write a number with its unit, in quotes.")
    words = " ".join(str(text)[: _LONGEST + 1].replace("−", "-").split())
    if len(words) > _LONGEST:
        raise QuantityError(f"{words[:40]}...", allowed_text(unit), f"Write at most {_LONGEST} characters.")
    return words


def _number_and_unit(words: str, unit: str) -> tuple[float, str]:
    match = _NUMBER.fullmatch(words)
    if match is None or (match["whole"] is None and match["decimals"] is None):
        raise QuantityError(words, allowed_text(unit), "Begin with a number.")
    whole, decimals, rest = match["whole"] or "", match["decimals"] or "", match["unit"].strip()
    if rest[:1].isdigit() or rest[:1] in (".", ","):
        raise QuantityError(
            words, allowed_text(unit), "Write one number with one decimal mark, such as 1234.5."
        )
    if match["mark"] == "," and len(decimals) == 3 and len(whole) <= 3 and whole.strip("0"):
        repair = f"Write {whole}{decimals} or {whole}.{decimals}: the comma can be read both ways."
        raise QuantityError(words, allowed_text(unit), repair)
    return float(f"{match['sign']}{whole.replace(' ', '')}.{decimals or 0}{match['power'] or ''}"), rest


@lru_cache(maxsize=2048)
def _conversion(unit_text: str, unit: str) -> tuple[float, float]:
    """Return (scale, offset) so that ``number * scale + offset`` is in `unit`."""
    if unit_text == unit or (not unit_text and unit in _PLAIN):
        return 1.0, 0.0
    if not unit_text:
        raise QuantityError("a number without a unit", allowed_text(unit), "Add the unit.")
    if unit in ("-", "count", "currency"):
        raise QuantityError(unit_text, allowed_text(unit), "Leave the unit away: a plain number is wanted.")
    wanted = spell(unit, unit)
    if unit.startswith("currency/") and not wanted.startswith("1/"):
        raise QuantityError(unit, allowed_text(unit), "Name one unit after the stroke.")
    given = spell(unit_text, unit)
    if given == wanted:
        return 1.0, 0.0
    if given == "percent" and wanted == "dimensionless":
        return 0.01, 0.0
    if given in _TIMES and wanted in _TIMES:
        return timedelta(**{f"{given}s": 1}) / timedelta(**{f"{wanted}s": 1}), 0.0
    return _pint_factor(given, wanted, unit_text, unit)


def _pint_factor(given: str, wanted: str, unit_text: str, unit: str) -> tuple[float, float]:
    import pint

    try:
        with _lock:
            registry = _registry()
            units = registry.Unit(given), registry.Unit(wanted)
            zero, one = (float(registry.Quantity(x, units[0]).m_as(units[1])) for x in (0.0, 1.0))
    except (pint.PintError, ArithmeticError, ValueError):
        raise QuantityError(unit_text, allowed_text(unit), _dimension_repair(given, unit)) from None
    if not zero:
        return one, 0.0
    # the steps and zeros of the temperature scales are short fractions: take float noise off them
    scale, offset = (float(Fraction(x).limit_denominator(1000)) for x in (one - zero, zero))
    return scale, offset


def _dimension_repair(given: str, unit: str) -> str:
    if given == "ounce" and unit in ("mL", "L"):
        return "Write 'fl oz' for a volume; 'oz' is a mass."
    if given == "fluid_ounce" and unit in ("g", "kg"):
        return "Write 'oz' for a mass; 'fl oz' is a volume."
    if given == "meter" and unit in ("min", "h", "d"):
        return "Write 'min' for minutes; 'm' is a meter."
    if unit == "fraction":
        return "Write a share in %, or as a plain number."
    if unit in _USABLE:
        return f"Use one of these units: {_USABLE[unit]}."
    return f"Use a unit that can be turned into {unit}."


def _unit_repair(number: str, unit: str) -> str:
    return f"Add the unit: {number} {hinted_unit(unit)} if that is meant."


def hinted_unit(unit: str) -> str:
    """Return a unit as one would type it, in the system of `hints_in`.

    Examples
    --------
    >>> hinted_unit("degC"), hinted_unit("currency/h")
    ('C', '/h')
    """
    shown = unit if unit == "g" else unit_in(unit, _hinted.get())
    return _TYPED.get(shown, shown).removeprefix("currency")


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    import pint

    return pint.UnitRegistry(cache_folder=None)
