"""List everything that comes in steps, so that no step has to be met inside the smooth search."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise, product

from optimizer.formulation import Case
from optimizer.job import Limit
from optimizer.money.capacity import demold_edges
from optimizer.money.vessel_cost import cost_coefficients, shipping_edges
from optimizer.problem import Problem
from optimizer.properties.drying import coat_edges

__all__ = ["CostStep", "cases_of", "cases_under_doubt", "cost_steps", "sold_limits"]

_RESERVE = {"absorption": 0.01, "demold_time": 0.005, "dry_mass": 0.002}
"""Share by which a step of money is kept [-]: no coat or postage band hangs on the last gram weighed.

The dearest step is kept as it is: there is none beyond it, and a reserve would say that none is sold."""

_MORE_COATS = 4
"""Coats beyond the shop's most that are paid for where a draw takes them [count]."""

_ANY_COATS = 1e3
"""More coats than any wall is sealed with [count]."""

_NO_EDGE = 28.0 * 1440.0
"""Demold time that no shop waits for [min]."""


def cases_of(problem: Problem) -> tuple[Case, ...]:
    """Return all cases of a problem, cheapest fixed cost first.

    Each names the limits that hold it: the latest demold time of its turns, the absorption its coats still
    seal, the heaviest vessel its postage carries. Where money is neither objective nor limit, one case per
    choice of doses remains.
    """
    steps = (
        _money_steps(problem)
        if _money_matters(problem)
        else (Case(cost_coefficients(problem.job.shop, 1, 0)),)
    )
    out = [
        Case(step.line, step.shipping, step.limits, doses, step.turns, step.coats)
        for step in steps
        for doses in _doses(problem)
    ]
    kept = [case for case in out if not any(_makes_idle(other, case) for other in out)]
    return tuple(sorted(kept, key=lambda case: (case.fixed, -case.turns, case.coats)))


def _makes_idle(other: Case, case: Case) -> bool:
    """Return True when `other` holds every mix of `case` and costs no more."""
    if other is case or other.fixed > case.fixed or not case.tighter_than(other):
        return False
    return not other.tighter_than(case) or other.fixed < case.fixed or other.turns < case.turns


def _money_matters(problem: Problem) -> bool:
    return problem.job.objective == "cost" or any(x.property == "cost" for x in problem.job.limits)


def _money_steps(problem: Problem) -> Iterator[Case]:
    shop = problem.job.shop
    edges = coat_edges(shop.target_absorption, shop.coat_factor, shop.max_coats)
    asked = problem.limit("demold_time", "<=")
    turns = _turn_steps(problem, _NO_EDGE if asked is None else asked.bound)
    for (count, demold), coats, (heaviest, postage) in product(
        turns, range(shop.max_coats + 1), _bands(problem)
    ):
        if coats and edges[coats] == edges[coats - 1]:
            continue
        most = float(edges[coats])
        limits = [_kept("absorption", most, last=most >= edges[-1])]
        if asked is None or demold < asked.bound:
            limits.append(_kept("demold_time", demold, last=count == turns[0][0]))
        if math.isfinite(heaviest):
            limits.append(_kept("dry_mass", heaviest, last=heaviest == _bands(problem)[-1][0]))
        yield Case(cost_coefficients(shop, count, coats), postage, tuple(limits), {}, count, coats)


def _kept(name: str, edge: float, *, last: bool) -> Limit:
    return Limit(name, "<=", edge if last else edge * (1.0 - _RESERVE[name]))


@dataclass(frozen=True)
class CostStep:
    """Money that a vessel costs more where a limit is not met: a coat more, a turn less, a heavier band.

    Attributes
    ----------
    limit : Limit
        The edge of the step.
    money : float
        What lies between the two sides [currency].
    """

    limit: Limit
    money: float


def cost_steps(problem: Problem) -> tuple[CostStep, ...]:
    """Return the steps of the cost beyond those of `cases_under_doubt`, the tightest of each kind first."""
    shop = problem.job.shop

    def fixed(turns: int, coats: int) -> float:
        return cost_coefficients(shop, turns, coats).fixed

    turns = _turn_steps(problem, _NO_EDGE)
    most = turns[-1][0]
    # How much a coat leaves is not known either, so that a draw may take more coats than the shop's most.
    coats = [
        CostStep(Limit("sealer_coats", "<=", float(k)), fixed(most, k + 1) - fixed(most, k))
        for k in range(shop.max_coats + _MORE_COATS)
    ]
    slower = [
        CostStep(Limit("demold_time", "<=", edge), fixed(fewer, 0) - fixed(count, 0))
        for (fewer, _), (count, edge) in reversed(list(pairwise(turns)))
    ]
    heavier = [
        CostStep(Limit("dry_mass", "<=", heaviest), dearer - postage)
        for (heaviest, postage), (_, dearer) in pairwise(_bands(problem))
    ]
    return tuple(step for step in (*coats, *slower, *heavier) if step.money != 0.0)


def sold_limits(problem: Problem) -> tuple[Limit, ...]:
    """Return what a vessel must meet to be sold: some coats seal it, a mold's turn and a carrier take it.

    Where a casting pays for the wear of its mold alone, how long it stays there is no matter of money.
    """
    slowest, heaviest = _turn_steps(problem, _NO_EDGE)[0][1], _bands(problem)[-1][0]
    out = [Limit("sealer_coats", "<=", _ANY_COATS)]
    if problem.job.shop.mold_view != "wear":
        out.append(Limit("demold_time", "<=", slowest))
    if math.isfinite(heaviest):
        out.append(Limit("dry_mass", "<=", heaviest))
    return tuple(out)


def cases_under_doubt(problem: Problem) -> tuple[Case, ...]:
    """Return one case for each choice of doses, of the cheapest steps, with edges that no vessel may pass.

    What dearer steps cost, `cost_steps` says; they are paid with their chance.
    """
    shop, bands = problem.job.shop, _bands(problem)
    turns = _turn_steps(problem, _NO_EDGE)
    limits: list[Limit] = []
    if _money_matters(problem):
        edge = coat_edges(shop.target_absorption, shop.coat_factor, shop.max_coats)[-1]
        limits = [Limit("absorption", "<=", float(edge)), Limit("demold_time", "<=", turns[0][1])]
        if math.isfinite(bands[-1][0]):
            limits.append(Limit("dry_mass", "<=", bands[-1][0]))
    count = turns[-1][0]
    line = cost_coefficients(shop, count, 0)
    return tuple(Case(line, bands[0][1], tuple(limits), doses, count, 0) for doses in _doses(problem))


def _turn_steps(problem: Problem, longest: float) -> tuple[tuple[int, float], ...]:
    """Return (turns, latest demold time), reduced to one where turns change no cost."""
    edges = demold_edges(problem.job.shop, longest)
    if not edges:
        return ((1, longest),)
    if problem.job.shop.mold_view == "wear":
        return ((edges[0][0], max(edge for _, edge in edges)),)
    return edges


def _bands(problem: Problem) -> tuple[tuple[float, float], ...]:
    bands = shipping_edges(problem.job.shop)
    return bands or ((math.inf, 0.0),)


def _doses(problem: Problem) -> Iterator[Mapping[int, float]]:
    levels = [_levels(problem, k) for k in problem.doses]
    for choice in product(*levels):
        yield dict(zip(problem.doses, choice, strict=True))


def _levels(problem: Problem, k: int) -> tuple[float, ...]:
    """Shares to try: of the powder for a plasticizer, of the binder for a retarder [-]."""
    material = problem.materials[k]
    gypsum = any(m.kind == "gypsum" for m in problem.materials)
    ceiling = 100.0 * problem.most_dose(k, gypsum=gypsum)
    stated = problem.job.bounds.get(material.name)
    least, most = (0.0, 1.0) if stated is None else (stated.least, stated.most)
    levels = [0.0, *material.dose_levels]
    tried = (x / 100.0 for x in levels if x <= ceiling and least <= x / 100.0 <= most)
    return tuple(dict.fromkeys(tried)) or (0.0,)
