"""The one table of quantities: name, meaning, unit, label. Code, JSON, page and docs read it.

Inside the package every figure is held in the unit of this table (not in SI): the JSON, the limits
and the code then speak of one quantity with one name in one unit, and nothing is converted between
them. Grams per cubic centimeter are kilograms per liter, so amounts per liter of slurry need no factor.

Cautions have their words here by the keys that travel with a result: they say what to do and defer to local
codes, standards and accredited test houses.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

USES: Final[dict[str, str]] = {
    "decide": "may decide",
    "rank": "ranks blends: cast before you rely on it",
    "own reading": "decides nothing without your own reading",
}
"""What a prediction from tables is good for, by how its laws fared against printed measurements."""

CAUTIONS: Final[dict[str, str]] = {
    "heat_negative": "The wall near the flame runs hotter than its mineral keeps its crystal water: expect "
    "slow powdering there. What another wick or vessel would change is worked out; a test burn decides.",
    "setting_heat": "The mix may pass 48 °C while it sets: do not touch, and spread leftovers thin; a "
    "bucketful gets far hotter.",
    "alkali": "Wet cement is caustic and burns without hurting at first: gloves that stand alkali, sealed "
    "goggles, rinse at once with plenty of water.",
    "silica": "Dust holds crystalline silica: wear a fitted N95/P2 mask or better when tipping and sanding, "
    "clean wet or with a HEPA vacuum, never dry-sweep (OSHA 29 CFR 1926.1153; follow local rules).",
    "skin": "Never cast on or around skin: setting mix grips and gets hot.",
    "titanium_dust": "Titanium white dust: do not breathe it; weigh it in still air.",
    "dust": "Powder dust: keep it down, wear a dust mask, tip bags low.",
    "stays_soft": "This blend is strong enough to leave the mold with nothing to spare: some castings may "
    "never be. Cast one vessel before you rely on it, or take less filler and water.",
    "extrapolated": "Nobody has published gypsum and cement mixed like this: cast a trial before you "
    "promise it.",
    "damp": "Late ettringite may crack this mix in damp: keep it dry, or cast one and leave it wet.",
    "bleeding": "More water than the powders hold: grains settle and the face may bleed.",
    "gypsum_water": "Gypsum softens when wet: dry rooms only, not for food, dishwasher or frost.",
    "bucket_heat": "In the mold this mix likely stays below 48 °C while it sets; leftovers in a bucket get "
    "hotter: spread them thin and keep hands off.",
    "heat_estimate": "Heat in use is an estimate: burn one and enter the outer wall you measure.",
    "candle": "A dry mineral wall drinks wax and can act as a wick: seal the inside with a heat-proof "
    "sealer, cure it, and burn at least three pieces to the end under watch before anyone else does.",
    "retest": "New blend, water or sealer makes a new vessel: repeat the seal check and the burn test.",
    "disposal": "Let leftovers set and bin them: never down the drain; keep gypsum out of organic waste.",
    "certify": "A calculated margin certifies nothing: local codes, the candle fire standards and an "
    "accredited test house have the last word.",
}
"""Caution texts by key, the gravest first: heat beyond the body, burns, dust, then what holds for all."""


@dataclass(frozen=True)
class Quantity:
    """One quantity of the vocabulary.

    Attributes
    ----------
    name : str
        The key in code, JSON and job files.
    meaning : str
        One line in plain trade words.
    unit : str
        Unit held in code and JSON; ``-`` for a pure number, ``class`` for an ordered word.
    us_unit : str
        Unit shown with ``--units us``.
    label : str
        Words shown to people: the name with blanks, so that who reads a label can type the key.
    digits : int
        Significant digits worth showing.
    better : str
        ``lower``, ``higher`` or ``neither``: the direction a caster would call better.
    use : str
        One of `USES`: what a prediction is good for before any trial. `optimizer.verdict.evidence` lowers it
        for mixes that are less well known and raises it with trials.
    """

    name: str
    meaning: str
    unit: str
    us_unit: str
    label: str
    digits: int
    better: str = "neither"
    use: str = "rank"


_ROWS: Final = (
    Quantity(
        "fresh_density",
        "density of the mixed slurry, air included",
        "g/cm3",
        "lb/ft3",
        "fresh density",
        3,
        use="decide",
    ),
    Quantity(
        "demolded_mass",
        "one vessel when it leaves the mold",
        "g",
        "oz",
        "demolded mass",
        3,
        "lower",
        use="decide",
    ),
    Quantity("dry_mass", "one vessel at constant mass", "g", "oz", "dry mass", 3, "lower", use="decide"),
    Quantity(
        "porosity",
        "pore share of the dry body's volume",
        "fraction",
        "fraction",
        "porosity",
        2,
        "lower",
        use="decide",
    ),
    Quantity(
        "absorption",
        "water taken up by the dry body, by mass",
        "fraction",
        "fraction",
        "absorption",
        2,
        "lower",
    ),
    Quantity(
        "wet_strength",
        "compressive, never dried, at 24 h",
        "MPa",
        "psi",
        "wet strength",
        2,
        "higher",
        use="decide",
    ),
    Quantity(
        "dry_strength",
        "compressive, at constant mass",
        "MPa",
        "psi",
        "dry strength",
        2,
        "higher",
        use="decide",
    ),
    Quantity(
        "flexural_strength",
        "bending strength at constant mass",
        "MPa",
        "psi",
        "flexural strength",
        2,
        "higher",
        use="own reading",
    ),
    Quantity(
        "working_window",
        "time left for pouring when mixing and soaking are over",
        "min",
        "min",
        "working window",
        2,
        "higher",
    ),
    Quantity(
        "demold_time",
        "from powder meeting water to leaving the mold unharmed",
        "min",
        "min",
        "demold time",
        2,
        "lower",
    ),
    Quantity(
        "drying_time",
        "from demolding to constant mass",
        "d",
        "d",
        "drying time",
        2,
        "lower",
        use="own reading",
    ),
    Quantity("whiteness", "CIE L* of the dry face", "-", "-", "whiteness L*", 3, "higher", use="decide"),
    Quantity("casting_peak", "highest temperature while setting", "degC", "degF", "casting peak", 2, "lower"),
    Quantity(
        "outer_wall_temperature",
        "outside of the wall in use",
        "degC",
        "degF",
        "outer wall temperature",
        2,
        "lower",
        use="own reading",
    ),
    Quantity(
        "inner_wall_temperature",
        "inside of the wall in use",
        "degC",
        "degF",
        "inner wall temperature",
        2,
        "lower",
        use="own reading",
    ),
    Quantity(
        "heat_margin",
        "lowest limit of the phases present less the hottest wall",
        "K",
        "delta_degF",
        "heat margin",
        2,
        "higher",
        use="own reading",
    ),
    Quantity(
        "sealer_coats",
        "coats of sealer down to the target absorption",
        "count",
        "count",
        "sealer coats",
        1,
        "lower",
        use="own reading",
    ),
    Quantity(
        "crystalline_silica",
        "mass share of the dry blend",
        "fraction",
        "fraction",
        "crystalline silica",
        2,
        "lower",
        use="decide",
    ),
    Quantity(
        "embodied_co2", "carbon dioxide of the powders of one vessel", "g", "oz", "embodied CO2", 2, "lower"
    ),
    Quantity(
        "setting_expansion",
        "how much longer a set body is than its mold",
        "mm/m",
        "in/ft",
        "setting expansion",
        2,
        use="own reading",
    ),
    Quantity(
        "drying_shrinkage",
        "how much shorter a dry body is than a damp one",
        "mm/m",
        "in/ft",
        "drying shrinkage",
        2,
        "lower",
        use="own reading",
    ),
    Quantity(
        "damp_risk",
        "late-ettringite class in damp use",
        "class",
        "class",
        "damp risk",
        1,
        "lower",
        use="own reading",
    ),
    Quantity(
        "cost", "one good vessel, all parts", "currency", "currency", "cost of a good vessel", 3, "lower"
    ),
)

QUANTITIES: Final[dict[str, Quantity]] = {row.name: row for row in _ROWS}
PROPERTIES: Final[tuple[str, ...]] = tuple(QUANTITIES)

CHANCE: Final = Quantity(
    "chance",
    "how surely all limits hold together",
    "fraction",
    "fraction",
    "chance of all limits",
    2,
    "higher",
)
"""What may be traded like a property and is none: no limit can be set on it but the job's confidence."""


def quantity(name: str) -> Quantity:
    """Return the row of the table named `name`, or the one of `CHANCE`.

    Raises
    ------
    KeyError
        If the vocabulary has no such quantity.

    Examples
    --------
    >>> quantity("demold_time").unit
    'min'
    """
    return CHANCE if name == CHANCE.name else QUANTITIES[name]
