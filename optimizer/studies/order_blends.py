"""An order with its blends: designs for both views of molds, second choices, single binders, ranked."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.errors import Fault, FileFaults
from optimizer.job import Job, Limit
from optimizer.materials import Catalogue
from optimizer.money.lateness_options import fast_enough
from optimizer.money.order import OrderPlan, Ranked, plan_order, rank_candidates
from optimizer.money.request import Candidate, OrderRequest, Times, check_candidate, check_request
from optimizer.money.vessel_cost import Switch, break_even
from optimizer.problem import Problem, problem_of
from optimizer.property_model.parameters import ParameterSet
from optimizer.property_model.predict import predict
from optimizer.property_model.samples import DrawSet, Samples, samples_of
from optimizer.solution import BURN_FIRST, Solution
from optimizer.studies.check import check
from optimizer.studies.design import design, designed_problem
from optimizer.studies.explain import named_alternatives
from optimizer.tables import data_frame, html_table
from optimizer.units import odds_words, show
from optimizer.verdict.judge import mix_of_grams

if TYPE_CHECKING:
    import pandas as pd

DESIGN = "designed blend"
SELECTED = "selected blend"
FOR_ORDER = "cheapest with molds charged"
FAST_ENOUGH = "fast enough for the molds owned"
SOONEST = "soonest out of the mold"

_DRAWS: Final = DrawSet(512, 4)
"""Draws for the range of a ready date: enough for whole days."""

_DUST = 1e-6
_TAUGHT = "calibrated"
"""Evidence of a figure that the caster's own trials stand behind."""


@dataclass(frozen=True)
class OrderAnswer:
    """An order planned with several blends.

    Attributes
    ----------
    request : OrderRequest
        What was asked.
    ranked : tuple[Ranked, ...]
        Plans, those of blends as sure as the job asks first, and of these the one of the lowest expected
        cost with molds charged to the order; empty when no blend meets the limits.
    solutions : Mapping[str, Solution]
        The blend of each plan, by the name of its candidate.
    compared : tuple[str, str] | None
        The blends of `switches`: the first with molds charged, and the first with wear only, or the second
        where one blend is first in both.
    switches : tuple[Switch, ...]
        Sizes of an order at which the two change places.
    no_blend : Solution | None
        Why there is no plan, when no blend meets the limits.
    selected : str
        Name of the blend that is planned, whatever ranks first.
    """

    request: OrderRequest
    ranked: tuple[Ranked, ...]
    solutions: Mapping[str, Solution]
    compared: tuple[str, str] | None = None
    switches: tuple[Switch, ...] = ()
    no_blend: Solution | None = None
    selected: str = DESIGN

    @property
    def plan(self) -> OrderPlan:
        """The plan of the selected blend."""
        return next(row.plan for row in self.ranked if row.plan.candidate.name == self.selected)

    @property
    def solution(self) -> Solution:
        """The selected blend."""
        return self.solutions[self.selected]

    def selecting(self, name: str) -> OrderAnswer:
        """Return the answer with another of its blends selected.

        Raises
        ------
        FileFaults
            If there is no blend of that name.
        """
        names = [row.plan.candidate.name for row in self.ranked]
        if name not in names:
            repair = "Name a blend of the ranking, or give its powders with --blend."
            raise FileFaults([Fault("--plan", f"{name!r}", ", ".join(names), repair)])
        return replace(self, selected=name)

    def table(self) -> pd.DataFrame:
        """Return the plans, best first, one a row by the name of its blend; costs are per good vessel."""
        rows = (
            {"plan": each.plan.candidate.name, "ready": each.plan.ready, "in_time": each.plan.meets_date}
            | {"molds_to_buy": each.plan.molds_to_buy, "bottleneck": each.plan.bottleneck}
            | {"cost_molds_charged": each.plan.cost_order.per_good_vessel}
            | {"cost_mold_wear": each.plan.cost_wear.per_good_vessel}
            | {"joint_probability": each.plan.candidate.chance}
            for each in self.ranked
        )
        return data_frame(rows, "plan")

    def _repr_html_(self) -> str:
        """Return the plans for a notebook, best first, then the selected blend."""
        if self.no_blend is not None:
            return self.no_blend._repr_html_()
        heads = (
            "plan",
            "ready",
            "in time",
            "molds to buy",
            "cost, molds charged",
            "cost, mold wear",
            "chance",
        )
        plans = [each.plan for each in self.ranked]
        cells = [
            (
                plan.candidate.name,
                plan.ready or "never",
                "yes" if plan.meets_date else "no",
                plan.molds_to_buy,
                show(plan.cost_order.per_good_vessel, "cost"),
                show(plan.cost_wear.per_good_vessel, "cost"),
                odds_words(plan.candidate.chance or 0.0),
            )
            for plan in plans
        ]
        return html_table(heads, cells) + self.solution._repr_html_()


def candidate_of(name: str, solution: Solution, catalogue: Catalogue, *, trial: bool = True) -> Candidate:
    """Return a blend as an order sees it.

    An order counts the working window from powder meeting water, a property from the end of mixing. With
    `trial` a blend that no trial stands behind, or whose heat nobody has measured, is cast and burned first.
    """
    assert solution.mix is not None
    values = {key: prediction.value for key, prediction in solution.properties.items()}
    kilos = {key: 1e-3 * mass for key, mass in solution.mix.grams.items()}
    fine = {key for key in kilos if key != "water" and catalogue[key].role in ("pigment", "admixture")}
    return Candidate(
        name=name,
        powders={key: mass for key, mass in kilos.items() if key not in fine | {"water"}},
        admixtures={key: kilos[key] for key in kilos if key in fine},
        water=kilos["water"],
        demold_time=values["demold_time"],
        drying_time=values["drying_time"],
        working_window=values["working_window"] + solution.job.shop.mixing,
        coats=solution.coats,
        dry_mass=values["dry_mass"],
        never_cast=trial and _never_cast(solution),
        chance=solution.joint_probability,
        sure=(solution.joint_probability or 0.0) >= solution.job.confidence,
        beyond_best_values=_beyond_best_values(solution),
    )


def _drawn(solution: Solution, among: Problem, samples: Samples) -> tuple[Times, ...]:
    """Return what the times and coats of a blend may be, in draws of all the materials `among` has."""
    assert solution.mix is not None
    problem = among.with_job(solution.job)
    grams = np.array([solution.mix.grams.get(name, 0.0) for name in (*problem.names, "water")])
    cast = samples.cast(problem.conditions, mix_of_grams(problem, grams)[1][None, :])
    drawn = predict(cast, ("demold_time", "drying_time", "working_window", "sealer_coats"))
    columns = [np.broadcast_to(values, (_DRAWS.count, 1))[:, 0].tolist() for values in drawn.values()]
    return tuple(
        Times(demold, drying, window + solution.job.shop.mixing, coats)
        for demold, drying, window, coats in zip(*columns, strict=True)
    )


def _never_cast(solution: Solution) -> bool:
    burned = all(judged.judged != BURN_FIRST for judged in solution.limits)
    return not burned or solution.properties["demold_time"].evidence != _TAUGHT


def _beyond_best_values(solution: Solution) -> Mapping[str, float]:
    """Return what is paid on average beyond best values, by part; molds are charged by the plan."""
    best = solution.parts_at_best_values
    beyond = {name: part - best.get(name, 0.0) for name, part in solution.cost_parts.items()}
    return {name: each for name, each in beyond.items() if name != "molds" and math.isfinite(each)}


def plan_blends(
    job: Job,
    catalogue: Catalogue,
    request: OrderRequest,
    parameters: ParameterSet | None = None,
    *,
    selected: Solution | None = None,
    trial: bool = True,
) -> OrderAnswer:
    """Return the plans of an order for the blends worth looking at.

    Parameters
    ----------
    job, catalogue, parameters
        As for `optimizer.studies.design.design`.
    request : OrderRequest
        Size, dates, shop and prices of the order.
    selected : Solution | None
        The blend to plan, checked; default: the designed one.
    trial : bool
        Whether a blend never cast is cast and burned before the order.

    Raises
    ------
    FileFaults
        All faults of the order, or of the selected blend in it.
    """
    faults = check_request(request)
    if faults:
        raise FileFaults(faults)
    asked = replace(job, shop=request.shop)
    made = designed_problem(problem_of(asked, catalogue, parameters))
    unsure = made.found is not None and not made.found.sure
    best = made.explained(*(("relaxations",) if unsure else ()), "alternatives").solution
    if best.mix is None:
        return OrderAnswer(request, (), {}, no_blend=best)
    plan = plan_order(request, candidate_of(DESIGN, best, catalogue, trial=trial))
    own = () if selected is None or selected.mix is None else ((SELECTED, selected),)
    found = [
        *own,
        (DESIGN, best),
        *_with_molds_charged(job, catalogue, request, plan, parameters),
        *_fast_enough(asked, catalogue, plan, parameters),
        *_soonest(asked, catalogue, plan, parameters),
    ]
    blends = dict(_distinct({**dict(found), **dict(_others(asked, best, catalogue, parameters))}))
    chosen = found[0][0]
    used = [each for blend in blends.values() if blend.mix is not None for each in blend.mix.blend]
    among = problem_of(asked, catalogue, parameters, extra=tuple(used))
    samples = samples_of(catalogue, among.names, among.parameters, _DRAWS)
    candidates = [
        replace(candidate_of(name, blend, catalogue, trial=trial), drawn=_drawn(blend, among, samples))
        for name, blend in blends.items()
    ]
    able = [each for each in candidates if each.name == chosen or not check_candidate(each, request)]
    ranked = rank_candidates(request, able, keep=chosen)
    return with_switches(OrderAnswer(request, ranked, blends, selected=chosen))


def _with_molds_charged(
    job: Job, catalogue: Catalogue, request: OrderRequest, plan: OrderPlan, parameters: ParameterSet | None
) -> Iterator[tuple[str, Solution]]:
    """Design again with the molds bought charged to the order, where the cheapest blend buys any."""
    if plan.molds_to_buy == 0 and plan.meets_date:
        return
    vessels, days = max(1, request.vessels), plan.line.casting_days
    shop = replace(request.shop, mold_view="order", order_vessels=vessels, order_days=days)
    yield FOR_ORDER, design(replace(job, shop=shop), catalogue, parameters, explain=False)


def _fast_enough(
    job: Job, catalogue: Catalogue, plan: OrderPlan, parameters: ParameterSet | None
) -> Iterator[tuple[str, Solution]]:
    """Design the cheapest blend whose turns make the date with the molds owned, if the cheapest is late."""
    if plan.ready_owned is not None and plan.ready_owned <= plan.request.due:
        return
    longest = fast_enough(plan.request, plan.candidate)
    if longest is not None:
        others = [each for each in job.limits if (each.property, each.sense) != ("demold_time", "<=")]
        limits = (*others, Limit("demold_time", "<=", longest))
        yield FAST_ENOUGH, design(replace(job, limits=limits), catalogue, parameters, explain=False)


def _soonest(
    job: Job, catalogue: Catalogue, plan: OrderPlan, parameters: ParameterSet | None
) -> Iterator[tuple[str, Solution]]:
    """Design the blend that leaves its mold first, where the cheapest misses the date."""
    if not plan.meets_date:
        quick = replace(job, objective="demold_time", maximize=False)
        yield SOONEST, design(quick, catalogue, parameters, explain=False)


def _others(
    job: Job, best: Solution, catalogue: Catalogue, parameters: ParameterSet | None
) -> Iterator[tuple[str, Solution]]:
    for name, other in named_alternatives(best.alternatives, catalogue):
        yield name, check(job, other.blend, catalogue, other.water_ratio, parameters)


def _distinct(blends: Mapping[str, Solution]) -> Iterator[tuple[str, Solution]]:
    """Leave out a blend that another name already stands for."""
    seen: list[Mapping[str, float]] = []
    for name, blend in blends.items():
        if blend.mix is None:
            continue
        grams = blend.mix.grams
        if not any(_same(grams, other) for other in seen):
            seen.append(grams)
            yield name, blend


def _same(first: Mapping[str, float], second: Mapping[str, float]) -> bool:
    return all(abs(first.get(n, 0.0) - second.get(n, 0.0)) < _DUST for n in first.keys() | second.keys())


def with_switches(answer: OrderAnswer) -> OrderAnswer:
    """Return the answer with the sizes at which its best two blends change places."""
    by_wear = sorted(answer.ranked, key=lambda row: row.rank_wear)
    others = [row for row in (*by_wear[:1], *answer.ranked[1:]) if row is not answer.ranked[0]]
    if not others:
        return answer
    first, second = answer.ranked[0].plan, others[0].plan
    switches = break_even(first.line, second.line, answer.request.shop)
    return replace(answer, compared=(first.candidate.name, second.candidate.name), switches=switches)


def shop_request(
    job: Job, vessels: int, start: datetime.date, due: datetime.date, molds: int | None
) -> OrderRequest:
    """Return the request of an order in the job's shop, with `molds` owned in place of the job's."""
    shop = job.shop if molds is None else replace(job.shop, molds=molds)
    return OrderRequest(vessels, start, due, shop, job.prices)
