"""Levers for time, as text and as JSON: what to do, what it then costs, how sure it is, and its risk."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from optimizer.job import Job
from optimizer.solution import Solution
from optimizer.studies.levers import Lever, levers, time_is_short
from optimizer.units import System, odds_words, show, show_amount
from ui.delivery import say
from ui.jobs import Asked
from ui.terminal import Block, heading, indented, sentence, table
from ui.unit_text import prose_in, typed_in
from ui.words import money


def levers_of(asked: Asked, solution: Solution) -> tuple[Lever, ...]:
    """Return the levers for a job that lacks time for a sure answer; none where time is not short."""
    if not time_is_short(solution):
        return ()
    say("Time is short: trying warm water, a warmer room and accelerators; this may take a minute.")
    return levers(asked.job, asked.catalogue, lambda job: replace(asked, job=job).parameters(), solution)


def levers_json(found: Sequence[Lever]) -> list[dict[str, Any]]:
    """Return the levers as JSON, cheapest first."""
    return [
        {
            "lever": lever.words,
            "edits": [edit for step in lever.steps for edit in step.edits],
            "cost": lever.solution.cost,
            "demold_time": _demold(lever),
            "chance": lever.chance,
            "sure_enough": lever.sure,
            "blend": {} if lever.solution.mix is None else dict(lever.solution.mix.blend),
            "unpriced": list(lever.unpriced),
            "risks": [step.risk for step in lever.steps],
        }
        for lever in found
    ]


def lever_blocks(found: Sequence[Lever], job: Job, units: System, *, looked: bool) -> Iterator[Block]:
    """Give the levers, cheapest first, each with its cost, its chance and its risk; `looked`: also none."""
    if not found:
        if looked:
            yield sentence(f"{lever_heading(found, job)}.", gap=True)
        return
    yield heading(lever_heading(found, job))
    heads = ("do", "then a vessel costs", "all limits together", "demold time")
    yield table(heads, [_row(lever, job, units) for lever in found])
    for step in dict.fromkeys(step for lever in found for step in lever.steps):
        edits = "; ".join(typed_in(edit, units) for edit in step.edits)
        yield indented(f"{prose_in(step.words, units)} ({edits}): {step.risk.rstrip('.')}.")
    for lever in found:
        yield from map(indented, price_notes(lever, units))
    yield sentence("A shorter set is a shorter pour: try it on one vessel first.")


def lever_heading(found: Sequence[Lever], job: Job) -> str:
    """Return what the levers found, cheapest or surest first, do for a job."""
    asked = f"{100.0 * job.confidence:.0f} %"
    if not found:
        window = any(limit.property == "working_window" for limit in job.limits)
        why = ": what hastens demolding shortens the pouring time, which has a limit, too" if window else ""
        return f"Warm water, a warmer room and accelerators, alone or together, make nothing surer here{why}"
    if found[0].sure:
        return f"Or hasten it: any one of these lets a blend hold with {asked}"
    return f"Hastening it helps, but no lever lets a blend hold with {asked}"


def _row(lever: Lever, job: Job, units: System) -> tuple[str, ...]:
    cost = lever.solution.cost
    paid = "" if cost is None else money(cost, job.currency)
    return prose_in(lever.words, units), paid, odds_words(lever.chance), demold_words(lever, units)


def _demold(lever: Lever) -> float:
    return float(lever.solution.properties["demold_time"].value)


def demold_words(lever: Lever, units: System) -> str:
    """Return the demold time with a lever."""
    return show(_demold(lever), "demold_time", units)


def price_notes(lever: Lever, units: System) -> Iterator[str]:
    """Give what to know of accelerators the job states no price for."""
    mix = lever.solution.mix
    for name in lever.unpriced if mix is not None else ():
        assert mix is not None
        grams = show_amount(mix.grams[name], "g", 2)
        label = name.replace("_", " ")
        yield f"To {prose_in(lever.words, units)}: {grams} of {label} a vessel; its price is not in the cost."
