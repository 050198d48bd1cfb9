"""What a bag or a data sheet says of a powder, read from text: every fact may be left out."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from optimizer.errors import Fault, QuantityError
from optimizer.specs.figures import MATERIAL_FIGURES, STRENGTH, Span, span_faults
from optimizer.units import parse

_AGE: Final = Span("min", 1.0, 1_000_000.0)
_RATIO: Final = Span("-", 0.05, 4.0)
_LIGHTNESS: Final = Span("-", 10.0, 99.0)
_PARTS: Final = re.compile(r"(.+?)\s*(?:parts?\s*(?:per|/|to)?\s*100|/\s*100|per\s*100)", re.IGNORECASE)
_AGE_AND_STRENGTH: Final = "Write age = strength, such as '28 d = 42.5 MPa' or '1 h wet = 20 MPa'."
_CLASS: Final = re.compile(r"\s*(\d{2}(?:[.,]\d)?)\s*[LNR]\s*", re.IGNORECASE)
"""A strength class such as 42.5 N; L, N, R: low, ordinary, high early strength (EN 197-1, from memory)."""
_STRENGTH: Final = re.compile(r"\s*(.+?)\s*(?:\b(wet|dry)\b\s*)?=\s*(.+?)\s*")

COLORS: Final[Mapping[str, float]] = {
    "white": 94.0,
    "off-white": 89.0,
    "light gray": 80.0,
    "gray": 70.0,
    "buff": 77.0,
}
"""Word for the color of a set piece -> CIE L* [-]; common practice, no source."""


@dataclass(frozen=True)
class BagFacts:
    """Facts as typed, each text with its unit; empty where the bag says nothing.

    Attributes
    ----------
    label : str
        What the powder is called.
    set_begins, set_ends : str
        Initial and final set.
    strengths : tuple[str, ...]
        Such as ``28 d = 42.5 MPa`` or ``1 h wet = 20 MPa``; a class alone is the strength after 28 days.
    tested : str
        How they were tested: ``mortar`` (1 cement, 3 sand, 0.50 water) or ``neat``; empty: as the model's.
    water : str
        Water recommended: ``0.45``, ``45 %`` or ``45 parts per 100``.
    color : str
        L* of a set piece, or one of `COLORS`.
    density, sand, silica, co2 : str
        Density of the powder, share of sand in it, crystalline silica, CO2 per mass of powder.
    """

    label: str = ""
    set_begins: str = ""
    set_ends: str = ""
    strengths: tuple[str, ...] = ()
    tested: str = ""
    water: str = ""
    color: str = ""
    density: str = ""
    sand: str = ""
    silica: str = ""
    co2: str = ""


@dataclass(frozen=True)
class StatedStrength:
    """One strength as stated: age [min], ``wet``, ``dry`` or not said, and compressive strength [MPa]."""

    age: float
    state: str
    strength: float


@dataclass(frozen=True)
class Facts:
    """Facts as read.

    Attributes
    ----------
    figures : Mapping[str, float]
        Figures of a spec file that are stated, in their units.
    strengths : tuple[StatedStrength, ...]
        Strengths.
    tested : str
        ``mortar``, ``neat`` or empty.
    sand : float | None
        Share of sand [fraction].
    """

    figures: Mapping[str, float] = field(default_factory=dict)
    strengths: tuple[StatedStrength, ...] = ()
    tested: str = ""
    sand: float | None = None


def read_facts(bag: BagFacts) -> tuple[Facts, tuple[Fault, ...]]:
    """Return the facts as numbers, and every fault of what was typed.

    What could be read, and the faults, each at the name of its fact.

    Examples
    --------
    >>> facts, faults = read_facts(BagFacts(set_begins="20 min", water="45 parts per 100"))
    >>> dict(facts.figures), faults
    ({'set_initial': 20.0, 'water_demand': 0.45}, ())
    """
    faults: list[Fault] = []
    figures: dict[str, float] = {}
    for name, text, read in _figures_of(bag):
        if not text.strip():
            continue
        value = _noted(read, text, name, faults)
        if value is not None:
            figures[_FIGURE_OF[name]] = value
    sand = _noted(_share, bag.sand, "sand", faults) if bag.sand.strip() else None
    if bag.tested not in ("", "mortar", "neat"):
        faults.append(Fault("tested", repr(bag.tested), "mortar or neat", "Say how the strength was tested."))
    strengths = tuple(_strengths(bag.strengths, faults))
    return Facts(figures, strengths, bag.tested, sand), tuple(faults)


_FIGURE_OF: Final = {
    "set_begins": "set_initial",
    "set_ends": "set_final",
    "water": "water_demand",
    "color": "reflectance",
    "density": "density",
    "silica": "crystalline_silica",
    "co2": "embodied_co2",
}


def _figures_of(bag: BagFacts) -> Iterator[tuple[str, str, Callable[[str], float]]]:
    yield "set_begins", bag.set_begins, lambda text: _in(text, MATERIAL_FIGURES["set_initial"])
    yield "set_ends", bag.set_ends, lambda text: _in(text, MATERIAL_FIGURES["set_final"])
    yield "water", bag.water, _water
    yield "color", bag.color, _reflectance
    yield "density", bag.density, lambda text: _in(text, MATERIAL_FIGURES["density"])
    yield "silica", bag.silica, _share
    yield "co2", bag.co2, lambda text: _in(text, MATERIAL_FIGURES["embodied_co2"])


def _noted(read: Callable[[str], float], text: str, name: str, faults: list[Fault]) -> float | None:
    try:
        return read(text)
    except QuantityError as error:
        faults.append(error.at(name))
        return None


def _in(text: str, span: Span) -> float:
    """Return a quantity inside its plausible range."""
    value = parse(text, span.unit)
    for fault in span_faults({"value": value}, span, ""):
        raise QuantityError(text, fault.allowed, fault.repair)
    return value


def _share(text: str) -> float:
    return _in(text, Span("fraction", 0.0, 1.0))


def _water(text: str) -> float:
    """Return water per powder; a data sheet states parts per 100 or percent."""
    parts = _PARTS.fullmatch(text.strip())
    if parts:
        return _in(f"{parts[1]} %", Span("fraction", 0.05, 4.0))
    value = _in(text, Span("fraction", 0.05, 400.0))
    if value > 4.0:
        repair = f"Write '{value:g} parts per 100' if that is meant."
        raise QuantityError(text, "water per powder by mass, such as 0.45", repair)
    return value


def _reflectance(text: str) -> float:
    """Return the reflectance of a lightness: CIE 15, Y/Yn = ((L* + 16) / 116)^3 for L* above 8."""
    word = text.strip().lower().replace("grey", "gray")
    try:
        lightness = COLORS[word] if word in COLORS else _in(text, _LIGHTNESS)
    except QuantityError as error:
        allowed = f"L* of 10 to 99, or {', '.join(COLORS)}"
        raise QuantityError(error.value, allowed, "Write the lightness of a set piece.") from None
    return ((lightness + 16.0) / 116.0) ** 3


def _strength(text: str) -> float:
    """Return a strength; what cannot be read is answered by how an age and its strength are written."""
    try:
        return _in(text, STRENGTH)
    except QuantityError as error:
        raise QuantityError(error.value, error.allowed, _AGE_AND_STRENGTH) from None


def _strengths(texts: Sequence[str], faults: list[Fault]) -> Iterator[StatedStrength]:
    for text in texts:
        # a bag that names a class alone means the strength after 28 days (EN 197-1, from memory)
        named = _CLASS.fullmatch(text)
        whole = f"{named[1]} MPa" if named else text
        match = _STRENGTH.fullmatch(whole if "=" in whole else f"28 d = {whole}")
        if match is None:
            faults.append(Fault("strength", repr(text), "an age and a strength", _AGE_AND_STRENGTH))
            continue
        age = _noted(lambda words: _in(words, _AGE), match[1], "strength", faults)
        value = _noted(_strength, match[3], "strength", faults)
        if age is not None and value is not None:
            yield StatedStrength(age, match[2] or "", value)
