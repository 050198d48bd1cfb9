"""What is written down about one batch that was mixed: the trial and the readings taken from it.

A trial is one batch from powder meeting water to the last reading; a batch nobody measured is a trial
with nothing to teach, kept for the trace. Everything but the date may be missing. Records are frozen;
units are those of `optimizer.nomenclature`, times count from powder meeting water unless said.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Final

__all__ = [
    "EXPOSURES",
    "KINDS",
    "METHODS",
    "SENSES",
    "STATES",
    "Burn",
    "Portion",
    "Reject",
    "Strength",
    "Trial",
    "Version",
    "Weighing",
    "as_versions",
    "digest",
    "field_names",
]

METHODS = ("cube", "cylinder", "bent bar", "test house", "held or broke", "other")
"""Routes to a strength."""

KINDS = ("compressive", "flexural")
"""What a strength resists."""

STATES = ("wet", "dry")
"""``wet``: never dried; ``dry``: at constant mass."""

SENSES = ("=", ">=", "<=")
"""``=`` measured; ``>=`` held at this stress; ``<=`` broke at or before it."""

EXPOSURES = ("continuous", "repeated burns", "single hour")
"""How the vessel met heat, as in `optimizer.shop.EXPOSURES`."""


class _Noted:
    """A record whose numbers are those of the language: a NumPy scalar is a number like any other."""

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if hasattr(value, "dtype") and hasattr(value, "item"):
                object.__setattr__(self, name, value.item())


@dataclass(frozen=True)
class Portion(_Noted):
    """One material as weighed into the batch.

    Attributes
    ----------
    material : str
        Name of the material, as in the job file.
    mass : float
        Mass weighed [g].
    lot : str
        Lot of the bag it came from.
    """

    material: str
    mass: float
    lot: str = ""


@dataclass(frozen=True)
class Weighing(_Noted):
    """One weighing of a piece while it dries.

    Attributes
    ----------
    age : float
        Time since demolding [d].
    mass : float
        Mass of the piece [g].
    """

    age: float
    mass: float


@dataclass(frozen=True)
class Strength(_Noted):
    """One strength, by whatever route.

    Attributes
    ----------
    value : float
        Strength [MPa].
    age : float | None
        Age at the test [min].
    state : str
        One of `STATES`, or empty when not noted.
    kind : str
        One of `KINDS`.
    method : str
        One of `METHODS`.
    sense : str
        One of `SENSES`.
    error : float | None
        Standard error the test house or the measuring function states [MPa].
    """

    value: float
    age: float | None = None
    state: str = ""
    kind: str = "compressive"
    method: str = "other"
    sense: str = "="
    error: float | None = None


@dataclass(frozen=True)
class Burn(_Noted):
    """Wall temperatures of one test burn.

    Attributes
    ----------
    outer, inner : float | None
        Steady outside and inside of the wall [degC].
    error : float | None
        Standard error of the outer reading [K].
    burn_rate : float | None
        Wax burned by one wick [g/h].
    wicks : int
        Number of wicks [count].
    exposure : str
        One of `EXPOSURES`, or empty when not noted.
    room : float | None
        Room temperature during the burn [degC].
    """

    outer: float | None = None
    inner: float | None = None
    error: float | None = None
    burn_rate: float | None = None
    wicks: int = 1
    exposure: str = ""
    room: float | None = None


@dataclass(frozen=True)
class Reject(_Noted):
    """Castings of the batch that were thrown away for one cause.

    Attributes
    ----------
    cause : str
        Why, in the caster's words.
    count : int
        How many [count].
    """

    cause: str
    count: int


@dataclass(frozen=True)
class Trial(_Noted):
    """One batch and what was seen of it.

    Attributes
    ----------
    date : datetime.date
        Day of the pour.
    id : str
        Name of the batch, unique in the book; empty: the book gives one, date and letter.
    portions : tuple[Portion, ...]
        Dry materials and admixtures in the order of weighing.
    water : float | None
        Mass of water [g].
    water_temperature, room_temperature : float | None
        Temperatures at mixing [degC].
    humidity : float | None
        Relative humidity of the room [fraction].
    damp_cure : float | None
        How long the castings were kept damp [min].
    vessel : str
        Kind of vessel cast.
    cavity_volume : float | None
        Volume of one mold [mL].
    cast : int | None
        Castings poured [count].
    labels : tuple[str, ...]
        Labels of the single vessels, without spaces.
    sold_order : str
        Order the vessels went to.
    fresh_density : float | None
        Of the slurry [g/cm3].
    window_end : float | None
        When the mix would no longer pour, from powder meeting water [min].
    initial_set, final_set : float | None
        When they were seen [min].
    demold : float | None
        When the castings were taken out of the molds; they may have been strong enough earlier [min].
    demold_first : float | None
        When a casting could first leave its mold: tried until one came out whole [min].
    casting_peak : float | None
        Highest temperature while setting [degC].
    whiteness, whiteness_error : float | None
        CIE L* of the dry face and its standard error [-].
    absorption, absorption_error : float | None
        Water a dry piece took up in a day under water, over its dry mass, and its standard error [fraction].
    coats : int | None
        Coats of sealer it took until water no longer soaked in [count].
    weighings : tuple[Weighing, ...]
        Masses of one piece over the days, oldest first.
    strengths : tuple[Strength, ...]
        Strengths by any route.
    burns : tuple[Burn, ...]
        Test burns.
    rejects : tuple[Reject, ...]
        Rejects by cause.
    remarks : str
        Anything else.
    """

    date: dt.date
    id: str = ""
    portions: tuple[Portion, ...] = ()
    water: float | None = None
    water_temperature: float | None = None
    room_temperature: float | None = None
    humidity: float | None = None
    damp_cure: float | None = None
    vessel: str = ""
    cavity_volume: float | None = None
    cast: int | None = None
    labels: tuple[str, ...] = ()
    sold_order: str = ""
    fresh_density: float | None = None
    window_end: float | None = None
    initial_set: float | None = None
    final_set: float | None = None
    demold: float | None = None
    demold_first: float | None = None
    casting_peak: float | None = None
    whiteness: float | None = None
    whiteness_error: float | None = None
    absorption: float | None = None
    absorption_error: float | None = None
    coats: int | None = None
    weighings: tuple[Weighing, ...] = ()
    strengths: tuple[Strength, ...] = ()
    burns: tuple[Burn, ...] = ()
    rejects: tuple[Reject, ...] = ()
    remarks: str = ""

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

    Parameters
    ----------
    records : Iterable[Trial | Version]
        Trials, versions, or both [-].

    Returns
    -------
    tuple[Version, ...]
        In the same order.

    Examples
    --------
    >>> as_versions([Trial(dt.date(2026, 3, 2))])[0].stated
    False
    """
    return tuple(each if isinstance(each, Version) else Version(each) for each in records)


def digest(trial: Trial) -> str:
    """Return a fingerprint of everything in `trial` but its id.

    Returns
    -------
    str
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
