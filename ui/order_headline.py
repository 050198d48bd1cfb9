"""An order in one line: when it is ready, how late or early that is, and how many are ready by the date."""

from __future__ import annotations

from optimizer.money.order import OrderPlan
from ui.ranking_text import day_words


def headline(plan: OrderPlan) -> str:
    """Return whether an order is in time, in one line."""
    due = plan.request.due
    if plan.ready is None:
        return f"{plan.vessels:,} vessels by {day_words(due)} cannot be made"
    days = (plan.ready - due).days
    if days <= 0:
        spare = "on the very day" if not days else f"{_days(-days)} to spare"
        return f"In time: {plan.vessels:,} ready {day_words(plan.ready)}, {spare}"
    return (
        f"Ready {day_words(plan.ready)}, {_days(days)} late: {ready_by(plan)} of {plan.vessels:,} by the date"
    )


def ready_by(plan: OrderPlan) -> int:
    """Return how many vessels are packed by the due date [count]."""
    if plan.schedule is None:
        return 0
    packed = sum(day.packed for day in plan.schedule.days if day.day <= plan.request.due)
    return min(int(packed), plan.vessels)


def _days(number: int) -> str:
    return f"{number} day{'' if number == 1 else 's'}"
