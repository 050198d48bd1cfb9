"""The text of a ranking: the blends of an order in both views of molds, and the size at which they change.

With an order in one line: when it is ready, how late or early that is, and how many are ready by the date.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence

from optimizer.materials import Catalogue
from optimizer.money.order import PERHAPS, OrderPlan, Ranked
from optimizer.money.vessel_cost import Switch
from optimizer.studies.order_blends import OrderAnswer
from optimizer.units import odds_words
from ui.terminal import Block, heading, indented, sentence, table
from ui.words import blend_words

_MOST_SIZES = 10_000


def ranking_blocks(answer: OrderAnswer, catalogue: Catalogue) -> Iterator[Block]:
    """Give the blends of an order side by side: ranks with molds charged, and with wear only."""
    if len(answer.ranked) < 2:
        return
    yield heading(ranking_heading(answer))
    heads = ("blend", "ready", "buy molds", "charged", "rank", "wear only", "rank", "chance")
    yield table(heads, [_row(row) for row in answer.ranked], right=range(2, 8))
    yield from (sentence(words, indent=2) for words in (*view_words(answer), *choice_words(answer)))
    yield sentence(break_even_words(answer), indent=2)
    for row in answer.ranked:
        mix = answer.solutions[row.plan.candidate.name].mix
        if mix is not None:
            yield indented(f"{row.plan.candidate.name}: {blend_words(mix.blend, catalogue)}")


def ranking_heading(answer: OrderAnswer) -> str:
    """Return the heading of the blends of an order, which says what puts one above the other."""
    if not answer.ranked[0].plan.meets_date:
        late = "the sure ones late" if any(row.plan.meets_date for row in answer.ranked) else "all late"
        order = f", {late}: the one ready first on top"
    elif any(row.tied_order for row in answer.ranked):
        order = ": the cheapest on top, of those within 1 % the one ready first"
    else:
        order = ": the cheapest with bought molds charged on top"
    return f"Blends for this order{order}{_of_the_sure(answer)}"


def _of_the_sure(answer: OrderAnswer) -> str:
    """Return what is said where some blends are less sure than asked: they go last."""
    sure = {row.plan.candidate.sure for row in answer.ranked}
    return ", those less sure than asked last" if len(sure) > 1 else ""


def view_words(answer: OrderAnswer) -> Iterator[str]:
    """Give which blend is first in which view, and whether it is the same."""
    charged = answer.ranked[0]
    worn = min(answer.ranked, key=lambda row: row.rank_wear)
    if worn is charged:
        yield f"First in both views: {_name(charged)}."
        return
    yield (
        f"The best blend changes with the molds. Bought for this order and charged to it: {_name(charged)}, "
        f"{_order(charged)} against {_order(worn)} a vessel. Yours already, wear only: {_name(worn)}, "
        f"{_wear(worn)} against {_wear(charged)}."
    )


def choice_words(answer: OrderAnswer) -> Iterator[str]:
    """Give why the first blend is first where it is not the cheapest, and what a mark at a cost means."""
    if not any(row.plan.meets_date for row in answer.ranked):
        yield "No blend makes the date: ranked by the day they are ready, whatever they cost."
    elif any(row.tied_order or row.tied_wear for row in answer.ranked):
        yield (
            "~ costs within 1 % of the first, too close to call by money: of these the blend that is ready "
            "first goes first."
        )


def break_even_words(answer: OrderAnswer) -> str:
    """Return at which size of order two blends change places, molds bought charged to the order."""
    if answer.compared is None:
        return ""
    first, second = answer.compared
    owned = answer.request.shop.molds
    head = f"Break-even of {first} and {second}, {owned} molds owned, the others charged"
    return f"{head}: {size_words(answer.switches, answer.request.vessels)}"


def size_words(switches: Sequence[Switch], vessels: int) -> str:
    """Return which of two blends to cast by the size of the order, as one plain sentence or two.

    Parameters
    ----------
    switches : Sequence[Switch]
        Where they change places, the smallest size first.
    vessels : int
        Size of the order at hand [count].

    Examples
    --------
    >>> size_words([Switch(1, "A"), Switch(192, "B")], 300)
    'cast A for up to 191 vessels, B for 192 or more.'
    >>> size_words([Switch(1, "A"), Switch(20, "B"), Switch(30, "A"), Switch(70, "B")], 25)
    'cast A for up to 19 vessels, B for 70 or more. In between the next whole mold decides: for the 25 of \
this order B costs less.'
    """
    if not switches:
        return "they cost the same at every size, so cast the one that is ready first."
    if len(switches) == 1:
        return f"cast {switches[0].cheaper}, which costs less at every size up to {_MOST_SIZES:,} vessels."
    first, last = switches[0].cheaper, switches[-1].cheaper
    small, large = switches[1].vessels - 1, switches[-1].vessels
    other = " and" if first == last else f", {last}"
    words = f"cast {first} for up to {small:,} vessels{other} for {large:,} or more."
    if len(switches) == 2:
        return words
    here = f"for the {vessels:,} of this order {_cheaper(switches, vessels)} costs less."
    return f"{words} In between the next whole mold decides: {here}"


def _cheaper(switches: Sequence[Switch], vessels: int) -> str:
    """Return the blend that costs less at a size."""
    return next((each.cheaper for each in reversed(switches) if each.vessels <= vessels), switches[0].cheaper)


def _name(row: Ranked) -> str:
    return row.plan.candidate.name


def _order(row: Ranked) -> str:
    return f"{row.plan.cost_order.per_good_vessel:.2f}"


def _wear(row: Ranked) -> str:
    return f"{row.plan.cost_wear.per_good_vessel:.2f}"


def cost_words(row: Ranked) -> tuple[str, str]:
    """Return the cost in both views, marked where it is too close to the first to call."""
    return ("~" if row.tied_order else "") + _order(row), ("~" if row.tied_wear else "") + _wear(row)


def _row(row: Ranked) -> list[str]:
    plan, (charged, worn) = row.plan, cost_words(row)
    buy = str(plan.molds_to_buy)
    return [
        _name(row),
        _when(plan),
        buy,
        charged,
        str(row.rank_order),
        worn,
        str(row.rank_wear),
        chance_of(row),
    ]


def chance_of(row: Ranked) -> str:
    """Return the chance that a blend holds all limits together."""
    chance = row.plan.candidate.chance
    return "" if chance is None else odds_words(chance)


def _when(plan: OrderPlan) -> str:
    return day_words(plan.ready) + ("" if plan.meets_date else " late")


def day_words(day: datetime.date | None) -> str:
    """Return a date with its weekday; ``never`` for none."""
    return "never" if day is None else f"{day:%a} {day.isoformat()}"


def timely(plan: OrderPlan) -> str:
    """Return how surely an order that meets its date at best values does: nine of ten like it must, too."""
    return plan.status.capitalize()


def headline(plan: OrderPlan) -> str:
    """Return whether an order is in time, in one line."""
    due = plan.request.due
    if plan.ready is None:
        return f"{plan.vessels:,} vessels by {day_words(due)} cannot be made"
    days = (plan.ready - due).days
    if plan.status == PERHAPS:
        late = plan.ready_range[1]
        range_words = f"in nine of ten orders by {day_words(late)}" if late else "and some orders never"
        return f"{timely(plan)}: {plan.vessels:,} ready {day_words(plan.ready)}, {range_words}"
    if days <= 0:
        spare = "on the very day" if not days else f"{_days(-days)} to spare"
        return f"{timely(plan)}: {plan.vessels:,} ready {day_words(plan.ready)}, {spare}"
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
