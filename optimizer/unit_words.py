"""How people spell units, and which of pint's units each spelling means.

A closed list instead of pint's own lookup: pint would read "gr" as grain, "C" as coulomb and any prefix
before any unit. The list holds spellings only; every factor stays with pint.
"""

from __future__ import annotations

import re
from typing import Final

from optimizer.errors import QuantityError

DIFFERENCES: Final = frozenset({"K", "delta_degF"})
"""Units that make a temperature a difference: 10 F is then 5.56 K."""

_SPELLINGS: Final[dict[str, str]] = {
    spelling: name
    for name, spellings in {
        "milligram": "mg",
        "gram": "g gram grams gramme grammes",
        "kilogram": "kg kilo kilos kilogram kilograms",
        "metric_ton": "t tonne tonnes",
        "pound": "lb lbs pound pounds",
        "ounce": "oz ounce ounces",
        "micrometer": "µm μm um micron microns",
        "millimeter": "mm",
        "centimeter": "cm",
        "meter": "m meter meters metre metres",
        "kilometer": "km",
        "inch": "in inch inches",
        "foot": "ft foot feet",
        "mile": "mi mile miles",
        "milliliter": "ml cc",
        "centiliter": "cl",
        "deciliter": "dl",
        "liter": "l liter liters litre litres",
        "fluid_ounce": "floz",
        "cup": "cup cups",
        "pint": "pt pint pints",
        "quart": "qt quart quarts",
        "gallon": "gal gallon gallons",
        "second": "s sec secs second seconds",
        "minute": "min mins minute minutes",
        "hour": "h hr hrs hour hours",
        "day": "d day days",
        "week": "wk week weeks",
        "pascal": "pa",
        "kilopascal": "kpa",
        "megapascal": "mpa",
        "gigapascal": "gpa",
        "bar": "bar",
        "psi": "psi",
        "ksi": "ksi",
        "newton": "n",
        "kilonewton": "kn",
        "force_kilogram": "kgf",
        "force_pound": "lbf",
        "degC": "c °c degc celsius",
        "degF": "f °f degf fahrenheit",
        "kelvin": "k kelvin",
        "delta_degF": "delta_degf",
        "joule": "j",
        "kilojoule": "kj",
        "calorie": "cal",
        "watt": "w",
        "kilowatt": "kw",
        "mole": "mol",
        "percent": "% percent pct",
        "dimensionless": "fraction",
    }.items()
    for spelling in spellings.split()
}

_REFUSED: Final = {
    "mPa": "Write MPa; mPa is a thousandth of a pascal.",
    "gr": "Write g for grams; gr is a grain.",
    "Mg": "Write mg, g or kg.",
}

_PHRASES: Final = (
    (re.compile(r"\bfl(uid)?[. ]*(oz\b\.?|ounces?\b)", re.I), "floz"),
    (re.compile(r"\b(?:cu|cubic)[. ]+([a-z]+)", re.I), r"\g<1>3"),
    (re.compile(r"\b(?:sq|square)[. ]+([a-z]+)", re.I), r"\g<1>2"),
    (re.compile(r"(°|\bdeg(?:rees?)?)[. ]+(?=[cf]|kelvin)", re.I), "deg"),
    (re.compile(r"\s*\bper\b\s*", re.I), "/"),
    (re.compile(r"/\(?m[ *·]?K\)?$"), "/m/K"),
)

_SUPERSCRIPTS: Final = str.maketrans({"²": "2", "³": "3", "º": "°"})
_TERM: Final = re.compile(r"([A-Za-zµμ°%_]+)(?:\^|\*\*)?([1-4])?")

_EXAMPLES: Final = {
    "g": "a mass such as '365 g', '0.4 kg' or '13 oz'",
    "kg": "a mass such as '25 kg' or '55 lb'",
    "mm": "a length such as '85 mm' or '3.5 in'",
    "mm/m": "a change of length such as '2 mm/m' or '0.2 %'",
    "km": "a distance such as '12 km' or '8 mi'",
    "mL": "a volume such as '215 mL', '12 fl oz' or '81 in3'",
    "s": "a time such as '90 s'",
    "min": "a time such as '35 min', '1h15' or '0.5 d'",
    "h": "a time such as '7 h' or '1h15'",
    "d": "a time such as '2 d' or '36 h'",
    "MPa": "a strength such as '24 MPa' or '3500 psi'",
    "degC": "a temperature such as '24 C' or '75 F'",
    "K": "a temperature difference such as '5 K' or '10 F'",
    "g/cm3": "a density such as '2.75 g/cm3' or '110 lb/ft3'",
    "g/h": "a burn rate such as '4.5 g/h'",
    "fraction": "a share such as '8 %' or 0.08",
    "%": "a dose such as '0.2 %'",
    "count": "a whole number such as 2",
    "currency": "an amount of money as a plain number such as 41.50",
    "currency/h": "money per time such as '20 /h'",
    "currency/d": "money per time such as '0.01 /d'",
    "currency/km": "money per distance such as '0.30 /km'",
    "currency/kg": "money per mass such as '1.20 /kg'",
    "-": "a plain number such as 88",
    "g/g": "a ratio of masses as a plain number such as 0.33",
}


def allowed_text(unit: str) -> str:
    """Return in words what a quantity of `unit` [-] may look like."""
    return _EXAMPLES.get(unit, f"a number with a unit such as '1 {unit}'")


def spell(unit_text: str, unit: str) -> str:
    """Return the unit the way pint spells it.

    Product of powers of pint's unit names.

    Parameters
    ----------
    unit_text : str
        What somebody typed after the number; "/h" for something per hour [-].
    unit : str
        Unit wanted: decides whether degrees are differences, and names what is allowed [-].

    Raises
    ------
    QuantityError
        If a word of the unit is not in the closed list.

    Examples
    --------
    >>> spell("lb/ft3", "g/cm3"), spell("fl. oz.", "mL"), spell("F", "K")
    ('pound/foot**3', 'fluid_ounce', 'delta_degF')
    """
    text = unit_text.removeprefix("currency").translate(_SUPERSCRIPTS)
    if unit in DIFFERENCES:
        text = re.sub(r"\s+difference$", "", text, flags=re.IGNORECASE)
    for pattern, replacement in _PHRASES:
        text = pattern.sub(replacement, text)
    if text.startswith(("/", "1/")) != unit.startswith(("currency/", "1/")):
        repair = "Write the number, then its unit."
        if unit.startswith("currency/"):
            repair = "Write the number and the unit after a stroke; the currency is named once in the job."
        raise QuantityError(unit_text, allowed_text(unit), repair)
    parts = text.removeprefix("1").split("/")
    numerator = "*".join(_term(word, unit_text, unit) for word in re.split(r"[ *·]+", parts[0]) if word)
    return "/".join([numerator or "1", *(_term(word.strip(), unit_text, unit) for word in parts[1:])])


def _term(word: str, unit_text: str, unit: str) -> str:
    if word in _REFUSED:
        raise QuantityError(unit_text, allowed_text(unit), _REFUSED[word])
    match = _TERM.fullmatch(word.rstrip("."))
    name = match and _SPELLINGS.get(match[1].lower())
    if not match or not name:
        repair = f"The unit {word!r} is not known here; check its spelling."
        raise QuantityError(unit_text, allowed_text(unit), repair)
    if name in ("degC", "degF") and unit in DIFFERENCES:
        name = f"delta_{name}"
    return f"{name}**{match[2]}" if match[2] else name
