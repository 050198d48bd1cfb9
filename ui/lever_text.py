"""Levers for time, as text and as JSON: what to do, what it then costs, how sure it is, and its risk."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from optimizer.job import Job
from optimizer.solution import Solution
from optimizer.studies.levers import Lever, levers, time_is_short
from optimizer.units import System, odds_words, show, show_amount
from ui.jobs import Asked
from ui.terminal import Block, heading, indented, sentence, table
from ui.unit_text import prose_in, typed_in
from ui.words import money

__all__ = ["lever_blocks", "levers_json", "levers_of"]


def levers_of(asked: Asked, solution: Solution) -> tuple[Lever, ...]:
    """Return the levers for a job that no blend can do for lack of time; none where time is not short."""
    if not time_is_short(solution):
        return ()
    return levers(asked.job, asked.catalogue, lambda job: replace(asked, job=job).parameters())


def levers_json(found: Sequence[Lever]) -> list[dict[str, Any]]:
    """Return the levers as JSON, cheapest first."""
    return [
        {
            "lever": lever.words,
            "edit": lever.edit,
            "cost": lever.solution.cost,
            "demold_time": _demold(lever),
            "chance": lever.chance,
            "blend": {} if lever.solution.mix is None else dict(lever.solution.mix.blend),
            "unpriced": lever.unpriced,
            "risk": lever.risk,
        }
        for lever in found
    ]


def lever_blocks(found: Sequence[Lever], job: Job, units: System) -> Iterator[Block]:
    """Give the levers, cheapest first, each with its cost, its chance and its risk."""
    if not found:
        return
    yield heading("Or hasten it: any one of these makes a blend possible")
    heads = ("do", "then a vessel costs", "demold time", "chance", "in the job")
    yield table(heads, [_row(lever, job, units) for lever in found])
    for lever in found:
        yield indented(f"{prose_in(lever.words, units)}: {lever.risk.rstrip('.')}.{_own_price(lever)}")
    yield sentence("A shorter set is a shorter pour: try it on one vessel first.")


def _row(lever: Lever, job: Job, units: System) -> tuple[str, ...]:
    cost = lever.solution.cost
    paid = "" if cost is None else money(cost, job.currency)
    chance = "" if lever.chance is None else odds_words(lever.chance)
    demold = show(_demold(lever), "demold_time", units)
    return prose_in(lever.words, units), paid, demold, chance, typed_in(lever.edit, units)


def _demold(lever: Lever) -> float:
    return float(lever.solution.properties["demold_time"].value)


def _own_price(lever: Lever) -> str:
    """Return what to know of an accelerator the job states no price for."""
    mix = lever.solution.mix
    if not lever.unpriced or mix is None:
        return ""
    grams = show_amount(mix.grams[lever.unpriced], "g", 2)
    return f" Its price is not in the job: {grams} a vessel come on top."
