"""The frontier as text: a few blends from end to end, the bend, cautions, and what to ask next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from optimizer.nomenclature import QUANTITIES
from optimizer.problem import Problem
from optimizer.studies.frontier import Frontier, FrontierBlend
from optimizer.units import System
from optimizer.verdict.judge import judge
from ui.answer_text import EXAMPLE_PRICES
from ui.bend_text import bend_words
from ui.card import CARD_CAUTIONS
from ui.terminal import Block, heading, indented, sentence, table
from ui.words import blend_words, money, value_words

__all__ = ["frontier_blocks"]

_ROWS = 12


def frontier_blocks(found: Frontier, problem: Problem, units: System) -> Iterator[Block]:
    """Yield the frontier: about a dozen blends from one end to the other, the bend marked, and cautions.

    Parameters
    ----------
    found : Frontier
        The blends.
    problem : Problem
        What they were solved for.
    units : str
        ``metric`` or ``us`` [-].
    """
    job = problem.job
    labels = [QUANTITIES[name].label for name in found.over]
    places = _spread(len(found.blends), found.knee)
    yield sentence(job.title, "bold")
    yield sentence(f"{len(found.blends)} blends meet every limit and none beats another in all of these.")
    if "cost" in found.over and job.example_prices:
        yield sentence(EXAMPLE_PRICES)
    yield heading("Trade-offs: " + ", ".join(labels))
    yield table([*labels, "", "blend"], _rows(found, places, problem, units), right=tuple(range(len(labels))))
    if found.knee is not None:
        bend = _values(found, found.blends[found.knee], problem, units)
        yield sentence(f"Bend: {bend_words(found.over, bend)}", gap=True)
    proofs = [blend.proof for blend in found.blends if blend.proof is not None]
    if proofs:
        proved = sum(proof.proved for proof in proofs)
        yield sentence(f"Proved within 0.1 % of the best at its level: {proved} of {len(proofs)}.", gap=True)
    yield heading("Cautions, for one or more of these blends")
    yield from map(indented, _cautions(problem, [found.blends[k] for k in places]))
    yield sentence("--csv gives every blend; --json all of its properties.", gap=True)


def _cautions(problem: Problem, blends: Sequence[FrontierBlend]) -> Iterator[str]:
    """Yield the short cautions of all these blends together, in the order of the card."""
    keys: set[str] = set()
    for blend in blends:
        grams = np.asarray(blend.mix) * problem.liters * 1e3
        keys.update(judge(problem, grams).cautions)
    yield from (words for key, words in CARD_CAUTIONS.items() if key in keys)


def _spread(count: int, knee: int | None) -> list[int]:
    """Return about a dozen places from first to last, the bend among them."""
    step = max(1, -(-count // _ROWS))
    places = {*range(0, count, step), count - 1}
    return sorted(places | (set() if knee is None else {knee}))


def _rows(
    found: Frontier, places: Sequence[int], problem: Problem, units: System
) -> Iterator[tuple[str, ...]]:
    """Yield the rows as printed, none twice; the bend stays."""
    cells = {place: _cells(found, found.blends[place], problem, units) for place in places}
    kept = {row: place for place, row in cells.items() if place != found.knee}
    if found.knee is not None:
        kept[cells[found.knee]] = found.knee
    for place, row in cells.items():
        if kept[row] == place:
            yield (*row[:-1], "bend" if place == found.knee else "", row[-1])


def _cells(found: Frontier, blend: FrontierBlend, problem: Problem, units: System) -> tuple[str, ...]:
    return (*_values(found, blend, problem, units), blend_words(blend.blend, problem.catalogue))


def _values(found: Frontier, blend: FrontierBlend, problem: Problem, units: System) -> tuple[str, ...]:
    return tuple(
        money(blend.values[name], problem.job.currency)
        if name == "cost"
        else value_words(name, blend.values[name], units)
        for name in found.over
    )
