"""What the predictions rest on, as text and as JSON: checks by property, trust in figures, publications."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from optimizer.materials import Catalogue
from optimizer.nomenclature import USES, quantity
from optimizer.specs.figure_sources import (
    Check,
    PropertyChecks,
    SourceUse,
    figures_by_trust,
    property_checks,
    publications,
)
from ui.terminal import Block, heading, indented, sentence


def sources_json(catalogue: Catalogue) -> dict[str, Any]:
    """Return checks by property, figures by how sure they are [count] and publications as JSON."""
    return {
        "properties": [_property_json(name, known) for name, known in property_checks().items()],
        "figures": figures_by_trust(catalogue),
        "publications": [
            {
                "key": use.source.key,
                "citation": use.source.citation,
                "read": use.source.opened,
                "figures": use.figures,
                "figures_read_in_it": use.read,
            }
            for use in publications(catalogue)
        ],
    }


def _property_json(name: str, known: PropertyChecks) -> dict[str, Any]:
    return {
        "name": name,
        "use": quantity(name).use,
        "checks": [
            {"source": check.source, "law_alone": check.law_alone, "test": check.test}
            for check in known.checks
        ],
        "not_checked": known.none,
        "own_arithmetic": list(known.own),
    }


def source_blocks(catalogue: Catalogue) -> Iterator[Block]:
    """Give what `sources_json` holds, without the names of tests."""
    yield from _figure_blocks(catalogue)
    yield heading("What each property is good for before any trial, and what it was checked against")
    for name, known in property_checks().items():
        yield from _property_blocks(name, known)
    yield from _publication_blocks(catalogue)


def _figure_blocks(catalogue: Catalogue) -> Iterator[Block]:
    counts = figures_by_trust(catalogue)
    parts = ", ".join(f"{count} {words}" for words, count in counts.items())
    yield sentence(f"Of the {sum(counts.values())} figures of materials and laws: {parts}.")
    yield sentence("Each figure with its source: vesselblend materials NAME")


def _property_blocks(name: str, known: PropertyChecks) -> Iterator[Block]:
    yield sentence(f"{name}: {USES[quantity(name).use]}", indent=2)
    checked = "; ".join(dict.fromkeys(map(_check_words, known.checks)))
    yield sentence(f"Checked against {checked or 'our own arithmetic alone'}.", indent=4)
    if known.none:
        yield sentence(f"Not checked: {known.none}.", indent=4)


def _check_words(check: Check) -> str:
    return f"{check.source}, the law alone" if check.law_alone else check.source


def _publication_blocks(catalogue: Catalogue) -> Iterator[Block]:
    uses = publications(catalogue)
    yield heading("Read, in full or in part, with the number of figures read in each")
    yield from (indented(f"{u.source.citation} ({_taken(u)})") for u in uses if u.source.opened)
    yield heading("Known from memory, not read, with the number of figures taken from each")
    yield from (indented(f"{u.source.citation} ({u.figures})") for u in uses if not u.source.opened)


def _taken(use: SourceUse) -> str:
    """Return how many figures were read in a source, and how many more it only bears on."""
    if not use.figures:
        return "doses and phases"
    if not use.read:
        return f"none; bears on {use.figures}"
    rest = use.figures - use.read
    return f"{use.read}; bears on {rest} more" if rest else f"{use.read}"
