"""What the optimizer answers to a job's text, kept for as long as the page is served.

Every function takes the text of a job that reads without fault and returns frozen records. The same text
gives the same answer, so the text is the key under which an answer is kept.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
import streamlit as st

from optimizer.batch import Batch, batch_of
from optimizer.check import Comparison, check, compare, grams_of_blend
from optimizer.confidence import Doubt
from optimizer.cost_range import cost_range
from optimizer.design import design
from optimizer.errors import NoBlend
from optimizer.frontier import Frontier, frontier
from optimizer.job import Job
from optimizer.jobfile import parse_job, template
from optimizer.judge import judge, solution_of, worst_verdict
from optimizer.materials import Catalogue
from optimizer.money.breakeven import OrderLine, Switch, break_even, order_money
from optimizer.money.landed import Landed, landed_price
from optimizer.money.ranking import rank_candidates
from optimizer.order_blends import OrderAnswer, candidate_of, plan_blends, shop_request
from optimizer.problem import problem_of
from optimizer.shop import Price, Shop
from optimizer.solution import Solution
from optimizer.specs import load_catalogue
from ui.blends import DESIGNED, blend_of, blend_text
from ui.jobs import read_blend, read_water_ratio
from ui.words import label_of

__all__ = [
    "DEMO",
    "Traded",
    "batch",
    "catalogue",
    "checked",
    "cost_span",
    "demo_job",
    "designed",
    "in_hand",
    "job_of",
    "traded",
]

DEMO: Final = template("demo")
"""Text of the shipped demo job."""

IN_HAND: Final = "picked by you"
"""Name of the picked blend among others."""

CURVE_POINTS: Final = 120
"""Sizes of an order at which a curve is drawn, about."""


def catalogue() -> Catalogue:
    """Return the materials and their figures."""
    return load_catalogue()


@st.cache_data(max_entries=64, show_spinner=False)
def job_of(text: str) -> Job:
    """Return the job of a text."""
    return parse_job(text, catalogue(), "job")


def demo_job() -> Job:
    """Return the shipped demo job."""
    return job_of(DEMO)


@st.cache_data(max_entries=64, show_spinner=False)
def designed(text: str, explain: bool) -> Solution:
    """Return the best blend of a job; with `explain`, what each limit costs and the blends beside it."""
    return design(job_of(text), catalogue(), explain=explain)


@st.cache_data(max_entries=512, show_spinner=False)
def checked(text: str, blend: str) -> Solution | None:
    """Return the verdict on a blend given as text; None when the text is no blend."""
    read = blend_of(blend, catalogue())
    return None if read is None else check(job_of(text), read[0], catalogue(), read[1])


def in_hand(text: str, blend: str) -> Solution:
    """Return the answer for the blend in hand: the design's own, or the one that was picked."""
    picked = checked(text, blend) if blend != DESIGNED else None
    return picked or designed(text, explain=False)


@st.cache_data(max_entries=128, show_spinner=False)
def cost_span(text: str, blend: str) -> tuple[float, float] | None:
    """Return the likely range of the cost of the blend in hand [currency]."""
    return cost_range(in_hand(text, blend), catalogue())


@st.cache_data(max_entries=128, show_spinner=False)
def batch(text: str, blend: str, vessels: int) -> Batch | None:
    """Return what to weigh for `vessels` vessels of the blend in hand; None without a blend."""
    try:
        return batch_of(in_hand(text, blend), catalogue(), vessels)
    except NoBlend:
        return None


@dataclass(frozen=True)
class Traded:
    """A frontier with all that is shown of it.

    Attributes
    ----------
    front : Frontier
        The blends.
    solutions : tuple[Solution, ...]
        Each blend judged.
    spans : tuple[tuple[float, float] | None, ...]
        Likely range of each cost [currency].
    binders : Mapping[str, Solution]
        The best mix of each binder alone, by name.
    csv : str
        The frontier's table as CSV.
    """

    front: Frontier
    solutions: tuple[Solution, ...]
    spans: tuple[tuple[float, float] | None, ...]
    binders: Mapping[str, Solution]
    csv: str


@st.cache_data(max_entries=16, show_spinner=False)
def traded(text: str, over: tuple[str, ...], points: int) -> Traded:
    """Return the frontier of two or three quantities; raises `NoBlend` when no blend meets the limits."""
    problem = problem_of(job_of(text), catalogue())
    doubt, best = Doubt(problem), designed(text, explain=True)
    if best.mix is None:
        raise NoBlend("no blend meets the limits")
    shifts = doubt.shifts(problem.job.limits, np.array(best.mix.per_liter), problem.job.confidence)
    front = frontier(problem, over, points, shifts)
    judged = [
        judge(problem, grams_of_blend(problem, each.blend, each.water_ratio), doubt) for each in front.blends
    ]
    solutions = tuple(solution_of(problem, worst_verdict(each.limits), each) for each in judged)
    alone = {
        f"{label_of(next(iter(each.blend)), catalogue())} alone": check(
            problem.job, each.blend, catalogue(), each.water_ratio
        )
        for each in best.alternatives
        if each.name.endswith(" alone")
    }
    spans = tuple(cost_range(each, catalogue()) for each in solutions)
    return Traded(front, solutions, spans, alone, pd.DataFrame(front.table()).to_csv(index=False))


@st.cache_data(max_entries=64, show_spinner=False)
def others(text: str) -> dict[str, Solution]:
    """Return the blends beside the best one, judged: binders alone that meet the limits, then near ties."""
    found: dict[str, Solution] = {}
    able = [
        each
        for each in designed(text, explain=True).alternatives
        if each.blend and each.objective is not None
    ]
    for each in sorted(able, key=lambda other: not other.name.endswith(" alone")):
        name = label_of(max(each.blend, key=lambda n: each.blend[n]), catalogue())
        known = f"{name} alone" if each.name.endswith(" alone") else f"near tie, mostly {name}"
        place = sum(1 for other in found if other.startswith(known))
        solution = check(job_of(text), each.blend, catalogue(), each.water_ratio)
        found[f"{known} ({place + 1})" if place else known] = solution
    return found


def typed_blend(parts: str, water: str) -> str:
    """Return a blend typed as ``name=parts; ...`` and its water ratio as text.

    Raises
    ------
    VesselblendError
        With everything wrong with it.
    """
    blend = read_blend(parts, catalogue(), "candidate")
    whole = sum(blend.values())
    ratio = read_water_ratio(water or None)
    named = blend_text({name: part / whole for name, part in blend.items()}, ratio or 0.0)
    return named if ratio else named.partition("@")[0]


@st.cache_data(max_entries=128, show_spinner=False)
def compared(text: str, present: str, candidate: str) -> Comparison:
    """Return a candidate beside the blend in hand."""
    first = in_hand(text, present)
    second = first if candidate == _as_text(first) else checked(text, candidate)
    return compare(first, second or first)


def _as_text(solution: Solution) -> str:
    return "" if solution.mix is None else blend_text(solution.mix.blend, solution.mix.water_ratio)


@st.cache_data(max_entries=64, show_spinner=False)
def largest_saving(text: str, present: str) -> float | None:
    """Return what the cheapest blend that meets every limit saves against the blend in hand [currency]."""
    job = replace(job_of(text), objective="cost", maximize=False)
    return compare(in_hand(text, present), design(job, catalogue(), explain=False)).saving


@st.cache_data(max_entries=32, show_spinner=False)
def planned(text: str, blend: str, vessels: int, start: dt.date, due: dt.date, may_buy: bool) -> OrderAnswer:
    """Return the plans of an order for the blends worth looking at, the picked one among them.

    Raises
    ------
    FileFaults
        All faults of the order.
    """
    job = job_of(text)
    request = replace(shop_request(job, vessels, start, due, None), may_buy_molds=may_buy)
    answer = plan_blends(job, catalogue(), request)
    picked = checked(text, blend) if blend != DESIGNED else None
    if picked is None or picked.mix is None or not answer.ranked:
        return answer
    mine = candidate_of(IN_HAND, picked, catalogue())
    plans = [mine, *(row.plan.candidate for row in answer.ranked)]
    solutions = {IN_HAND: picked, **answer.solutions}
    return replace(answer, ranked=rank_candidates(request, plans, best=len(plans)), solutions=solutions)


@st.cache_data(max_entries=32, show_spinner=False)
def order_curve(
    first: OrderLine, second: OrderLine, shop: Shop, most: int
) -> tuple[pd.DataFrame, tuple[Switch, ...]]:
    """Return the cost of one vessel by order size for two blends, and where they change places."""
    step = max(1, most // CURVE_POINTS)
    rows = [
        {"vessels": size, "cost": order_money(line, size, shop) / size, "blend": line.name}
        for line in (first, second)
        for size in range(step, most + 1, step)
    ]
    return pd.DataFrame(rows), break_even(first, second, shop, most)


@st.cache_data(max_entries=64, show_spinner=False)
def price_steps(price: Price, wage: float, most: int) -> pd.DataFrame:
    """Return the landed price of a usable kilogram by the packs bought at once."""
    rows = [
        {"packs": packs, "price": landed_price(price, wage, packs).per_usable_kg}
        for packs in range(1, most + 1)
    ]
    return pd.DataFrame(rows)


@st.cache_data(max_entries=256, show_spinner=False)
def landed(price: Price, wage: float) -> Landed:
    """Return the landed price of a powder at the packs it is usually bought in."""
    return landed_price(price, wage)
