"""An order: can it be made by its date, with which molds and bags, and with which blend."""

from __future__ import annotations

import datetime as dt
import math
from typing import Final, NamedTuple

import streamlit as st

from optimizer.errors import FileFaults
from optimizer.job import WEEKDAYS
from optimizer.money.lateness_options import Remedy, week_of
from optimizer.money.order import OrderPlan, Ranked
from optimizer.solution import Solution
from optimizer.studies.order_blends import OrderAnswer
from ui.fields import ORDER_SHOP
from ui.jobs import blend_text
from ui.lever_buttons import show_levers
from ui.money_answers import order_curve, planned, remedy_cost
from ui.order_charts import calendar_chart, curve_chart, rates_chart
from ui.order_text import (
    bottleneck_words,
    busiest_words,
    counted,
    first_words,
    left_words,
    leftover_words,
    no_remedy_words,
    plan_words,
    pours_words,
    remedies_words,
    remedy_words,
    shelf_words,
    total_words,
)
from ui.plain_text import bullets, marked, paragraphs, plain
from ui.printing import print_card
from ui.question import catalogue
from ui.ranking_text import (
    break_even_words,
    chance_of,
    choice_words,
    cost_words,
    day_words,
    headline,
    ranking_heading,
    size_words,
    view_words,
)
from ui.reasons import stock_words
from ui.state import Session, apply_figures, pick, session, units
from ui.widgets import draw, show_field, show_fields, tell_faults
from ui.words import CAST_FIRST, blend_words, caution_words, cost_groups, label_of, money, pack_words

_WEEKS: Final = 4
_CURVE: Final = 4
_LEAST_CURVE: Final = 100
_CENT: Final = 0.005
_ROW: Final = 70
"""Height of a row of blends, in which their words break into lines [px]."""

_WIDTHS: Final = {
    "blend": 92,
    "ready": 96,
    "molds to buy": 52,
    "molds charged": 56,
    "rank": 44,
    "wear only": 56,
    "rank, wear": 44,
    "chance": 56,
    "powders": 150,
}
"""Widths of columns, so that the last is not cut off [px]."""

_SIDES: Final = {
    "molds": "by the molds",
    "labor": "by labor, sealing and packing counted",
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
    left, right = st.columns([3, 8], gap="large")
    with left:
        asked = _order_fields()
        slots = {ORDER_SHOP[0].key: show_field(ORDER_SHOP[0])}
        with st.expander("Molds, people and shelf"):
            slots |= show_fields(ORDER_SHOP[1:], 1)
        tell_faults(slots, {key: fault for key, fault in now.faults.items() if key in slots})
    with right:
        answer = _answer(now, asked)
        if answer is None:
            st.title("Order", anchor=False)
        else:
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
        bare = asked.shelf_only and not any(price.stock for price in now.job.prices.values())
        if bare:
            st.info("No powder has its stock written on the shelf, so there is nothing to pour from it.")
        for fault in () if bare else error.faults:
            st.error(plain(str(fault)))
        if asked.shelf_only:
            st.page_link("app_pages/shelf.py", label="Write what stands on the shelf: empty counts as none")
        return None
    if answer.no_blend is not None:
        _no_blend(now, answer.no_blend, shelf_only=asked.shelf_only)
        return None
    return answer


def _no_blend(now: Session, solution: Solution, *, shelf_only: bool) -> None:
    """Say that nothing can be planned, and where that is mended."""
    if not shelf_only:
        st.info("No blend meets the limits, so there is nothing to plan.")
        st.page_link("app_pages/weigh.py", label="See the smallest changes that would do")
        show_levers(now, solution)
        return
    labels = {name: label_of(name, catalogue()) for name in solution.job.shelf}
    st.info("No blend of what stands on the shelf meets the limits, so there is nothing to plan.")
    st.markdown(paragraphs(stock_words(solution.job, labels)))
    st.page_link("app_pages/shelf.py", label="Write what stands on the shelf")


def _plan(now: Session, answer: OrderAnswer) -> None:
    """Show the plan of the selected blend: one headline, what would help, the days, what to buy, money."""
    rows = {row.plan.candidate.name: row for row in answer.ranked}
    plan = rows[answer.selected].plan
    st.title(plain(headline(plan)), anchor=False)
    st.caption(plain(plan_words(plan, answer.request.shop.molds)))
    if plan.bottleneck:
        st.markdown(marked("**Bottleneck:** {}.", bottleneck_words(plan)))
    _remedies(now, plan, answer)
    _calendar(plan)
    solution = answer.solutions[answer.selected]
    cast_first = (caution_words(key, units()) for key in CAST_FIRST if key in solution.cautions)
    for words in (*first_words(answer, plan), *cast_first):
        st.markdown(plain(words))
    show_levers(now, solution)
    _select(now, answer, list(rows))
    buying, money_side = st.columns(2, gap="large")
    with buying:
        _buying(now, plan)
    with money_side:
        _money(now, plan)
    if plan.bottleneck:
        with st.expander("Castings a day that molds, labor, mixes and drying rack each allow"):
            _held_back(plan, answer)
    with st.expander("Other blends for this order, and the size from which each is the cheaper one"):
        _ranking(answer)
        _break_even(now, answer, plan)


def _select(now: Session, answer: OrderAnswer, names: list[str]) -> None:
    """Let the caster select the blend to plan with, and print its cards: plan and card are one blend."""
    texts = {name: _text_of(answer, name) for name in names}
    words = {name: f"{name}: {_powders(answer, name)}" for name in names}
    key = f"plan_blend {now.blend} {sorted(words.values())}"
    st.selectbox(
        "Plan with the blend",
        names,
        index=names.index(answer.selected),
        key=key,
        format_func=words.__getitem__,
        on_change=lambda: pick(texts[st.session_state[key]]),
        help="Selects it on every page.",
    )
    same = now.solution.mix is not None and texts[answer.selected] == blend_text(
        now.solution.mix.blend, now.solution.mix.water_ratio
    )
    if not same:
        st.warning("The plan is not of the selected blend: that one does not stand on the shelf.")
        st.button("Select this blend", on_click=pick, args=(texts[answer.selected],), key="select_planned")
    elif st.button("Print its cards", icon=":material/print:", key="order_card", disabled=bool(now.faults)):
        print_card(now)


def _text_of(answer: OrderAnswer, name: str) -> str:
    mix = answer.solutions[name].mix
    return "" if mix is None else blend_text(mix.blend, mix.water_ratio)


def _calendar(plan: OrderPlan) -> None:
    if plan.schedule is None or not plan.schedule.days:
        return
    busy = [day for day in plan.schedule.days if day.cast or day.sealed or day.packed]
    shop = plan.request.shop
    draw(
        calendar_chart(busy, plan.request.due, shop.shift * shop.people / 60.0),
        key="calendar",
        alt=f"Hours of work from {day_words(busy[0].day)} to {day_words(busy[-1].day)}; "
        f"due {day_words(plan.request.due)}"
        if busy
        else "An order of nothing",
    )
    st.caption(
        plain(
            f"Bars: hours of work, the castings of the day above; dotted: the hours there are. "
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
                    "on the rack": day.on_shelf,
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
    draw(
        rates_chart(plan.rates, _SIDES),
        key="rates",
        alt="; ".join(f"{rate:.0f} castings a day {_SIDES[name]}" for name, rate in plan.rates.items()),
    )
    st.markdown(plain(busiest_words(plan, answer.request.shop)))
    st.markdown(plain(shelf_words(plan, answer.request.shop.shelf_places)))


def _remedies(now: Session, plan: OrderPlan, answer: OrderAnswer) -> None:
    """Show each change that makes the date as a button, with what it adds to the cost of the order."""
    if not plan.remedies:
        if not plan.meets_date:
            st.markdown(plain(no_remedy_words(plan, answer.request.due)))
        return
    st.markdown(plain(f"Any one of these {remedies_words(plan)}:"))
    for place, remedy in enumerate(plan.remedies):
        figures = _figures_of(answer, remedy)
        if not figures:
            price = (
                sum(change.needed - change.now for change in remedy.changes) * plan.request.shop.mold_price
            )
            st.markdown(plain(f"{remedy_words(remedy)}; {money(price, now.job.currency)}, in the plan"))
            continue
        more = remedy_cost(plan.request, plan.candidate, plan.cost_order.per_good_vessel, remedy)
        st.button(
            plain(f"{remedy_words(remedy)}; {_more_words(more, now.job.currency)}{_unpriced(remedy)}"),
            key=f"remedy_{place}",
            on_click=apply_figures,
            args=(figures,),
            width="stretch",
            wrap=True,
        )


def _more_words(more: float, currency: str) -> str:
    """Return what a change adds to the cost of an order."""
    if abs(more) < _CENT:
        return "the order costs the same"
    return f"the order costs {money(abs(more), currency)} {'more' if more > 0.0 else 'less'}"


def _unpriced(remedy: Remedy) -> str:
    """Say what of a change has no price: a drying rack is bought once."""
    rack = any(change.name == "shelf_places" for change in remedy.changes)
    return ", the rack itself not counted" if rack else ""


def _figures_of(answer: OrderAnswer, remedy: Remedy) -> dict[str, object]:
    """Return a remedy as figures of the job by dotted key; the plan itself buys molds."""
    shop = answer.request.shop
    figures: dict[str, object] = {}
    for change in remedy.changes:
        if change.name == "demold_time":
            figures["limits.demold_time"] = f"{math.floor(change.needed)} min"
        elif change.name == "overnight":
            figures["shop.overnight"] = True
        elif change.name == "working_days":
            figures["shop.working_days"] = [WEEKDAYS[day] for day in week_of(shop, int(change.needed))]
        elif change.name == "shift":
            figures["shop.shift"] = f"{change.needed:g} min"
        elif change.name in ("people", "shelf_places"):
            figures[f"shop.{change.name}"] = f"{change.needed:g}"
    return figures


def _money(now: Session, plan: OrderPlan) -> None:
    currency = now.job.currency
    st.markdown("### Money")
    charged, worn = (money(each.per_good_vessel, currency) for each in (plan.cost_order, plan.cost_wear))
    st.markdown(
        marked(
            "**{}** a good vessel, bought molds charged to this order; **{}** with wear only. {}",
            charged,
            worn,
            total_words(plan, currency),
        )
    )
    lowest = money(plan.price_floor, currency)
    if lowest != charged:
        st.markdown(marked("Lowest price that covers it, with your fees and profit: {}.", lowest))
    groups = cost_groups(plan.cost_order.parts)
    st.caption(plain(" · ".join(f"{name} {money(x, currency)}" for name, x in groups.items())))


def _buying(now: Session, plan: OrderPlan) -> None:
    bought, known = plan.purchase, catalogue()
    left = {each.material: each for each in plan.leftovers}
    lines = [
        f"{bag.packs} x {pack_words(bag.offer.pack, units())} {label_of(bag.material, known)}"
        + (f", left over: {left_words(left[bag.material], units())}" if bag.material in left else "")
        for bag in bought.bags
    ]
    lines += [
        f"{pack_words(mass, units())} {label_of(name, known)} from the shelf"
        for name, mass in bought.from_stock.items()
        if mass > 0.0
    ]
    if plan.molds_to_buy:
        lines.append(counted(plan.molds_to_buy, "mold"))
    st.markdown("### Buy")
    st.markdown(bullets(lines or ["Nothing."]))
    st.markdown(paragraphs(leftover_words(plan, known, now.job.currency, units())))
    st.markdown(marked("Powders: {}, tax and delivery in.", money(bought.total, now.job.currency)))


def _ranking(answer: OrderAnswer) -> None:
    st.markdown(marked("### {}", ranking_heading(answer)))
    st.dataframe(
        [_rank_row(answer, row) for row in answer.ranked],
        hide_index=True,
        row_height=_ROW,
        column_config={name: st.column_config.Column(width=width) for name, width in _WIDTHS.items()},
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
