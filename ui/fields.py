"""The fields of the page: which figure of a job each holds, and the words beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Field:
    """One field.

    Attributes
    ----------
    key : str
        Dotted key in the job file.
    label : str
        Words beside the field.
    hint : str
        What may be typed.
    name : str
        Its name in the page's address; empty: kept out of it.
    """

    key: str
    label: str
    hint: str
    name: str = ""

    @property
    def widget(self) -> str:
        """Key of the widget."""
        return self.name or self.key


def _limit(name: str, label: str, hint: str) -> Field:
    return Field(f"limits.{name}", label, f"{hint}; empty: no limit", name)


CHANCE: Final = Field(
    "confidence",
    "all limits together, chance at least",
    "chance that every limit holds at once; surer costs more",
    "chance",
)
"""How surely all limits are to hold together."""

DECISIONS: Final = (
    Field(
        "vessel.cavity_volume",
        "mold volume",
        "water that fills it: 215 mL, 7.3 fl oz or 13 in3; empty: from the outer measures",
        "volume",
    ),
    _limit("demold_time", "out of the mold, at most", "60 min, 1h15"),
    _limit("working_window", "pourable for, at least", "8 min"),
    _limit("dry_strength", "dry strength, at least", "25 MPa or 3600 psi"),
    _limit("dry_mass", "dry mass, at most", "365 g or 12.9 oz"),
    _limit("whiteness", "whiteness, at least", "L* of 88 (100 is pure white)"),
    _limit("heat_margin", "heat margin, at least", "0 K or 0 F"),
    CHANCE,
)
"""The figures a caster decides by; they stand in the page's address."""

MOST_POWDERS: Final = Field("at_most_materials", "most powders used", "4; empty: as many as it takes")
"""How many powders a caster is ready to weigh."""

TITLE: Final = Field("title", "title of the job", "what the card is headed with; empty: named by its vessel")
"""What the job is called."""

VESSEL: Final = (
    Field("vessel.outer_diameter", "outer diameter", "85 mm or 3.3 in"),
    Field("vessel.height", "height", "95 mm"),
    Field("vessel.wall", "wall", "8 mm"),
    Field("vessel.base", "base", "8 mm"),
)
CANDLE: Final = (
    Field("candle.wicks", "wicks", "1"),
    Field("candle.burn_rate", "wax burned by one wick", "4.5 g/h"),
    Field("candle.measured_outer", "outer wall in your burn test", "44 C or 111 F; empty: estimated"),
    Field("candle.room", "room where it burns", "21 C or 70 F, whatever the shop's is"),
)
ROOM: Final = (
    Field("shop.temperature", "room temperature", "21 C or 70 F"),
    Field("shop.humidity", "air humidity", "50 %"),
    Field("shop.waste", "mixed in excess", "8 %"),
    Field("shop.molds_per_mix", "molds the bucket fills", "6"),
    Field("shop.weigh_step", "scale shows steps of", "1 g"),
    Field("shop.packing_cost", "box and filling", "of one vessel: 0.60"),
)
ORDER_SHOP: Final = (
    Field("shop.molds", "molds owned", "6"),
    Field("shop.mold_price", "price of one mold", "28"),
    Field("shop.mold_life", "castings a mold lasts", "80"),
    Field("shop.reject", "castings lost at demolding", "8 %"),
    Field("shop.wage", "wage", "20 /h"),
    Field("shop.shift", "working time of a day", "7 h"),
    Field("shop.people", "people at work", "1"),
    Field("shop.cast_minutes", "work on one casting", "8 min"),
    Field("shop.shelf_places", "places on the drying rack", "120"),
)
PRICE: Final = (
    ("pack", "one pack holds", "25 kg or 50 lb"),
    ("price", "price of a pack", "before tax: 41.50"),
    ("tax", "tax", "20 %"),
    ("freight", "freight of one order", "9.00"),
    ("packs_per_order", "packs in one order", "1"),
    ("trip_distance", "trip to fetch it", "both ways: 30 km or 19 mi"),
    ("trip_rate", "cost of driving", "0.30 /km"),
    ("trip_hours", "time for the trip", "1 h"),
    ("breaks", "price breaks", "packs: price of one, such as 10: 38.50; 40: 36"),
    ("lost", "lost to damp and spills", "4 %"),
    ("stock", "on the shelf", "12 kg"),
    ("shelf_life", "keeps for", "120 d"),
)
"""Key, label and hint of a price's figures."""


def price_fields(material: str) -> tuple[Field, ...]:
    """Return the fields of one material's price.

    Examples
    --------
    >>> price_fields("marble_flour")[0].key
    'prices.marble_flour.pack'
    """
    return tuple(Field(f"prices.{material}.{key}", label, hint) for key, label, hint in PRICE)


SHOP: Final = (TITLE, MOST_POWDERS, *VESSEL, *CANDLE, *ROOM, *ORDER_SHOP)
"""Fields beside the decisions and the prices."""
