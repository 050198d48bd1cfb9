"""The frontier as text: a few blends from end to end, the bend, and what to ask next."""

from __future__ import annotations

from collections.abc import Iterator

from optimizer.nomenclature import QUANTITIES
from optimizer.studies.frontier import Frontier, FrontierBlend
from optimizer.units import System
from ui.jobs import Asked
from ui.terminal import Block, heading, sentence, table
from ui.words import blend_words, money, value_words

__all__ = ["frontier_blocks"]

_ROWS = 12


def frontier_blocks(found: Frontier, asked: Asked, units: System) -> Iterator[Block]:
    """Yield the frontier: about a dozen blends from one end to the other, the bend marked."""
    labels = [QUANTITIES[name].label for name in found.over]
    yield heading("Give and take: " + ", ".join(labels))
    yield sentence(f"{len(found.blends)} blends meet every limit and none beats another in all of these.")
    places = _spread(len(found.blends), found.knee)
    rows = [_row(found, found.blends[k], asked, units, k == found.knee) for k in places]
    yield table([*labels, "", "blend"], rows, right=tuple(range(len(labels))))
    if found.knee is not None:
        yield sentence("Bend: beyond it each step of one quantity costs more of the other.", gap=True)
    proofs = [blend.proof for blend in found.blends if blend.proof is not None]
    if proofs:
        proved = sum(proof.proved for proof in proofs)
        yield sentence(f"Proved within 0.1 % of the best at its level: {proved} of {len(proofs)}.", gap=True)
    yield sentence("--csv gives every blend; --json all of its properties.", gap=True)


def _spread(count: int, knee: int | None) -> list[int]:
    """Return about a dozen places from first to last, the bend among them."""
    step = max(1, -(-count // _ROWS))
    places = {*range(0, count, step), count - 1}
    return sorted(places | (set() if knee is None else {knee}))


def _row(found: Frontier, blend: FrontierBlend, asked: Asked, units: System, bend: bool) -> list[str]:
    cells = [
        money(blend.values[name], asked.job.currency)
        if name == "cost"
        else value_words(name, blend.values[name], units)
        for name in found.over
    ]
    return [*cells, "bend" if bend else "", blend_words(blend.blend, asked.catalogue)]
