"""What is written down about one batch that was mixed: the trial and the readings taken from it.

A trial is one batch from powder meeting water to the last reading; a batch nobody measured is a trial
with nothing to teach, kept for the trace. Everything but the date may be missing. Records are frozen;
units are those of `optimizer.nomenclature`, times count from powder meeting water unless said. Each field is
annotated with what may stand there: columns, checks, forms and help read it from `FIELDS`.

Ranges are wide on purpose: they catch slips of the pen and of the unit, not surprising results. All of them
are common practice, no source, unless they follow from the meaning of the reading.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, dataclass, fields, replace
from types import MappingProxyType
from typing import Annotated, Any, Final, get_type_hints

from optimizer.trials.fields import TrialField

METHODS = ("cube", "cylinder", "bent bar", "test house", "held or broke", "other")
"""Routes to a strength."""

KINDS = ("compressive", "flexural")
"""What a strength resists."""

STATES = ("wet", "dry")
"""``wet``: never dried; ``dry``: at constant mass."""

SENSES = ("=", ">=", "<=")
"""``=`` measured; ``>=`` held at this stress; ``<=`` broke at or before it."""

EXPOSURES = ("continuous", "repeated burns", "single hour")
"""How the vessel met heat, as in `optimizer.job.EXPOSURES`."""


_YEAR: Final = 366.0 * 1440.0


class _Noted:
    """A record whose numbers are those of the language: a NumPy scalar is a number like any other."""

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if hasattr(value, "dtype") and hasattr(value, "item"):
                object.__setattr__(self, name, value.item())


@dataclass(frozen=True)
class Portion(_Noted):
    """One material as weighed into the batch."""

    material: Annotated[str, TrialField("name", "name of a powder or admixture, such as gypsum_cement")]
    mass: Annotated[
        float,
        TrialField(
            "g", "what was weighed of it; `mass of gypsum_cement [g]` says both in one column", 0.0, 1e6
        ),
    ]
    lot: Annotated[str, TrialField("name", "lot of the bag; or `lot of gypsum_cement`")] = ""


@dataclass(frozen=True)
class Weighing(_Noted):
    """One weighing of a piece while it dries."""

    age: Annotated[float, TrialField("d", "days since demolding (0: as it left the mold)", 0.0, 3660.0)]
    mass: Annotated[
        float, TrialField("g", "what the piece weighed then; 1, 2, 3 in the order of days", 0.1, 1e6)
    ]


@dataclass(frozen=True)
class Strength(_Noted):
    """One strength, by whatever route."""

    value: Annotated[
        float, TrialField("MPa", "strength tested; a bent bar by trials measure bar", 0.0, 300.0)
    ]
    age: Annotated[
        float | None, TrialField("min", "age at the test, such as 24 h in min, h or d", 0.0, 100.0 * _YEAR)
    ] = None
    state: Annotated[
        str,
        TrialField(
            "name", f"{' or '.join(STATES)}: never dried, or at constant mass", choices=STATES, optional=True
        ),
    ] = ""
    kind: Annotated[str, TrialField("name", " or ".join(KINDS), choices=KINDS)] = "compressive"
    method: Annotated[str, TrialField("name", ", ".join(METHODS), choices=METHODS)] = "other"
    sense: Annotated[
        str, TrialField("name", "= measured, >= held at this, <= broke at or before it", choices=SENSES)
    ] = "="
    error: Annotated[float | None, TrialField("MPa", "its standard error, where it is known", 0.0, 150.0)] = (
        None
    )


@dataclass(frozen=True)
class Burn(_Noted):
    """Wall temperatures of one test burn."""

    outer: Annotated[
        float | None,
        TrialField("degC", "outside of the wall in a test burn (trials measure burn)", -20.0, 400.0),
    ] = None
    inner: Annotated[float | None, TrialField("degC", "inside of the wall in a test burn", -20.0, 800.0)] = (
        None
    )
    error: Annotated[float | None, TrialField("K", "standard error of the outer reading", 0.0, 100.0)] = None
    burn_rate: Annotated[float | None, TrialField("g/h", "wax burned by one wick", 0.01, 100.0)] = None
    wicks: Annotated[int, TrialField("count", "number of wicks", 1, 50)] = 1
    exposure: Annotated[str, TrialField("name", ", ".join(EXPOSURES), choices=EXPOSURES, optional=True)] = ""
    room: Annotated[float | None, TrialField("degC", "room temperature during the burn", -20.0, 60.0)] = None


@dataclass(frozen=True)
class Reject(_Noted):
    """Castings of the batch that were thrown away for one cause."""

    cause: Annotated[str, TrialField("name", "why castings were thrown away, in your words")]
    count: Annotated[int, TrialField("count", "how many for this cause", 1, 10_000)]


@dataclass(frozen=True)
class Trial(_Noted):
    """One batch and what was seen of it: whatever is None, empty or () was not noted.

    Portions stand in the order of weighing; weighings are those of one piece, oldest first; absorption is
    over the dry mass. Where there is no id, the book gives one of date and letter.
    """

    date: Annotated[
        dt.date, TrialField("date", "day of the pour, such as 2026-03-02; the one column every table needs")
    ]
    id: Annotated[str, TrialField("name", "name of the batch; left empty, the book gives one")] = ""
    portions: tuple[Portion, ...] = ()
    water: Annotated[
        float | None, TrialField("g", "water weighed", 0.0, 1e6, label="water weighed", example="118 g")
    ] = None
    water_temperature: Annotated[float | None, TrialField("degC", "temperature of the water", 0.0, 95.0)] = (
        None
    )
    room_temperature: Annotated[
        float | None,
        TrialField("degC", "temperature of the room", -20.0, 60.0, label="room", example="21 C or 70 F"),
    ] = None
    humidity: Annotated[
        float | None, TrialField("fraction", "relative humidity of the room, 0.5 or 50 %", 0.0, 1.0)
    ] = None
    damp_cure: Annotated[
        float | None, TrialField("min", "how long the castings were kept damp", 0.0, _YEAR)
    ] = None
    vessel: Annotated[str, TrialField("name", "kind of vessel cast")] = ""
    cavity_volume: Annotated[
        float | None,
        TrialField(
            "mL",
            "what one mold holds (trials measure volume)",
            1.0,
            1e5,
            label="one mold holds",
            example="190 mL",
        ),
    ] = None
    cast: Annotated[
        int | None, TrialField("count", "castings poured", 0, 10_000, label="castings poured", example="6")
    ] = None
    labels: Annotated[
        tuple[str, ...],
        TrialField(
            "labels",
            "labels of the single vessels, parted by spaces or commas; V1-V6 are six of them",
            label="numbers of the vessels",
            example="V1-V6, V9",
        ),
    ] = ()
    sold_order: Annotated[
        str,
        TrialField("name", "order the vessels went to", label="order they went to", example="order 12"),
    ] = ""
    fresh_density: Annotated[
        float | None, TrialField("g/cm3", "weight of a liter of slurry (trials measure density)", 0.2, 4.0)
    ] = None
    window_end: Annotated[
        float | None,
        TrialField(
            "min",
            "when the mix would no longer pour, from powder meeting water",
            0.0,
            _YEAR,
            label="would no longer pour after",
            example="15 min",
        ),
    ] = None
    initial_set: Annotated[float | None, TrialField("min", "when it began to set", 0.0, _YEAR)] = None
    final_set: Annotated[float | None, TrialField("min", "when it had set", 0.0, _YEAR)] = None
    demold: Annotated[
        float | None,
        TrialField(
            "min",
            "when the castings were taken out of the molds; perhaps ready earlier: an upper bound",
            0.0,
            _YEAR,
            label="was taken out after (perhaps ready earlier)",
            example="58 min",
        ),
    ] = None
    demold_first: Annotated[
        float | None,
        TrialField(
            "min",
            "when a casting could first leave its mold whole: tried until it did",
            0.0,
            _YEAR,
            label="could first leave the mold after",
            example="45 min",
        ),
    ] = None
    casting_peak: Annotated[
        float | None,
        TrialField(
            "degC",
            "hottest while setting",
            -20.0,
            110.0,
            label="hottest while setting",
            example="55 C or 131 F",
        ),
    ] = None
    whiteness: Annotated[
        float | None,
        TrialField(
            "-",
            "L* of the dry face (trials measure whiteness)",
            0.0,
            100.0,
            label="whiteness L*",
            example="88",
        ),
    ] = None
    whiteness_error: Annotated[float | None, TrialField("-", "its standard error", 0.0, 50.0)] = None
    absorption: Annotated[
        float | None,
        TrialField(
            "fraction",
            "water a dry piece takes up in a day under water (trials measure soak)",
            0.0,
            2.0,
            label="water taken up in a day's soak",
            example="17 %",
        ),
    ] = None
    absorption_error: Annotated[float | None, TrialField("fraction", "its standard error", 0.0, 1.0)] = None
    coats: Annotated[
        int | None,
        TrialField(
            "count",
            "coats of sealer until water no longer soaked in",
            0,
            20,
            label="coats of sealer it took",
            example="2",
        ),
    ] = None
    weighings: tuple[Weighing, ...] = ()
    strengths: tuple[Strength, ...] = ()
    burns: tuple[Burn, ...] = ()
    rejects: tuple[Reject, ...] = ()
    remarks: Annotated[str, TrialField("text", "anything else", label="remarks", example="poured slowly")] = (
        ""
    )

    @property
    def powder_mass(self) -> float:
        """Mass of all dry materials of the batch [g]."""
        return sum(portion.mass for portion in self.portions)

    @property
    def blend(self) -> dict[str, float]:
        """Share of each material in the dry mass [fraction]; empty when nothing was weighed.

        Examples
        --------
        >>> day = dt.date(2026, 3, 2)
        >>> Trial(day, portions=(Portion("gypsum_cement", 300.0), Portion("marble_flour", 100.0))).blend
        {'gypsum_cement': 0.75, 'marble_flour': 0.25}
        """
        total = self.powder_mass
        shares: dict[str, float] = {}
        for portion in self.portions if total > 0.0 else ():
            shares[portion.material] = shares.get(portion.material, 0.0) + portion.mass / total
        return shares

    @property
    def water_ratio(self) -> float | None:
        """Water per dry material by mass [g/g]; None when either was not weighed."""
        return None if self.water is None or not self.powder_mass else self.water / self.powder_mass


@dataclass(frozen=True)
class Version:
    """A trial as it stood at one time.

    Attributes
    ----------
    trial : Trial
        The record.
    number : int | None
        1 for the first version, then counting up; None: not stated, as in a studio's own table.
    void : bool
        True when the trial does not count from this version on.
    reason : str
        Why it supersedes the version before.
    """

    trial: Trial
    number: int | None = None
    void: bool = False
    reason: str = ""

    @property
    def stated(self) -> bool:
        """True when the version says more than the trial alone does."""
        return self.void or bool(self.reason) or (self.number or 1) > 1


def as_versions(records: Iterable[Trial | Version]) -> tuple[Version, ...]:
    """Return records as versions; a bare trial states no number.

    In the same order.

    Examples
    --------
    >>> as_versions([Trial(dt.date(2026, 3, 2))])[0].stated
    False
    """
    return tuple(each if isinstance(each, Version) else Version(each) for each in records)


def digest(trial: Trial) -> str:
    """Return a fingerprint of everything in `trial` but its id.

    SHA-256 in hexadecimal; equal records have equal fingerprints, on every machine.

    Examples
    --------
    >>> digest(Trial(dt.date(2026, 3, 2), id="a")) == digest(Trial(dt.date(2026, 3, 2), id="b"))
    True
    """
    content = _stated(trial)
    content.pop("id", None)
    text = json.dumps(content, sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()


def field_names(record: object) -> tuple[str, ...]:
    """Return the names of the fields of a trial or of one of its readings, in order.

    Examples
    --------
    >>> field_names(Weighing(0.0, 420.0))
    ('age', 'mass')
    """
    return _NAMES[type(record)]


def _stated(record: object) -> dict[str, object]:
    """Leave out what was not noted (fields may be added later); 3, 3.0 and -0.0 against 0.0 are the same."""
    values = ((name, getattr(record, name)) for name in field_names(record))
    return {name: _plain(value) for name, value in values if value is not None and value not in ("", ())}


def _plain(value: object) -> object:
    if isinstance(value, int | float):
        return value + 0.0
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, dt.date):
        return value.isoformat()
    return value if isinstance(value, str) else _stated(value)


_NAMES: Final[dict[type[object], tuple[str, ...]]] = {
    kind: tuple(field.name for field in fields(kind))
    for kind in (Trial, Portion, Weighing, Strength, Burn, Reject)
}


def _fields_of(record: type) -> Mapping[str, TrialField]:
    hints = get_type_hints(record, include_extras=True)
    notes = ((name, one) for name, hint in hints.items() for one in getattr(hint, "__metadata__", ()))
    return MappingProxyType({name: replace(one, name=name) for name, one in notes})


_OF_TRIAL: Final = _fields_of(Trial)
_AT_FIRST: Final = ("id", "date", "vessel", "cast", "labels", "sold_order")

FIELDS: Final[Mapping[str, TrialField]] = MappingProxyType(
    {name: _OF_TRIAL[name] for name in dict.fromkeys((*_AT_FIRST, *_OF_TRIAL))}
)
"""Fields of a trial itself, in the order of the table's columns."""

RECORDS: Final[Mapping[str, tuple[str, type[Any]]]] = MappingProxyType(
    {
        "powder": ("portions", Portion),
        "weighing": ("weighings", Weighing),
        "strength": ("strengths", Strength),
        "burn": ("burns", Burn),
        "reject": ("rejects", Reject),
    }
)
"""Word in the header of a column -> field of a trial, and the record of one of its readings."""

GROUP_FIELDS: Final[Mapping[str, tuple[str, Mapping[str, TrialField]]]] = MappingProxyType(
    {word: (field, _fields_of(record)) for word, (field, record) in RECORDS.items()}
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


def needed(record: type[Any]) -> tuple[str, ...]:
    """Return the fields of a reading that must be stated: those without a default.

    Examples
    --------
    >>> needed(Portion), needed(Burn)
    (('material', 'mass'), ())
    """
    return tuple(field.name for field in fields(record) if field.default is MISSING)
