"""The frontier as text: a few blends from end to end, the bend, cautions, and what to ask next.

Where it bends is said by which way it gets dear.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from optimizer.materials import Catalogue
from optimizer.nomenclature import CHANCE, quantity
from optimizer.problem import Problem
from optimizer.studies.frontier import Frontier, FrontierBlend
from optimizer.units import System, odds_words
from optimizer.verdict.judge import judge
from ui.answer_text import EXAMPLE_PRICES
from ui.card import CARD_CAUTIONS
from ui.terminal import Block, heading, indented, sentence, table
from ui.words import grams_words, label_of, money, value_words

_ROWS = 12
_ALL_LIMITS: Final = "all limits"
_HEADS: Final = {"cost": "cost", CHANCE.name: _ALL_LIMITS}
"""Heads of columns that are shorter than the label, which stands above the table."""

_WAYS: Final = {"lower": ("below", "a higher one"), "higher": ("above", "a lower one")}
_OWN_WORDS: Final = {"demold_time": ("Getting out of the mold sooner than", "waiting longer")}
_EACH: Final = {"min": "minute", "d": "day", "g": "gram", "oz": "ounce", "%": "percent"}


def frontier_blocks(found: Frontier, problem: Problem, units: System) -> Iterator[Block]:
    """Yield the frontier: about a dozen blends from one end to the other, the bend marked, and cautions.

    Parameters
    ----------
    units : str
        ``metric`` or ``us`` [-].
    """
    job = problem.job
    labels = [quantity(name).label for name in found.over]
    short = [_HEADS.get(name, quantity(name).label) for name in found.over]
    heads = [*short, *_extra(found), "", "water ratio", _mix_head(found)]
    places = _spread(len(found.blends), found.knee)
    yield sentence(job.title, "bold")
    yield sentence(_told(found, problem))
    if "cost" in found.over and job.example_prices:
        yield sentence(EXAMPLE_PRICES)
    yield heading("Trade-offs: " + ", ".join(labels))
    yield table(heads, _rows(found, places, problem, units), right=tuple(range(len(heads) - 3)))
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


def _told(found: Frontier, problem: Problem) -> str:
    """Return how many blends there are and how surely they meet the limits."""
    many, asked = len(found.blends) > 1, odds_words(problem.job.confidence)
    count = f"{len(found.blends)} blends" if many else "One blend"
    count += ", none of which beats another in all of these" if many else ""
    if CHANCE.name in found.over:
        return f"{count}; each meets all limits together with the chance beside it."
    sure = min(blend.joint_probability for blend in found.blends)
    if sure >= problem.job.confidence:
        return f"{count}; each meets all limits together with {asked} or more."
    return f"{count}. {'Not each' if many else 'None'} is as sure as the {asked} asked for: see its chance."


def _extra(found: Frontier) -> list[str]:
    """Return the head of the column of chances, where they are not traded themselves."""
    return [] if CHANCE.name in found.over else [_ALL_LIMITS]


def _mix_head(found: Frontier) -> str:
    return f"one mix for {most}" if (most := _vessels(found)) else "one mix"


def _vessels(found: Frontier) -> int:
    """Return the vessels of a mix where they are the same for all blends; 0 where not."""
    counts = {blend.vessels_per_mix for blend in found.blends}
    return counts.pop() if len(counts) == 1 else 0


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
            yield (*row[:-2], "bend" if place == found.knee else "", *row[-2:])


def _cells(found: Frontier, blend: FrontierBlend, problem: Problem, units: System) -> tuple[str, ...]:
    sure = [odds_words(blend.joint_probability) for _ in _extra(found)]
    mix = _mix(found, blend, problem.catalogue, units)
    return (*_values(found, blend, problem, units), *sure, f"{blend.water_ratio:.3f}", mix)


def _mix(found: Frontier, blend: FrontierBlend, catalogue: Catalogue, units: System) -> str:
    """Return what to weigh for one mix, in the order of weighing."""
    portions = () if blend.batch is None else blend.batch.portions
    words = [f"{grams_words(x.grams, x.step, units)} {label_of(x.name, catalogue)}" for x in portions]
    count = "" if _vessels(found) else f"for {blend.vessels_per_mix}: "
    return f"{count}{', '.join(words)}"


def _values(found: Frontier, blend: FrontierBlend, problem: Problem, units: System) -> tuple[str, ...]:
    return tuple(
        money(blend.values[name], problem.job.currency)
        if name == "cost"
        else value_words(name, blend.values[name], units)
        for name in found.over
    )


def bend_words(over: Sequence[str], told: Sequence[str]) -> str:
    """Return on which side of the bend of a frontier the first quantity gets dear.

    The bend lies farthest below the line from end to end, so on the average of each side this is always so;
    no more is said of each single step.

    Parameters
    ----------
    over : Sequence[str]
        Quantities of the frontier, the one given first.

    Examples
    --------
    >>> bend_words(("cost", "demold_time"), ("7 EUR", "51 min"))
    'Getting out of the mold sooner than 51 min (7 EUR) costs more for each minute than waiting longer saves.'
    >>> bend_words(("cost", "whiteness"), ("7.5 EUR", "86.0"))
    'A whiteness L* above 86.0 (7.5 EUR) costs more for each point than a lower one saves.'
    >>> bend_words(("cost", "whiteness"), ("7.5 EUR", "whiteness L* 86.0"))
    'A whiteness L* above 86.0 (7.5 EUR) costs more for each point than a lower one saves.'
    """
    if len(over) > 2:
        return f"Past the bend at {', '.join(told)} each gets better only at a growing price in the others."
    given, taken = over[0], over[1]
    side, back = _WAYS[quantity(taken).better]
    first, other = _OWN_WORDS.get(taken, (f"A {quantity(taken).label} {side}", back))
    bound = told[1].removeprefix(f"{quantity(taken).label} ")  # one without a unit carries its name
    unit = bound.rpartition(" ")[2] if " " in bound else ""
    each = _EACH.get(unit, unit) or "point"
    if given == "cost":
        return f"{first} {bound} ({told[0]}) costs more for each {each} than {other} saves."
    label = quantity(given).label
    return f"{first} {bound} ({told[0]}) costs more {label} for each {each} than {other} gives back."
