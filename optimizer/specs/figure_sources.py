"""How far the figures of a catalogue can be trusted, counted, and the publications behind them.

With what each property is checked against outside the project, and why, where that is nothing printed.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

from optimizer.materials import Catalogue, Figure, Source
from optimizer.specs.figures import UNSEEN_WORDS

READ: Final = "source read"
"""What `how_sure` says of a figure that was read in its source."""

_NO_PUBLICATIONS: Final = ("judgement", "trade", "handbook", "computed", "own")
"""Keys of the bibliography that name no publication."""

_TABLE: Final = Path(__file__).with_name("property_checks.toml")
_OF_ONE_LAW: Final = "tests/properties/"


@dataclass(frozen=True)
class SourceUse:
    """One publication and what the figures of a catalogue take from it.

    Attributes
    ----------
    source : Source
        The entry of the bibliography.
    figures : int
        How many figures name it [count].
    read : int
        How many of them were read in it; it only bears on the others [count].
    """

    source: Source
    figures: int
    read: int


def how_sure(source: str, note: str, catalogue: Catalogue) -> str:
    """Return in a few words how far a figure can be trusted, from its source and its note.

    Examples
    --------
    >>> from optimizer.specs import load_catalogue
    >>> how_sure("handbook", "from memory; white grades", load_catalogue())
    'from memory'

    A note may take back what its source promises: the abstract was read, the figure stands elsewhere.

    >>> how_sure("zhang_2020", "from memory: 20; the abstract names no figure", load_catalogue())
    'from memory'
    """
    if source == "own":
        return "measured by you"
    named = min((word for word in UNSEEN_WORDS if word in note), key=note.index, default="not verified")
    if catalogue.sources[source].opened and not note.startswith(named):
        return READ
    return named


def figures_by_trust(catalogue: Catalogue) -> dict[str, int]:
    """Return how many figures of a catalogue are as sure as `how_sure` says, the largest number first.

    Examples
    --------
    >>> from optimizer.specs import load_catalogue
    >>> next(iter(figures_by_trust(load_catalogue())))
    'assumption'
    """
    return dict(Counter(_trust(figure, catalogue) for figure in _figures(catalogue)).most_common())


def publications(catalogue: Catalogue) -> tuple[SourceUse, ...]:
    """Return the publications of the bibliography in its order, each with the figures taken from it."""
    figures = _figures(catalogue)
    named = Counter(figure.source for figure in figures)
    read = Counter(figure.source for figure in figures if _trust(figure, catalogue) == READ)
    return tuple(
        SourceUse(source, named[key], read[key])
        for key, source in catalogue.sources.items()
        if key not in _NO_PUBLICATIONS
    )


def _trust(figure: Figure, catalogue: Catalogue) -> str:
    return how_sure(figure.source, figure.note, catalogue)


def _figures(catalogue: Catalogue) -> list[Figure]:
    """Return every figure of materials, reference points and property chain."""
    figures = [figure for name in catalogue for figure in catalogue[name].figures.values()]
    figures += [point.strength for name in catalogue for point in catalogue[name].reference_points]
    return [*figures, *catalogue.model.values()]


@dataclass(frozen=True)
class Check:
    """One test of a property against something printed outside the project.

    Attributes
    ----------
    test : str
        File and name of the test.
    cites : str
        Words of that test which name the source.
    source : str
        The source, as people read it.
    """

    test: str
    cites: str
    source: str

    @property
    def law_alone(self) -> bool:
        """Whether the test touches one law that the predictions use, and no whole prediction."""
        return self.test.startswith(_OF_ONE_LAW)


@dataclass(frozen=True)
class PropertyChecks:
    """How one property is checked.

    Attributes
    ----------
    checks : tuple[Check, ...]
        Tests against something printed.
    none : str
        Why nothing, or nothing more, is printed; may be empty where there are checks.
    own : tuple[str, ...]
        Tests by our own arithmetic, where nothing is printed.
    """

    checks: tuple[Check, ...]
    none: str
    own: tuple[str, ...]


@cache
def property_checks() -> Mapping[str, PropertyChecks]:
    """Return how each quantity of `optimizer.nomenclature` is checked, by its name and in that order."""
    entries = tomllib.loads(_TABLE.read_text(encoding="utf-8"))
    return {name: _checks_of(entry) for name, entry in entries.items()}


def _checks_of(entry: Mapping[str, Any]) -> PropertyChecks:
    checks = tuple(Check(**row) for row in entry.get("checks", ()))
    return PropertyChecks(checks, entry.get("none", ""), tuple(entry.get("own", ())))
