"""What a trial may hold: one row for each field, from which columns, checks, forms and help are read.

Limits are wide on purpose: they catch slips of the pen and of the unit, not surprising results. All of them
are common practice, no source, unless they follow from the meaning of the reading.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from optimizer.trials.records import EXPOSURES, KINDS, METHODS, SENSES, STATES

__all__ = ["FIELDS", "GROUP_FIELDS", "WORDS", "TrialField", "field_of"]

WORDS: Final = ("text", "name", "date", "labels", "yes")
"""Units of fields that hold no number."""

_DAY: Final = 1440.0
_YEAR: Final = 366.0 * _DAY


@dataclass(frozen=True)
class TrialField:
    """One thing that may be noted of a trial.

    Attributes
    ----------
    name : str
        Field of `Trial`, or of one reading of a group.
    unit : str
        Unit of a number; or one of `WORDS`.
    meaning : str
        What it holds, in the words of the trade.
    least, most : float
        Range of a number [its unit].
    choices : tuple[str, ...]
        Words that are allowed; empty: any.
    optional : bool
        True when the choice may be left open.
    label, example : str
        Words beside its field of the form, and what may be typed; no label: not on the form.
    """

    name: str
    unit: str
    meaning: str
    least: float = 0.0
    most: float = 0.0
    choices: tuple[str, ...] = ()
    optional: bool = False
    label: str = ""
    example: str = ""

    @property
    def number(self) -> bool:
        """True when it holds a number."""
        return self.unit not in WORDS

    @property
    def allowed(self) -> tuple[str, ...]:
        """Words that may stand there, the empty one where it may be left open."""
        return ("", *self.choices) if self.optional and self.choices else self.choices


def _time(name: str, meaning: str, label: str = "", example: str = "") -> TrialField:
    return TrialField(name, "min", meaning, 0.0, _YEAR, label=label, example=example)


_TRIAL: Final = (
    TrialField("id", "name", "name of the batch; left empty, the book gives one"),
    TrialField("date", "date", "day of the pour, such as 2026-03-02; the one column every table needs"),
    TrialField("vessel", "name", "kind of vessel cast"),
    TrialField("cast", "count", "castings poured", 0, 10_000, label="castings poured", example="6"),
    TrialField("labels", "labels", "labels of the single vessels, parted by spaces"),
    TrialField("sold_order", "name", "order the vessels went to"),
    TrialField("water", "g", "water weighed", 0.0, 1e6, label="water weighed", example="118 g"),
    TrialField("water_temperature", "degC", "temperature of the water", 0.0, 95.0),
    TrialField(
        "room_temperature",
        "degC",
        "temperature of the room",
        -20.0,
        60.0,
        label="room",
        example="21 C or 70 F",
    ),
    TrialField("humidity", "fraction", "relative humidity of the room, 0.5 or 50 %", 0.0, 1.0),
    _time("damp_cure", "how long the castings were kept damp"),
    TrialField(
        "cavity_volume",
        "mL",
        "what one mold holds (trials measure volume)",
        1.0,
        1e5,
        label="one mold holds",
        example="190 mL",
    ),
    TrialField("fresh_density", "g/cm3", "weight of a liter of slurry (trials measure density)", 0.2, 4.0),
    _time(
        "window_end",
        "when the mix would no longer pour, from powder meeting water",
        "would no longer pour after",
        "15 min",
    ),
    _time("initial_set", "when it began to set"),
    _time("final_set", "when it had set"),
    _time(
        "demold",
        "when the castings were taken out of the molds; perhaps ready earlier: an upper bound",
        "was taken out after (perhaps ready earlier)",
        "58 min",
    ),
    _time(
        "demold_first",
        "when a casting could first leave its mold whole: tried until it did",
        "could first leave the mold after",
        "45 min",
    ),
    TrialField(
        "casting_peak",
        "degC",
        "hottest while setting",
        -20.0,
        110.0,
        label="hottest while setting",
        example="55 C or 131 F",
    ),
    TrialField(
        "whiteness",
        "-",
        "L* of the dry face (trials measure whiteness)",
        0.0,
        100.0,
        label="whiteness L*",
        example="88",
    ),
    TrialField("whiteness_error", "-", "its standard error", 0.0, 50.0),
    TrialField(
        "absorption",
        "fraction",
        "water a dry piece takes up in a day under water (trials measure soak)",
        0.0,
        2.0,
        label="water taken up in a day's soak",
        example="17 %",
    ),
    TrialField("absorption_error", "fraction", "its standard error", 0.0, 1.0),
    TrialField(
        "coats",
        "count",
        "coats of sealer until water no longer soaked in",
        0,
        20,
        label="coats of sealer it took",
        example="2",
    ),
    TrialField("remarks", "text", "anything else", label="remarks", example="poured slowly"),
)

_GROUPS: Final[Mapping[str, tuple[str, tuple[TrialField, ...]]]] = {
    "powder": (
        "portions",
        (
            TrialField("material", "name", "name of a powder or admixture, such as gypsum_cement"),
            TrialField(
                "mass",
                "g",
                "what was weighed of it; `mass of gypsum_cement [g]` says both in one column",
                0.0,
                1e6,
            ),
            TrialField("lot", "name", "lot of the bag; or `lot of gypsum_cement`"),
        ),
    ),
    "weighing": (
        "weighings",
        (
            TrialField("age", "d", "days since demolding (0: as it left the mold)", 0.0, 3660.0),
            TrialField("mass", "g", "what the piece weighed then; 1, 2, 3 in the order of days", 0.1, 1e6),
        ),
    ),
    "strength": (
        "strengths",
        (
            TrialField("value", "MPa", "strength tested; a bent bar by trials measure bar", 0.0, 300.0),
            TrialField("age", "min", "age at the test, such as 24 h in min, h or d", 0.0, 100.0 * _YEAR),
            TrialField(
                "state",
                "name",
                f"{' or '.join(STATES)}: never dried, or at constant mass",
                choices=STATES,
                optional=True,
            ),
            TrialField("kind", "name", " or ".join(KINDS), choices=KINDS),
            TrialField("method", "name", ", ".join(METHODS), choices=METHODS),
            TrialField(
                "sense", "name", "= measured, >= held at this, <= broke at or before it", choices=SENSES
            ),
            TrialField("error", "MPa", "its standard error, where it is known", 0.0, 150.0),
        ),
    ),
    "burn": (
        "burns",
        (
            TrialField(
                "outer", "degC", "outside of the wall in a test burn (trials measure burn)", -20.0, 400.0
            ),
            TrialField("inner", "degC", "inside of the wall in a test burn", -20.0, 800.0),
            TrialField("error", "K", "standard error of the outer reading", 0.0, 100.0),
            TrialField("burn_rate", "g/h", "wax burned by one wick", 0.01, 100.0),
            TrialField("wicks", "count", "number of wicks", 1, 50),
            TrialField("exposure", "name", ", ".join(EXPOSURES), choices=EXPOSURES, optional=True),
            TrialField("room", "degC", "room temperature during the burn", -20.0, 60.0),
        ),
    ),
    "reject": (
        "rejects",
        (
            TrialField("cause", "name", "why castings were thrown away, in your words"),
            TrialField("count", "count", "how many for this cause", 1, 10_000),
        ),
    ),
}

FIELDS: Final[Mapping[str, TrialField]] = MappingProxyType({one.name: one for one in _TRIAL})
"""Fields of a trial itself, in the order of the table's columns."""

GROUP_FIELDS: Final[Mapping[str, tuple[str, Mapping[str, TrialField]]]] = MappingProxyType(
    {
        word: (field, MappingProxyType({one.name: one for one in parts}))
        for word, (field, parts) in _GROUPS.items()
    }
)
"""Word in the header of a column -> field of a trial, and the parts of one of its readings."""

_BY_PLACE: Final[Mapping[str, TrialField]] = {
    **FIELDS,
    **{f"{field}.{name}": one for field, parts in GROUP_FIELDS.values() for name, one in parts.items()},
}


def field_of(place: str) -> TrialField | None:
    """Return the field at `place`, such as ``water`` or ``strengths.age``; None where it has no row.

    Examples
    --------
    >>> field_of("strengths.age").unit
    'min'
    """
    return _BY_PLACE.get(place)
