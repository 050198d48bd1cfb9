"""Measuring with what a studio has: what each measurement asks for, and its answer from typed texts.

Shared by the command line and the page; the arithmetic is that of `optimizer.trials`.
"""

from __future__ import annotations

import datetime as dt
import math
import re
import shlex
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Final

from optimizer.errors import Fault, FileFaults, QuantityError
from optimizer.job import Candle, Vessel
from optimizer.trials.bending import BentBar, compressive_estimate, modulus_of_rupture
from optimizer.trials.drying_watch import days_to_constant_mass, dry_mass_forecast
from optimizer.trials.measuring import (
    Measured,
    absorption_soaked,
    density_filled,
    density_in_water,
    flame_share,
    mold_volume,
    steady_wall_temperature,
)
from optimizer.trials.photo import Box, whiteness_from_photo
from optimizer.trials.records import Weighing
from optimizer.units import System, convert, parse
from ui.unit_text import typed_in

_SPLIT: Final = re.compile(r"\s*[;\n]\s*|,\s+")
_DAY: Final = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})")
_BOX: Final = 4
_CAUTION: Final = (
    "A burn test of your own certifies nothing: a test house and your market's candle standards do."
)

_US: Final = {"MPa": "psi", "degC": "degF", "mL": "floz", "g/cm3": "lb/ft3"}
"""Units that US casters are shown others for; grams stay, for the scale."""

_WORDS: Final = {"degC": "°C", "degF": "°F", "floz": "fl oz", "fraction": "%", "-": ""}


@dataclass(frozen=True)
class Field:
    """One thing to type.

    Attributes
    ----------
    name, label : str
        Key at the command line, and words beside the field of the form.
    unit : str
        Unit of its numbers; ``photo``, ``box`` or ``day`` for what is none.
    hint : str
        What may be typed.
    kind : str
        ``one`` value, a ``list``, or ``pairs`` of a time and a value.
    time : str
        Unit of the times of pairs.
    default : str
        Taken where nothing is typed; empty: none.
    needed : bool
        True when the measurement cannot go without.
    """

    name: str
    label: str
    unit: str
    hint: str
    kind: str = "one"
    time: str = ""
    default: str = ""
    needed: bool = True


@dataclass(frozen=True)
class Answer:
    """One figure a measurement gives.

    Attributes
    ----------
    label : str
        What it is.
    found : Measured
        Figure, spread and warnings.
    columns : tuple[str, ...]
        How to note it with a trial, as ``NAME=VALUE``.
    more : str
        A sentence more; may be empty.
    """

    label: str
    found: Measured
    columns: tuple[str, ...] = ()
    more: str = ""


@dataclass(frozen=True)
class Measurement:
    """One way to measure.

    Attributes
    ----------
    title, how : str
        What it gives, and what to do on the bench.
    fields : tuple[Field, ...]
        What to type.
    answer : Callable
        From parsed values to figures.
    """

    title: str
    how: str
    fields: tuple[Field, ...]
    answer: Callable[[Mapping[str, object]], tuple[Answer, ...]]


def measured(name: str, typed: Mapping[str, str]) -> tuple[Answer, ...]:
    """Return what a measurement gives.

    Parameters
    ----------
    name : str
        Key of `MEASUREMENTS` [-].
    typed : Mapping[str, str]
        Texts by the names of its fields; empty ones were not typed.

    Raises
    ------
    FileFaults
        All faults of what was typed.
    NoVerdict
        With too few readings.

    Examples
    --------
    >>> (volume,) = measured("volume", {"water": "214 g, 215 g, 215 g", "temperature": "22 C"})
    >>> volume.columns
    ('cavity_volume=215.1 mL',)
    """
    measurement = MEASUREMENTS[name]
    where = f"measure {name}"
    values: dict[str, object] = {}
    faults = list(_unknown(typed, measurement, where))
    for field in measurement.fields:
        text = typed.get(field.name, "").strip() or field.default
        try:
            if text:
                values[field.name] = _read(text, field)
            elif field.needed:
                faults.append(Fault(f"{where}: {field.name}", "nothing", field.hint, f"Add {field.label}."))
        except QuantityError as error:
            faults.append(error.at(f"{where}: {field.name}"))
    if faults:
        raise FileFaults(faults)
    try:
        return measurement.answer(values)
    except QuantityError as error:
        raise FileFaults([error.at(where)]) from None


def _unknown(typed: Mapping[str, str], measurement: Measurement, where: str) -> list[Fault]:
    known = [field.name for field in measurement.fields]
    faults = []
    for name in typed:
        if name not in known:
            near = get_close_matches(name, known, n=1, cutoff=0.0)
            allowed = f"one of {', '.join(known)}"
            faults.append(Fault(where, repr(name), allowed, f"Write {near[0]}=... if that was meant."))
    return faults


def _read(text: str, field: Field) -> object:
    if field.unit == "photo":
        return Path(text)
    if field.unit == "day":
        return _day(text)
    if field.unit == "box":
        return _box(text)
    if field.kind == "one":
        return parse(text, field.unit)
    parts = [part for part in _SPLIT.split(text) if part]
    if field.kind == "list":
        return [parse(part, field.unit) for part in parts]
    return [_pair(part, field) for part in parts]


def _pair(text: str, field: Field) -> tuple[float, float]:
    time, colon, value = text.partition(":")
    if not colon:
        raise QuantityError(text, f"time: value, such as {field.hint}", "Put a colon after the time.")
    return parse(time.strip(), field.time), parse(value.strip(), field.unit)


def _day(text: str) -> dt.date:
    match = _DAY.fullmatch(text)
    try:
        return dt.date(*map(int, match.groups())) if match else dt.date.fromisoformat(text)
    except ValueError:
        raise QuantityError(text, "a day such as 2026-03-02", "Write year-month-day.") from None


def _box(text: str) -> Box:
    edges = [parse(part, "-") for part in re.split(r"[;\s]+|,\s*", text) if part]
    if len(edges) != _BOX:
        allowed = "left, top, right, bottom in pixels, or in shares of width and height from 0 to 1"
        raise QuantityError(text, allowed, "Write four numbers, such as 0.1 0.2 0.3 0.4.")
    return Box(*edges)


def _volume(given: Mapping[str, object]) -> tuple[Answer, ...]:
    found = mold_volume(_floats(given["water"]), _float(given["temperature"]), _float(given["scale"]))
    return (Answer("what the mold holds", found, (f"cavity_volume={found.value:.1f} mL",)),)


def _density(given: Mapping[str, object]) -> tuple[Answer, ...]:
    volume = Measured(_float(given["volume"]), 0.005 * _float(given["volume"]), "mL", "stated volume")
    found = density_filled(_float(given["full"]), _float(given["empty"]), volume, _float(given["scale"]))
    return (Answer("wet density", found, (f"fresh_density={found.value:.3f} g/cm3",)),)


def _piece(given: Mapping[str, object]) -> tuple[Answer, ...]:
    found = density_in_water(
        _float(given["air"]), _float(given["hanging"]), _float(given["temperature"]), _float(given["scale"])
    )
    return (Answer("density of the piece", found),)


def _bar(given: Mapping[str, object]) -> tuple[Answer, ...]:
    bars = [
        BentBar(load, *(_float(given[name]) for name in ("span", "width", "depth", "mass", "length")))
        for load in _floats(given["load"])
    ]
    bent = modulus_of_rupture(bars)
    noted = (
        f"strength 1 value={bent.value:.2f} MPa",
        "strength 1 kind=flexural",
        "strength 1 method=bent bar",
        f"strength 1 error={bent.spread:.2f} MPa",
    )
    crushed = compressive_estimate(bent, _float(given["gypsum"]))
    return (
        Answer("bending strength (modulus of rupture)", bent, noted, "Add its age and whether wet or dry."),
        Answer(
            "compressive strength, estimated from it", crushed, (), "Note the bending strength, not this."
        ),
    )


def _whiteness(given: Mapping[str, object]) -> tuple[Answer, ...]:
    photo, face = given["photo"], given["face"]
    cards = [given[name] for name in ("card", "card2") if name in given]
    assert isinstance(photo, Path)
    assert isinstance(face, Box)
    boxes = [card for card in cards if isinstance(card, Box)]
    found = whiteness_from_photo(photo, face, boxes, _float(given["reflectance"]))
    noted = (f"whiteness={found.value:.1f}", f"whiteness_error={found.spread:.1f}")
    return (Answer("whiteness L*", found, noted),)


def _drying(given: Mapping[str, object]) -> tuple[Answer, ...]:
    pairs = _pairs(given["weighings"])
    weighings = [Weighing(age, mass) for age, mass in pairs]
    step, after = _float(given["scale"]), _float(given["damp"])
    days = days_to_constant_mass(weighings, step, None, after)
    mass = dry_mass_forecast(weighings, step, None, after)
    noted = tuple(
        part
        for number, (age, grams) in enumerate(pairs, start=1)
        for part in (f"weighing {number} age={age:g} d", f"weighing {number} mass={grams:g} g")
    )
    start = given.get("demolded")
    more = ""
    if isinstance(start, dt.date):
        day = start + dt.timedelta(days=round(days.value))
        more = f"Dry on {day:%A}, {day.isoformat()}, +/- {max(round(days.spread), 1)} d."
    return (
        Answer("days from demolding to constant mass", days, noted, more),
        Answer("mass when dry", Measured(mass.value, mass.spread, mass.unit, mass.method)),
    )


def _soak(given: Mapping[str, object]) -> tuple[Answer, ...]:
    found = absorption_soaked(*(_float(given[name]) for name in ("dry", "soaked", "scale")))
    noted = (f"absorption={100.0 * found.value:.2f} %", f"absorption_error={100.0 * found.spread:.2f} %")
    return (Answer("water absorption", found, noted, "It decides how many coats of sealer are needed."),)


def _burn(given: Mapping[str, object]) -> tuple[Answer, ...]:
    wall = steady_wall_temperature(_pairs(given["readings"]), _float(given["error"]))
    rate, room = _float(given["burn_rate"]), _float(given["room"])
    vessel = Vessel(1.0, *(_float(given[name]) for name in ("diameter", "height", "wall")))
    candle = Candle(int(_float(given["wicks"])), rate, room=room)
    share = flame_share(wall, vessel, candle)
    noted = (
        f"burn 1 outer={wall.value:.1f} C",
        f"burn 1 error={wall.spread:.1f} K",
        f"burn 1 burn_rate={rate:g} g/h",
        f"burn 1 wicks={candle.wicks}",
        f"burn 1 room={room:g} C",
    )
    return (
        Answer("outer wall, once steady", wall, noted, _CAUTION),
        Answer(
            "share of the flame's heat in the wall",
            Measured(share.value, share.spread, "fraction", share.method),
        ),
    )


def _float(value: object) -> float:
    assert isinstance(value, float | int)
    return float(value)


def _floats(value: object) -> list[float]:
    assert isinstance(value, Sequence)
    return [_float(each) for each in value]


def _pairs(value: object) -> list[tuple[float, float]]:
    assert isinstance(value, Sequence)
    return [(_float(first), _float(second)) for first, second in value]


_SCALE: Final = Field("scale", "what the scale shows at least", "g", "1 g or 0.1 g", default="1 g")
_WATER: Final = Field("temperature", "temperature of the water", "degC", "20 C", default="20 C")

MEASUREMENTS: Final[Mapping[str, Measurement]] = {
    "volume": Measurement(
        "Volume of a mold",
        "Tare the mold, fill it with water to the brim line, weigh; three fills.",
        (Field("water", "water of each fill", "g", "214 g, 215 g, 215 g", "list"), _WATER, _SCALE),
        _volume,
    ),
    "density": Measurement(
        "Wet density of a slurry",
        "Weigh a cup empty and full to the line; its volume as a mold's, by water.",
        (
            Field("full", "cup full of slurry", "g", "520 g"),
            Field("empty", "cup empty", "g", "47 g"),
            Field("volume", "volume of the cup", "mL", "250 mL"),
            _SCALE,
        ),
        _density,
    ),
    "piece": Measurement(
        "Density of a cast piece",
        "Seal or soak the piece; weigh it in air, then hanging by a thread in water.",
        (
            Field("air", "in air", "g", "362 g"),
            Field("hanging", "hanging in water", "g", "150 g"),
            _WATER,
            _SCALE,
        ),
        _piece,
    ),
    "bar": Measurement(
        "Strength of a bar broken by a bucket",
        "Lay the bar on two rails, hang a bucket at mid-span, pour sand or water in until it breaks.",
        (
            Field("load", "bucket when each bar broke, hook too", "g", "18.2 kg, 17.5 kg, 19.1 kg", "list"),
            Field("span", "distance of the rails", "mm", "100 mm"),
            Field("width", "width of the bar", "mm", "20 mm"),
            Field("depth", "height of the bar", "mm", "20 mm"),
            Field("mass", "mass of one bar", "g", "90 g", default="0 g"),
            Field("length", "length of one bar", "mm", "120 mm", default="0 mm"),
            Field("gypsum", "gypsum's share of the binder", "fraction", "60 %", default="1"),
        ),
        _bar,
    ),
    "whiteness": Measurement(
        "Whiteness from a photo with a white card",
        "Lay the dry face beside white paper, in even daylight without sun; photograph both from above.",
        (
            Field("photo", "photo", "photo", "a JPEG, PNG or TIFF file"),
            Field("face", "where the face is", "box", "left top right bottom, such as 0.4 0.3 0.6 0.7"),
            Field("card", "where the card is", "box", "left top right bottom, such as 0.1 0.3 0.3 0.7"),
            Field("card2", "the card on the other side", "box", "as before", needed=False),
            Field(
                "reflectance", "light the card reflects", "fraction", "0.86 for office paper", default="0.86"
            ),
        ),
        _whiteness,
    ),
    "drying": Measurement(
        "Day a piece is dry",
        "Weigh one piece as it leaves the mold and once a day.",
        (
            Field(
                "weighings",
                "days since demolding and masses",
                "g",
                "0 d: 420 g, 1 d: 387 g, 2 d: 374 g",
                "pairs",
                "d",
            ),
            Field("demolded", "day it left the mold", "day", "2026-03-02", needed=False),
            Field("damp", "kept damp for", "d", "1 d", default="0 d"),
            _SCALE,
        ),
        _drying,
    ),
    "soak": Measurement(
        "Water absorption by a soak test",
        "Weigh a dry piece without sealer, lay it under water for 24 hours, wipe it, weigh it again.",
        (
            Field("dry", "dry piece", "g", "120 g"),
            Field("soaked", "the same piece soaked and wiped", "g", "140.4 g"),
            _SCALE,
        ),
        _soak,
    ),
    "burn": Measurement(
        "Wall temperature in a test burn",
        "Read the outer wall at its hottest place at 0, 1, 2, 3 and 4 hours; stay with the flame.",
        (
            Field(
                "readings", "hours and temperatures", "degC", "0 h: 21 C, 1 h: 38 C, 2 h: 43 C", "pairs", "h"
            ),
            Field("burn_rate", "wax burned by one wick", "g/h", "4.5 g/h"),
            Field("wicks", "number of wicks", "count", "1", default="1"),
            Field("room", "room", "degC", "21 C", default="21 C"),
            Field("diameter", "outer diameter of the vessel", "mm", "85 mm", default="85 mm"),
            Field("height", "height of the vessel", "mm", "95 mm", default="95 mm"),
            Field("wall", "wall of the vessel", "mm", "8 mm", default="8 mm"),
            Field("error", "error of the thermometer", "K", "1 K; 2 K for infrared", default="1 K"),
        ),
        _burn,
    ),
}
"""What can be measured, by its word at the command line."""


def size_words(one: Answer, units: System = "metric") -> str:
    """Return a measured figure with its standard error, to the digits the error allows.

    Examples
    --------
    >>> from optimizer.trials.measuring import Measured
    >>> size_words(Answer("mass when dry", Measured(365.71, 1.34, "g", "forecast")))
    '365.7 ± 1.3 g'
    >>> size_words(Answer("outer wall", Measured(43.0, 1.0, "degC", "burn test")), "us")
    '109.4 ± 1.8 °F'
    """
    found = one.found
    shown = _US.get(found.unit, found.unit) if units == "us" else found.unit
    scale = 100.0 if shown == "fraction" else 1.0
    value = scale * convert(found.value, found.unit, shown)
    # an error is a difference: of temperatures it has no zero of its own
    spread = value - scale * convert(found.value - found.spread, found.unit, shown)
    places = min(max(0, 1 - math.floor(math.log10(spread))), 3) if spread > 0.0 else 1
    return f"{value:.{places}f} ± {spread:.{places}f} {_WORDS.get(shown, shown)}".rstrip()


def columns_in(one: Answer, units: System) -> list[str]:
    """Return how a figure is noted with a trial, in the units shown."""
    return [typed_in(column, units, 5) for column in one.columns]


def note_words(answers: Sequence[Answer], units: System = "metric") -> str:
    """Return what notes the figures with a trial, as typed at a command line."""
    return " ".join(shlex.quote(column) for one in answers for column in columns_in(one, units))
