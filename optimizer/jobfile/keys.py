"""The keys of a job file, table by table: unit, range and kind of each.

One row per key; a test holds the rows against the fields of the records in `optimizer.shop`.
Ranges are wide: they catch slips of the pen and of units, they do not judge a studio.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from optimizer.jobfile.kinds import MOST_MONEY, Choice, Dates, Flag, Key, Number, Pairs, Text, Words
from optimizer.nomenclature import PROPERTIES
from optimizer.shop import EXPOSURES, HEAT_WITHOUT_BURN, MOLD_VIEWS

__all__ = [
    "BOUNDS",
    "CANDLE",
    "HOMES",
    "PRICE",
    "SHOP",
    "TOP",
    "TOP_VALUES",
    "UNTITLED",
    "VESSEL",
    "WEEKDAYS",
]

UNTITLED: Final = "Untitled job"
"""Title of a job whose file states none."""

WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
"""Words of a week's days, Monday first."""


def _money(name: str, unit: str = "currency") -> Number:
    return Number(name, unit, most=MOST_MONEY)


def _share(name: str, field: str = "") -> Number:
    return Number(name, "fraction", most=1.0, field=field)


def _loss(name: str) -> Number:
    return replace(_share(name), open_most=True)


def _minutes(name: str, most: float = 1440.0) -> Number:
    return Number(name, "min", most=most)


def _above(name: str, unit: str, most: float) -> Number:
    return Number(name, unit, most=most, open_least=True)


def _count(name: str, least: int, most: int) -> Number:
    return Number(name, "count", least=least, most=most)


def _days(name: str) -> Number:
    return Number(name, "d", most=3650.0, whole=True)


VESSEL: Final[tuple[Key, ...]] = (
    _above("cavity_volume", "mL", 20_000.0),
    _above("outer_diameter", "mm", 1000.0),
    _above("height", "mm", 1000.0),
    _above("wall", "mm", 200.0),
    _above("base", "mm", 200.0),
)

CANDLE: Final[tuple[Key, ...]] = (
    _count("wicks", 1, 50),
    _above("burn_rate", "g/h", 200.0),
    Choice("exposure", EXPOSURES),
    _above("heat_of_combustion", "kJ/g", 60.0),
    Number("measured_outer", "degC", least=-20.0, most=400.0),
    Number("reading_error", "K", most=30.0),
    Number("room", "degC", least=-20.0, most=60.0),
)

SHOP: Final[tuple[Key, ...]] = (
    Number("temperature", "degC", most=60.0),
    _share("humidity"),
    Number("water_temperature", "degC", least=1.0, most=60.0),
    _minutes("mixing"),
    _minutes("demold_floor", 43_200.0),
    _minutes("damp_cure", 129_600.0),
    Flag("damp_service"),
    _money("wage", "currency/h"),
    _above("shift", "min", 1440.0),
    _minutes("prep"),
    Flag("overnight"),
    _count("molds", 0, 100_000),
    _money("mold_price"),
    _count("mold_life", 1, 1_000_000),
    Choice("mold_view", MOLD_VIEWS),
    _count("order_vessels", 1, 10_000_000),
    _above("order_days", "d", 3650.0),
    Number("mold_thickness", "mm", most=200.0),
    Number("mold_mass", "g", most=100_000.0),
    _loss("reject"),
    _loss("finish_reject"),
    _share("waste"),
    _above("weigh_step", "g", 1000.0),
    _above("dose_step", "g", 1000.0),
    Number("powder_error", "fraction", most=0.2),
    Number("water_error", "fraction", most=0.2),
    Number("temperature_error", "K", most=10.0),
    Number("air_error", "fraction", most=0.05),
    _minutes("cast_minutes"),
    _minutes("seal_minutes"),
    _minutes("pack_minutes"),
    _minutes("trial_minutes"),
    _money("coat_cost"),
    replace(_share("target_absorption"), open_least=True),
    replace(_share("coat_factor"), open_least=True, open_most=True),
    _count("max_coats", 0, 50),
    _money("shelf_cost", "currency/d"),
    _count("shelf_places", 1, 1_000_000),
    _money("packing_cost"),
    Pairs("shipping_bands", (_above("up_to", "g", 1e6), _money("cost"))),
    Number("shipped_extras", "g", most=100_000.0),
    _money("water_price", "currency/kg"),
    _loss("fees"),
    _loss("profit"),
    _above("people", "-", 10_000.0),
    _minutes("pour_minutes"),
    _count("molds_per_mix", 1, 100_000),
    _count("mixes_per_day", 1, 100_000),
    _days("seal_days"),
    _days("test_burn_days"),
    _days("pack_days"),
    Words("working_days", WEEKDAYS),
    Dates("holidays"),
)

PRICE: Final[tuple[Key, ...]] = (
    _above("pack", "kg", 5000.0),
    _money("price"),
    _share("tax"),
    _money("freight"),
    _money("freight_per_kg", "currency/kg"),
    _count("packs_per_order", 1, 100_000),
    Number("trip_distance", "km", most=20_000.0),
    _money("trip_rate", "currency/km"),
    Number("trip_hours", "h", most=240.0),
    Pairs("breaks", (_count("packs", 1, 1_000_000), _money("price")), falling=True),
    _loss("lost"),
    Number("stock", "kg", most=1e6),
    _above("shelf_life", "d", 36_500.0),
    Text("supplier", 100),
    _money("free_freight_from"),
)

BOUNDS: Final[tuple[Key, ...]] = (_share("min", "least"), _share("max", "most"))

TOP_VALUES: Final[tuple[Key, ...]] = (
    Text("title"),
    _count("at_most_materials", 1, 100),
    Number("confidence", "fraction", least=0.5, most=0.999),
    Choice("heat_without_burn", HEAT_WITHOUT_BURN),
    Flag("example_prices"),
    Text("in_hand", 2000),
    Text("calibration", 1000),
)

TOP: Final = (
    *(key.name for key in TOP_VALUES),
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
