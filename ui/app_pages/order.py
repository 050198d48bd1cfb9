"""An order: can it be made by its date, with which molds and bags, and with which blend."""

from __future__ import annotations

import datetime as dt
from typing import Final, NamedTuple

import streamlit as st

from optimizer.errors import FileFaults
from optimizer.money.order import OrderPlan
from optimizer.money.ranking import Ranked
from optimizer.studies.order_blends import OrderAnswer
from ui.fields import ORDER_SHOP
from ui.money_answers import order_curve, planned
from ui.order_charts import calendar_chart, curve_chart, rates_chart
from ui.order_text import (
    BOTTLENECKS,
    busiest_words,
    first_words,
    left_words,
    leftover_words,
    no_remedy_words,
    plan_words,
    pours_words,
    remedy_words,
    shelf_words,
)
from ui.plain_text import bullets, marked, paragraphs, plain
from ui.question import catalogue
from ui.ranking_text import (
    break_even_words,
    chance_of,
    choice_words,
    cost_words,
    day_words,
    ranking_heading,
    size_words,
    view_words,
)
from ui.state import Session, session
from ui.widgets import draw, show_field, show_fields, tell_faults
from ui.words import blend_words, cost_groups, label_of, money

_WEEKS: Final = 4
_CURVE: Final = 4
_LEAST_CURVE: Final = 100
_CHOSEN: Final = "plan_chosen"
_SIDES: Final = {
    "molds": "by the molds",
    "labor": "by the hands, sealing and packing counted",
    "mixer": "by the mixes",
    "shelf": "by the drying rack",
}


class _Asked(NamedTuple):
    """What the fields of the page say of the order."""

    vessels: int
    start: dt.date
    due: dt.date
    may_buy: bool
    shelf_only: bool
    trial: bool


def show() -> None:
    """Show the page."""
    now = session()
    st.title("Order", anchor=False)
    left, right = st.columns([3, 7], gap="large")
    with left:
        asked = _order_fields()
        slots = {ORDER_SHOP[0].key: show_field(ORDER_SHOP[0])}
        with st.expander("Molds, people and shelf"):
            slots |= show_fields(ORDER_SHOP[1:], 1)
        tell_faults(slots, {key: fault for key, fault in now.faults.items() if key in slots})
    with right:
        answer = _answer(now, asked)
        if answer is not None:
            _plan(now, answer)


def _order_fields() -> _Asked:
    today = dt.date.today()
    vessels = st.number_input(
        "good vessels ordered", 0, 1_000_000, 300, key="vessels", bind="query-params", persist_state="session"
    )
    start = st.date_input("casting from", today, key="start", format="YYYY-MM-DD", persist_state="session")
    due = st.date_input(
        "may leave by",
        today + dt.timedelta(weeks=_WEEKS),
        key="due",
        format="YYYY-MM-DD",
        bind="query-params",
        persist_state="session",
    )
    may_buy = st.checkbox("molds may be bought", value=True, key="may_buy", persist_state="session")
    shelf_only = st.checkbox(
        "only powders on the shelf",
        key="shelf_only",
        persist_state="session",
        help="Pours what the page Shelf and prices says is on the shelf, and buys no powder.",
    )
    trial = st.checkbox(
        "a trial first",
        value=True,
        key="trial_first",
        persist_state="session",
        help="Casts and burns one vessel before the order, where the blend was never cast.",
    )
    return _Asked(int(vessels), start, due, may_buy, shelf_only, trial)


def _answer(now: Session, asked: _Asked) -> OrderAnswer | None:
    try:
        with st.spinner("Planning the order with every blend worth looking at", show_time=True):
            answer = planned(
                now.asked,
                now.blend,
                asked.vessels,
                asked.start,
                asked.due,
                may_buy=asked.may_buy,
                shelf_only=asked.shelf_only,
                trial=asked.trial,
            )
    except FileFaults as error:
        for fault in error.faults:
            st.error(plain(str(fault)))
        return None
    if not answer.ranked:
        st.info("No blend meets the limits, so there is nothing to plan.")
        st.page_link("app_pages/bench.py", label="See the smallest changes that would do")
        return None
    return answer


def _plan(now: Session, answer: OrderAnswer) -> None:
    rows = {row.plan.candidate.name: row for row in answer.ranked}
    plan = rows[_blend_planned(now, answer, list(rows))].plan
    st.markdown(marked("### {}", plan_words(plan, answer.request.shop.molds)))
    for words in first_words(answer, plan):
        st.markdown(plain(words))
    _calendar(plan)
    _held_back(plan, answer)
    _remedies(plan, answer)
    _money(now, plan)
    _buying(now, plan)
    _ranking(answer)
    _break_even(now, answer, plan)


def _blend_planned(now: Session, answer: OrderAnswer, names: list[str]) -> str:
    """Let the caster choose the blend to plan with, first the selected one, and return its name.

    A closed box keeps the words it was filled with, so blends of another make-up are another box. What was
    chosen is kept by name for as long as the same blend is in hand.
    """
    words = {name: f"{name}: {_powders(answer, name)}" for name in names}
    first = answer.selected
    blend, chosen = st.session_state.get(_CHOSEN, (now.blend, first))
    kept = chosen if blend == now.blend and chosen in names else first
    name = st.selectbox(
        "Plan with the blend",
        names,
        index=names.index(kept),
        key=f"plan_blend {now.blend} {sorted(words.values())}",
        format_func=words.__getitem__,
    )
    if name != first:
        st.session_state[_CHOSEN] = (now.blend, name)
    else:
        st.session_state.pop(_CHOSEN, None)
    return name or first


def _calendar(plan: OrderPlan) -> None:
    if plan.schedule is None or not plan.schedule.days:
        return
    busy = [day for day in plan.schedule.days if day.cast or day.sealed or day.packed]
    draw(
        calendar_chart(busy),
        key="calendar",
        alt=f"Castings, sealing and packing from {day_words(busy[0].day)} to {day_words(busy[-1].day)}"
        if busy
        else "An order of nothing",
    )
    st.markdown(
        plain(
            f"{pours_words(plan)} {plan.turns} casts per mold a day; "
            f"last casting {day_words(plan.schedule.last_cast)}, packed {day_words(plan.ready)}."
        )
    )
    with st.expander("Day by day"):
        st.dataframe(
            [
                {
                    "day": day_words(day.day),
                    "cast": day.cast,
                    "seal": day.sealed,
                    "pack": day.packed,
                    "on the shelf": day.on_shelf,
                    "sealed, off it": day.off_shelf,
                    "held back by": day.limited_by,
                }
                for day in busy
            ],
            hide_index=True,
            key="days",
            alt="Every working day of the order",
        )


def _held_back(plan: OrderPlan, answer: OrderAnswer) -> None:
    if not plan.bottleneck:
        return
    st.markdown("### What holds it back")
    st.markdown(
        marked("{}. Castings a day that each alone allows:", BOTTLENECKS[plan.bottleneck].capitalize())
    )
    draw(
        rates_chart(plan.rates, _SIDES),
        key="rates",
        alt="; ".join(f"{rate:.0f} castings a day {_SIDES[name]}" for name, rate in plan.rates.items()),
    )
    st.markdown(plain(busiest_words(plan, answer.request.shop)))
    st.markdown(plain(shelf_words(plan, answer.request.shop.shelf_places)))


def _remedies(plan: OrderPlan, answer: OrderAnswer) -> None:
    if plan.remedies:
        st.markdown("Any one of these makes the date with the shop as it stands:")
        st.markdown(bullets(map(remedy_words, plan.remedies)))
    elif not plan.meets_date:
        st.markdown(plain(no_remedy_words(plan, answer.request.due)))


def _money(now: Session, plan: OrderPlan) -> None:
    currency = now.job.currency
    st.markdown("### Money")
    st.markdown(
        marked(
            "**{}** a good vessel with bought molds charged to this order, **{}** with wear only. Lowest "
            "price that covers it, with your fees and profit: {}.",
            money(plan.cost_order.per_good_vessel, currency),
            money(plan.cost_wear.per_good_vessel, currency),
            money(plan.price_floor, currency),
        )
    )
    groups = cost_groups(plan.cost_order.parts)
    st.caption(plain(" · ".join(f"{name} {money(x, currency)}" for name, x in groups.items())))


def _buying(now: Session, plan: OrderPlan) -> None:
    bought, known = plan.purchase, catalogue()
    left = {each.material: each for each in plan.leftovers}
    lines = [
        f"{bag.packs} x {bag.offer.pack:g} kg {label_of(bag.material, known)}"
        + (f", left over: {left_words(left[bag.material])}" if bag.material in left else "")
        for bag in bought.bags
    ]
    lines += [
        f"{mass:.1f} kg {label_of(name, known)} from the shelf"
        for name, mass in bought.from_stock.items()
        if mass > 0.0
    ]
    if plan.molds_to_buy:
        lines.append(f"{plan.molds_to_buy} molds")
    st.markdown("### Buy")
    st.markdown(bullets(lines or ["Nothing."]))
    st.markdown(paragraphs(leftover_words(plan, known, now.job.currency)))
    st.markdown(marked("Powders: {}, tax and delivery in.", money(bought.total, now.job.currency)))


def _ranking(answer: OrderAnswer) -> None:
    st.markdown(marked("### {}", ranking_heading(answer)))
    st.dataframe(
        [_rank_row(answer, row) for row in answer.ranked],
        hide_index=True,
        key="ranking",
        alt="Blends ranked for this order",
    )
    st.markdown(paragraphs([*view_words(answer), *choice_words(answer), break_even_words(answer)]))


def _rank_row(answer: OrderAnswer, row: Ranked) -> dict[str, str | int]:
    plan, (charged, worn) = row.plan, cost_words(row)
    return {
        "blend": plan.candidate.name,
        "ready": day_words(plan.ready) + ("" if plan.meets_date else ", late"),
        "molds to buy": plan.molds_to_buy,
        "molds charged": charged,
        "rank": row.rank_order,
        "wear only": worn,
        "rank, wear": row.rank_wear,
        "chance": chance_of(row),
        "powders": _powders(answer, plan.candidate.name),
    }


def _powders(answer: OrderAnswer, name: str) -> str:
    """Return what the blend of a plan is made of."""
    mix = answer.solutions[name].mix
    return "" if mix is None else blend_words(mix.blend, catalogue())


def _break_even(now: Session, answer: OrderAnswer, plan: OrderPlan) -> None:
    others = {row.plan.candidate.name: row.plan for row in answer.ranked if row.plan is not plan}
    if not others:
        return
    st.markdown("### From which size on another blend is the cheaper one")
    other = next((name for name, each in others.items() if each.turns != plan.turns), list(others)[-1])
    name = st.selectbox("Against", list(others), index=list(others).index(other), key="against")
    second = others[name or other]
    most = max(_CURVE * answer.request.vessels, _LEAST_CURVE)
    frame, switches = order_curve(plan.line, second.line, answer.request.shop, most)
    st.markdown(marked("Of these two, {}", size_words(switches, answer.request.vessels)))
    draw(
        curve_chart(frame, answer.request.vessels, now.job.currency),
        key="curve",
        alt=f"Cost of a vessel by order size for {plan.candidate.name} and {second.candidate.name}",
    )


show()
