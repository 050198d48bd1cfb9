"""The best few blends for an order, ranked with molds charged to the order and with wear only."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from optimizer.money.order import OrderPlan, plan_order
from optimizer.money.request import Candidate, OrderRequest

__all__ = ["TIE", "Ranked", "rank_candidates"]

TIE = 0.01
"""Blends whose costs lie this close share a rank [fraction of the lower cost]."""


@dataclass(frozen=True)
class Ranked:
    """One blend in the ranking.

    Attributes
    ----------
    plan : OrderPlan
        Its plan.
    rank_order, rank_wear : int
        Rank with molds charged to this order, and with wear only; equal numbers are too close to call.
    """

    plan: OrderPlan
    rank_order: int
    rank_wear: int


def rank_candidates(
    request: OrderRequest, candidates: Iterable[Candidate], best: int = 5
) -> tuple[Ranked, ...]:
    """Return the best few blends for an order: those in time before those late, then by cost.

    Parameters
    ----------
    request : OrderRequest
        The order.
    candidates : Iterable[Candidate]
        The blends, each with a name of its own.
    best : int
        How many to return [count].

    Returns
    -------
    tuple[Ranked, ...]
        Ordered by the cost with molds charged to the order. Costs within 1 % of the lowest of their
        group share a rank.

    Raises
    ------
    FileFaults
        All faults of the request and of the first candidate that has any.
    """
    plans = [plan_order(request, candidate) for candidate in candidates]
    by_order = _ranks([(_lateness(plan), plan.cost_order.per_good_vessel) for plan in plans])
    by_wear = _ranks([(_lateness(plan), plan.cost_wear.per_good_vessel) for plan in plans])
    rows = [Ranked(*row) for row in zip(plans, by_order, by_wear, strict=True)]
    rows.sort(key=lambda row: (row.rank_order, row.plan.cost_order.per_good_vessel))
    return tuple(rows[:best])


def _lateness(plan: OrderPlan) -> int:
    """Return 0 for a plan in time, 1 for a late one, 2 for a blend that cannot be cast at all."""
    if plan.schedule is None:
        return 2
    return 0 if plan.meets_date else 1


def _ranks(keys: Sequence[tuple[int, float]]) -> list[int]:
    order = sorted(range(len(keys)), key=lambda place: keys[place])
    ranks = [0] * len(keys)
    leader, rank = None, 0
    for position, place in enumerate(order, start=1):
        late, cost = keys[place]
        if leader is None or late != leader[0] or cost > leader[1] * (1.0 + TIE):
            leader, rank = (late, cost), position
        ranks[place] = rank
    return ranks
