"""The best few blends for an order, ranked with molds charged to the order and with wear only."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from optimizer.money.order import OrderPlan, plan_order
from optimizer.money.request import Candidate, OrderRequest

TIE = 0.01
"""Costs that lie this close are called the same [fraction of the lower cost]."""


@dataclass(frozen=True)
class Ranked:
    """One blend in the ranking.

    Attributes
    ----------
    plan : OrderPlan
        Its plan.
    rank_order, rank_wear : int
        Rank among the blends shown, from 1, with molds charged to this order, and with wear only.
    tied_order, tied_wear : bool
        True when the cost of that view lies within 1 % of the cost of the first blend of its group, those as
        sure as asked or not, in time or late: too close to call by money.
    """

    plan: OrderPlan
    rank_order: int
    rank_wear: int
    tied_order: bool = False
    tied_wear: bool = False


def rank_candidates(
    request: OrderRequest, candidates: Iterable[Candidate], best: int = 5, keep: str = ""
) -> tuple[Ranked, ...]:
    """Return the best few blends for an order in both views of molds.

    Parameters
    ----------
    request : OrderRequest
        The order.
    candidates : Iterable[Candidate]
        The blends, each with a name of its own.
    best : int
        How many to return [count].
    keep : str
        Name of a blend that is returned in any case.

    Returns
    -------
    tuple[Ranked, ...]
        As `rank_plans`.

    Raises
    ------
    FileFaults
        All faults of the request and of the first candidate that has any.
    """
    return rank_plans([plan_order(request, candidate) for candidate in candidates], best, keep)


def rank_plans(plans: Sequence[OrderPlan], best: int = 5, keep: str = "") -> tuple[Ranked, ...]:
    """Return the best few plans, ordered by their rank with molds charged to the order.

    Blends as sure as the job asks come before those that are not; among either, plans in time come before
    late ones. Of those in time the cheaper goes first, and among costs within 1 %
    the one that is ready first; of the late ones the one that is ready first, whatever it costs. The best by
    wear is always shown.

    Parameters
    ----------
    plans : Sequence[OrderPlan]
        The plans of one order, each of a blend with a name of its own.
    best : int
        How many to return [count].
    keep : str
        Name of a blend that is returned in any case.
    """
    by_order = _sorted(plans, _order_money)
    kept = by_order[:best]
    by_wear = _sorted(plans, _wear_money)
    if by_wear and by_wear[0] not in kept:
        kept[-1] = by_wear[0]
    kept += [plan for plan in by_order if plan.candidate.name == keep and plan not in kept]
    order, wear = _sorted(kept, _order_money), _sorted(kept, _wear_money)
    return tuple(
        Ranked(
            plan,
            place,
            wear.index(plan) + 1,
            _tied(plan, order, _order_money),
            _tied(plan, wear, _wear_money),
        )
        for place, plan in enumerate(order, start=1)
    )


def _order_money(plan: OrderPlan) -> float:
    return plan.cost_order.per_good_vessel


def _wear_money(plan: OrderPlan) -> float:
    return plan.cost_wear.per_good_vessel


def _group(plan: OrderPlan) -> int:
    """Return 0 for a plan in time, 1 for a late one, 2 for a blend that cannot be cast; 3 more if unsure."""
    place = 2 if plan.schedule is None else 0 if plan.meets_date else 1
    return place if plan.candidate.sure else place + 3


def _sorted(plans: Sequence[OrderPlan], cost: Callable[[OrderPlan], float]) -> list[OrderPlan]:
    out: list[OrderPlan] = []
    for unsure in (0, 3):
        in_time, late, never = ([p for p in plans if _group(p) == unsure + place] for place in range(3))
        late.sort(key=lambda plan: (_ready(plan), cost(plan)))
        out += [*_ties_by_date(in_time, cost), *late, *sorted(never, key=cost)]
    return out


def _ties_by_date(plans: Sequence[OrderPlan], cost: Callable[[OrderPlan], float]) -> Iterable[OrderPlan]:
    """Yield plans by cost, those within 1 % of the cheapest of their tie by the day they are ready."""
    left = sorted(plans, key=cost)
    while left:
        tie = [plan for plan in left if cost(plan) <= cost(left[0]) * (1.0 + TIE)]
        yield from sorted(tie, key=lambda plan: (_ready(plan), cost(plan)))
        left = left[len(tie) :]


def _ready(plan: OrderPlan) -> datetime.date:
    return plan.ready or datetime.date.max


def _tied(plan: OrderPlan, ranked: Sequence[OrderPlan], cost: Callable[[OrderPlan], float]) -> bool:
    group = [each for each in ranked if _group(each) == _group(plan)]
    low, high = sorted((cost(plan), cost(group[0])))
    return plan is not group[0] and high <= low * (1.0 + TIE)
