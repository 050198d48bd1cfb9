"""How far the figures of a catalogue can be trusted, counted, and the publications behind them."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Final

from optimizer.materials import Catalogue, Figure, Source
from optimizer.specs.figures import UNSEEN_WORDS

READ: Final = "source read"
"""What `how_sure` says of a figure that was read in its source."""

_NO_PUBLICATIONS: Final = ("judgement", "trade", "handbook", "computed", "own")
"""Keys of the bibliography that name no publication."""


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
