"""What the README says the figures rest on: written from the spec files and the table of checks.

After a change of either: ``UPDATE_README=1 python -m pytest tests/house/test_sources_of_checks.py``
"""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from optimizer.materials import Catalogue, Figure
from optimizer.nomenclature import USES, quantity
from ui.material_text import how_sure

__all__ = ["Check", "Known", "known_checks", "section"]

TABLE = Path(__file__).parents[1] / "reference" / "property_checks.toml"
_PLAIN = ("judgement", "trade", "handbook", "computed", "own")
"""Keys of the bibliography that name no publication."""


@dataclass(frozen=True)
class Check:
    """One test of a property against something printed outside the project."""

    test: str
    cites: str
    source: str

    @property
    def words(self) -> str:
        """The source, and whether the check touches a law of the library instead of a whole prediction."""
        return f"{self.source}, the law alone" if self.test.startswith("tests/properties/") else self.source


@dataclass(frozen=True)
class Known:
    """How a property is checked: against what, why nothing (more) is printed, and by which own arithmetic."""

    checks: tuple[Check, ...]
    none: str
    own: tuple[str, ...]


def known_checks(table: Path = TABLE) -> dict[str, Known]:
    """Return the table of checks by property."""
    return {name: _known(entry) for name, entry in tomllib.loads(table.read_text(encoding="utf-8")).items()}


def _known(entry: Mapping[str, Any]) -> Known:
    checks = tuple(Check(**row) for row in entry.get("checks", ()))
    return Known(checks, entry.get("none", ""), tuple(entry.get("own", ())))


def section(catalogue: Catalogue, known: Mapping[str, Known]) -> str:
    """Return the generated part of the README's section, without a last line end."""
    return "\n".join([_counts(catalogue), "", *_checks(known), "", *_sources(catalogue)])


def _figures(catalogue: Catalogue) -> list[Figure]:
    figures = [figure for name in catalogue for figure in catalogue[name].figures.values()]
    figures += [point.strength for name in catalogue for point in catalogue[name].reference_points]
    return [*figures, *catalogue.model.values()]


def _counts(catalogue: Catalogue) -> str:
    figures = _figures(catalogue)
    sure = Counter(how_sure(figure.source, figure.note, catalogue) for figure in figures)
    parts = ", ".join(f"{count} {words}" for words, count in sure.most_common())
    return f"Of the {len(figures)} shipped figures: {parts}."


def _checks(known: Mapping[str, Known]) -> Iterator[str]:
    yield "| property | good for | checked against | what is not |"
    yield "| --- | --- | --- | --- |"
    for name, each in known.items():
        printed = "; ".join(dict.fromkeys(check.words for check in each.checks)) or "own arithmetic alone"
        yield f"| `{name}` | {USES[quantity(name).use]} | {printed} | {each.none} |"


def _sources(catalogue: Catalogue) -> Iterator[str]:
    """Give the publications behind the shipped figures, those that were read first."""
    figures = _figures(catalogue)
    shipped = Counter(figure.source for figure in figures)
    read = Counter(
        figure.source
        for figure in figures
        if how_sure(figure.source, figure.note, catalogue) == "source read"
    )
    cited = [source for key, source in catalogue.sources.items() if key not in _PLAIN]
    yield "Read, in full or in part, with the number of shipped figures read in each:"
    yield ""
    for source in (source for source in cited if source.opened):
        yield f"- {source.citation} ({_taken(read[source.key], shipped[source.key])})"
    yield ""
    yield "Known from memory, not read, with the number of shipped figures taken from each:"
    yield ""
    for source in (source for source in cited if not source.opened):
        yield f"- {source.citation} ({shipped[source.key]})"
    yield ""


def _taken(read: int, shipped: int) -> str:
    """Return how many figures were read in a source, and how many more it only bears on."""
    if not shipped:
        return "doses and phases"
    if not read:
        return f"none; bears on {shipped}"
    return f"{read}" if read == shipped else f"{read}; bears on {shipped - read} more"
