"""The catalogue and one material, as text and as JSON: every figure with range, source and how sure it is.

With what the predictions rest on: checks by property, trust in figures, publications.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from optimizer.key_kinds import shown_unit
from optimizer.materials import Catalogue, Figure, Material, ReferencePoint
from optimizer.nomenclature import CAUTIONS, USES, quantity
from optimizer.specs.figure_sources import (
    Check,
    PropertyChecks,
    SourceUse,
    figures_by_trust,
    how_sure,
    property_checks,
    publications,
)
from optimizer.units import System, show_amount
from optimizer.verdict.evidence import cement_notes
from ui.terminal import Block, heading, indented, sentence, table
from ui.words import span_words

_DIGITS: Final = 4
_HOURS: Final = 48 * 60.0


def catalogue_json(catalogue: Catalogue) -> dict[str, Any]:
    """Return the list of materials as JSON."""
    keys = ("name", "label", "role", "kind", "note")
    return {"materials": [{key: getattr(catalogue[name], key) for key in keys} for name in catalogue]}


def catalogue_blocks(catalogue: Catalogue) -> Iterator[Block]:
    """Give the list of materials."""
    rows = [[name, catalogue[name].role, catalogue[name].note or catalogue[name].label] for name in catalogue]
    yield table(("material", "role", "what it is"), rows)
    yield sentence("Every figure of one of them, with its source: vesselblend materials NAME", gap=True)
    yield sentence("What the predictions were checked against: vesselblend materials --sources")


def material_json(material: Material, catalogue: Catalogue) -> dict[str, Any]:
    """Return everything known of a material as JSON; figures keep the units of their spec."""
    figures = {name: _figure_json(figure, catalogue) for name, figure in material.figures.items()}
    points = [
        {
            **_figure_json(point.strength, catalogue),
            "age_min": point.age,
            "state": point.state,
            "water_ratio": point.water_ratio,
            "added_sand": point.added_sand,
        }
        for point in material.reference_points
    ]
    phases = {"shares": dict(material.phases), "source": material.phases_source, "note": material.phases_note}
    return {
        **{key: getattr(material, key) for key in ("name", "label", "role", "kind", "cement", "note")},
        "phases": phases if material.phases else None,
        "figures": figures,
        "reference_points": points,
        "dose_levels_percent": list(material.dose_levels),
        "cautions": [CAUTIONS[key] for key in material.cautions if key in CAUTIONS],
        "notes": list(cement_notes(catalogue, (material.name,))),
        "file": material.path,
    }


def material_blocks(material: Material, catalogue: Catalogue, units: System) -> Iterator[Block]:
    """Give every figure of a material with range, unit, source, note and how sure it is."""
    yield sentence(f"{material.name}: {material.label}", "bold")
    yield sentence(f"{material.kind} {material.role}. {material.note}".strip())
    yield heading("Figures (likely range: 5 % to 95 %)")
    rows = [[_spoken(words), *_row(figure, catalogue, units)] for words, figure in _all(material)]
    yield table(("figure", "value", "likely range", "how sure", "source"), rows)
    if material.phases:
        shares = ", ".join(
            f"{name.replace('_', ' ')} {100.0 * share:g} %" for name, share in material.phases.items()
        )
        sure = how_sure(material.phases_source, material.phases_note, catalogue)
        yield sentence(f"phases by mass: {shares} ({sure}; source: {material.phases_source})", indent=2)
    if material.dose_levels:
        yield sentence(f"doses tried: {', '.join(f'{dose:g} %' for dose in material.dose_levels)}", indent=2)
    yield from _notes(material)
    yield from (sentence(note, gap=True) for note in cement_notes(catalogue, (material.name,)))
    yield heading("Sources")
    for key in sorted({figure.source for _, figure in _all(material)} | ({material.phases_source} - {""})):
        yield indented(f"{key}: {catalogue.sources[key].citation}.")
    yield sentence(f"File: {material.path}", gap=True)


def figure_rows(material: Material, catalogue: Catalogue, units: System) -> list[dict[str, str]]:
    """Return every figure of a material as a row: name, value, range, how sure it is, source, note."""
    heads = ("figure", "value", "likely", "how sure", "source", "note")
    rows = []
    for words, figure in _all(material):
        value, span, sure, source = _row(figure, catalogue, units)
        cells = (_spoken(words), value, span, sure, catalogue.sources[source].citation, figure.note)
        rows.append(dict(zip(heads, cells, strict=True)))
    return rows


def _spoken(name: str) -> str:
    return name.replace("_", " ").replace("co2", "CO2")


def _all(material: Material) -> Iterator[tuple[str, Figure]]:
    yield from material.figures.items()
    for point in material.reference_points:
        yield _point_words(point), point.strength


def _point_words(point: ReferencePoint) -> str:
    age = f"{point.age / 60.0:g} h" if point.age <= _HOURS else f"{point.age / 1440.0:g} d"
    sand = f", {point.added_sand:g} parts sand added" if point.added_sand else ""
    return f"strength, {point.state}, {age}, water ratio {point.water_ratio:g}{sand}"


def _row(figure: Figure, catalogue: Catalogue, units: System) -> list[str]:
    value, low, high = (_shown(each, figure.unit, units) for each in (figure.value, figure.low, figure.high))
    span = "exact" if low == high else span_words(low, high)
    return [value, span, how_sure(figure.source, figure.note, catalogue), figure.source]


def _shown(value: float, unit: str, units: System) -> str:
    if units == "us" or unit == "fraction":
        number, _, word = show_amount(value, unit, _DIGITS, units).partition(" ")
        return f"{float(number):g} {word}".strip()
    return f"{value:g} {shown_unit(unit)}".strip()


def _notes(material: Material) -> Iterator[Block]:
    told = [(words, figure.note) for words, figure in _all(material) if figure.note]
    if material.phases_note:
        told.append(("phases", material.phases_note))
    if told:
        yield heading("Notes")
        yield from (indented(f"{words.replace('_', ' ')}: {note}.") for words, note in told)


def _figure_json(figure: Figure, catalogue: Catalogue) -> dict[str, Any]:
    return {
        "value": figure.value,
        "low": figure.low,
        "high": figure.high,
        "unit": figure.unit,
        "source": figure.source,
        "citation": catalogue.sources[figure.source].citation,
        "how_sure": how_sure(figure.source, figure.note, catalogue),
        "note": figure.note,
    }


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
