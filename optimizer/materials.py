"""The things a studio buys, as frozen records: a material, its phases, and what is known of it.

Every figure carries its own passport (`Figure`): value, low and high (the 5 % and 95 % points),
unit, source key and note. Units are those of `optimizer.nomenclature`; see `optimizer.specs` for
how the files in ``material_specs/`` become these records.

`canonical_text` gives equal records, mappings and figures one spelling.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from difflib import get_close_matches
from functools import cached_property
from pathlib import Path
from types import MappingProxyType
from typing import Final

from optimizer.errors import UnknownMaterial

OWN_FOLDER: Final = "own_materials"
"""Folder of own spec files where none is named."""

_NAME: Final = re.compile(r"[a-z][a-z0-9_]{0,59}")
_LOOKED: Final = 4096

ROLES = ("binder", "filler", "pigment", "admixture", "water")
"""What a material does in a mix."""

PHASES = (
    "hemihydrate_alpha",
    "hemihydrate_beta",
    "yeelimite",
    "anhydrite",
    "gypsum",
    "lime",
    "belite",
    "inert",
    "sand",
)
"""Phases a dry material may be made of; `sand` is grain, `inert` is unreactive binder powder."""

_BESIDE_THE_POINT: Final = frozenset({"stated", "path", "in_hand", "calibration"})


@dataclass(frozen=True)
class Source:
    """One entry of the bibliography: where figures come from and whether it was opened."""

    key: str
    citation: str
    opened: bool


@dataclass(frozen=True)
class Figure:
    """One number with its passport.

    Attributes
    ----------
    value, low, high : float
        Best value and its 5 % and 95 % points, in `unit`; ``low == high`` means exact.
    unit : str
        Unit of the three numbers.
    source : str
        Key in ``sources.toml``.
    note : str
        Says "from memory", "assumption", "computed" or "common practice, no source" where so.
    """

    value: float
    low: float
    high: float
    unit: str
    source: str
    note: str = ""


@dataclass(frozen=True)
class ReferencePoint:
    """A strength somebody measured or stated, and the mix, age and state it belongs to.

    Attributes
    ----------
    strength : Figure
        Compressive strength [MPa].
    age : float
        Age at test [min].
    state : str
        ``wet`` (never dried) or ``dry`` (constant mass).
    water_ratio : float
        Water per dry material by mass [-]; the sand named below does not count as dry material.
    added_sand : float
        Standard sand added for the test, per mass of the material [-].
    """

    strength: Figure
    age: float
    state: str
    water_ratio: float
    added_sand: float = 0.0


@dataclass(frozen=True)
class Material:
    """One purchasable dry powder or liquid.

    Attributes
    ----------
    name : str
        Key in job files, e.g. ``gypsum_cement``.
    label : str
        Words shown to people.
    role : str
        One of `ROLES`.
    kind : str
        For binders ``gypsum`` or ``csa``; for fillers ``heavy`` or ``light``; for admixtures
        ``retarder``, ``accelerator`` or ``plasticizer``; else empty.
    cement : str
        Material whose reference points lend what this binder states none of (gain rate, dry strength); its
        own points always come first.
    phases : Mapping[str, float]
        Mass share by phase [-]; shares sum to 1 for binders.
    figures : Mapping[str, Figure]
        Named figures: density [g/cm3], water_demand [g/g], set_initial and set_final [min],
        dry_wet_ratio [-], reflectance [-], scattering [-], embodied_co2 [g/g], conductivity [W/mK],
        max_share [-], crystalline_silica [-], and for admixtures their dose figures.
    reference_points : tuple[ReferencePoint, ...]
        Strength anchors of a binder.
    dose_levels : tuple[float, ...]
        Doses of an admixture worth trying [%]: retarders of binder without sand, else of powder.
    phases_source, phases_note : str
        Source key and note of the phase shares.
    cautions : tuple[str, ...]
        Keys of the cautions that travel with this material.
    note : str
        What a caster should know.
    path : str
        Spec file the record was read from.
    """

    name: str
    label: str
    role: str
    kind: str = ""
    cement: str = ""
    phases: Mapping[str, float] = field(default_factory=dict)
    figures: Mapping[str, Figure] = field(default_factory=dict)
    reference_points: tuple[ReferencePoint, ...] = ()
    dose_levels: tuple[float, ...] = ()
    phases_source: str = ""
    phases_note: str = ""
    cautions: tuple[str, ...] = ()
    note: str = ""
    path: str = ""

    @property
    def short_label(self) -> str:
        """The label up to its bracket or comma."""
        return re.split(r"[,(]", self.label)[0].strip()

    def figure(self, name: str, default: float = 0.0) -> float:
        """Return the value of figure `name` [its own unit], or `default` if the spec has none."""
        known = self.figures.get(name)
        return default if known is None else known.value


@dataclass(frozen=True)
class Catalogue:
    """Materials by name, the model's global figures, and the bibliography."""

    materials: Mapping[str, Material]
    model: Mapping[str, Figure]
    sources: Mapping[str, Source]

    def __post_init__(self) -> None:
        for name in ("materials", "model", "sources"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))

    @cached_property
    def fingerprint(self) -> str:
        """SHA-256 of all figures and sources, 64 hexadecimal digits."""
        whole = {"materials": self.materials, "model": self.model, "sources": self.sources}
        return hashlib.sha256(canonical_text(whole).encode()).hexdigest()

    def __getitem__(self, name: str) -> Material:
        """Return the material `name`; raises `UnknownMaterial` with the three nearest names."""
        try:
            return self.materials[name]
        except KeyError:
            nearest = tuple(get_close_matches(name, self.materials, n=3, cutoff=0.0))
            raise UnknownMaterial(name, nearest) from None

    def __iter__(self) -> Iterator[str]:
        """Iterate over the names in file order."""
        return iter(self.materials)

    def __repr__(self) -> str:
        """Return a short text; the whole catalogue would fill pages."""
        return f"Catalogue({', '.join(self.materials)})"

    def __len__(self) -> int:
        """Return how many materials there are."""
        return len(self.materials)


def unknown_repair(name: str, job: str = "") -> str:
    """Return the repair where a powder is not known: the folder its spec file lies in, or how to make one.

    Parameters
    ----------
    job : str
        File of the job that names it: folders beside it are looked into, and those of the working folder [-].

    Examples
    --------
    >>> unknown_repair("budget_csa")
    'Correct the name, or make the powder from its bag: vesselblend materials new budget_csa.'
    """
    if not _NAME.fullmatch(name):
        return "Correct the name, or make the powder from its bag: vesselblend materials new NAME."
    for place in dict.fromkeys((Path(job).parent, Path())):
        for spec in (place / OWN_FOLDER / f"{name}.toml", *sorted(place.glob(f"*/{name}.toml"))):
            if _is_spec(spec):
                return f"A spec file of that name lies in {spec.parent}: add --specs {spec.parent}."
    return f"Correct the name, or make the powder from its bag: vesselblend materials new {name}."


def _is_spec(path: Path) -> bool:
    try:
        return path.is_file() and re.search(rb"(?m)^role *=", path.read_bytes()[:_LOOKED]) is not None
    except OSError:
        return False


def canonical_text(value: object) -> str:
    """Return records, mappings and tuples of figures as JSON with one spelling for equal values.

    Mappings are sorted by key; numbers are written as the shortest text that reads back to the same
    float, so that 6 and 6.0 are one.

    Examples
    --------
    >>> canonical_text({"b": 6, "a": (0.1, -0.0)})
    '{"a":[0.1,0.0],"b":6.0}'
    """
    return json.dumps(_plain(value), sort_keys=True, separators=(",", ":"), allow_nan=False)


def _plain(value: object) -> object:
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, int | float):
        return _number(float(value))
    if is_dataclass(value):
        names = (each.name for each in fields(value) if each.name not in _BESIDE_THE_POINT)
        return {name: _plain(getattr(value, name)) for name in names}
    if isinstance(value, Mapping):
        return {str(name): _plain(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    raise TypeError(
        f"{type(value).__name__} has no canonical text; use records, mappings, tuples and numbers"
    )


def _number(value: float) -> float | str:
    """Return the number, or its word where JSON has none."""
    return value + 0.0 if abs(value) < float("inf") else str(value)
