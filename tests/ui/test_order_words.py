"""The words and the chart of an order: sizes, headings, the busiest day."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace

import pandas as pd
import pytest

from optimizer.jobfile import parse_job
from optimizer.money.lateness_options import Change, Remedy, with_remedy
from optimizer.money.order import plan_order
from optimizer.money.vessel_cost import Switch
from optimizer.specs import load_catalogue
from optimizer.studies.order_blends import OrderAnswer, plan_blends, shop_request
from tests.ui.test_trade_offs import SANDED
from ui.money_answers import remedy_cost
from ui.order_charts import curve_chart
from ui.order_text import busiest_words, plan_words, remedy_words
from ui.ranking_text import headline, ranking_heading, size_words


@pytest.fixture(scope="module")
def answer() -> OrderAnswer:
    """Plan an order that leaves time."""
    return _planned(dt.date(2027, 6, 30))


def _planned(due: dt.date, vessels: int = 60) -> OrderAnswer:
    catalogue = load_catalogue()
    job = parse_job(SANDED, catalogue, "sanded")
    return plan_blends(job, catalogue, shop_request(job, vessels, dt.date(2026, 11, 26), due, None))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ((), "the same at every size"),
        (((1, "A"),), "cast A, which costs less at every size"),
        (((1, "A"), (192, "B")), "cast A for up to 191 vessels, B for 192 or more."),
        (((1, "A"), (20, "B"), (30, "A"), (70, "B")), "for the 40 of this order A costs less."),
        (((1, "A"), (20, "B"), (90, "A")), "cast A for up to 19 vessels and for 90 or more."),
    ],
)
def test_break_even_says_what_to_cast(changes: tuple[tuple[int, str], ...], words: str) -> None:
    assert words in size_words([Switch(*each) for each in changes], 40)


def test_heading_and_order_of_the_blends_agree(answer: OrderAnswer) -> None:
    costs = [row.plan.cost_order.per_good_vessel for row in answer.ranked]
    assert "cheapest" in ranking_heading(answer)
    assert costs[0] <= 1.01 * min(costs)
    late = _planned(dt.date(2026, 11, 30))
    ready = [row.plan.ready for row in late.ranked if row.plan.ready]
    assert "ready first on top" in ranking_heading(late)
    assert ready == sorted(ready)


def test_the_busiest_day_is_named_and_why_early_days_cast_more(answer: OrderAnswer) -> None:
    plan, shop = answer.ranked[0].plan, answer.request.shop
    assert plan.schedule
    most = max(plan.schedule.days, key=lambda day: day.minutes)
    words = busiest_words(plan, shop)
    assert f"{most.day.isoformat()}" in words
    slow = replace(plan, rates={**plan.rates, "labor": 1.0})
    assert re.search(
        r"labor keeps up 1 castings? a day, sealing and packing counted", busiest_words(slow, shop)
    )


def test_names_of_two_curves_stand_off_their_lines() -> None:
    rows = [{"vessels": n, "cost": 7.0 + n, "blend": name} for name in ("one", "two") for n in (1, 2)]
    chart = curve_chart(pd.DataFrame(rows), 2, "EUR").to_dict()
    marks = [layer["mark"]["type"] for layer in chart["layer"]]
    assert "text" not in marks
    legends = [
        layer["encoding"]["strokeDash"]["legend"]
        for layer in chart["layer"]
        if "strokeDash" in layer["encoding"]
    ]
    assert {legend["orient"] for legend in legends} == {"top"}


def test_the_cost_of_a_remedy_holds_the_molds_it_buys() -> None:
    """Planned anew with the remedy; what it buys is what the new plan charges more of."""
    late = _planned(dt.date(2026, 12, 18), 400)
    plan = late.plan
    assert not plan.meets_date
    pair = next(each for each in plan.remedies if any(one.name != "demold_time" for one in each.changes))
    request, candidate = with_remedy(plan.request, replace(plan.candidate, never_cast=False), pair)
    changed = plan_order(request, candidate)
    assert changed.meets_date
    more = remedy_cost(plan.request, plan.candidate, plan.cost_order.per_good_vessel, pair)
    assert more == pytest.approx(400 * (changed.cost_order.per_good_vessel - plan.cost_order.per_good_vessel))


def test_the_headline_counts_what_is_packed_by_the_date() -> None:
    late = _planned(dt.date(2026, 12, 18), 400).plan
    words = headline(late)
    days = (late.ready - dt.date(2026, 12, 18)).days
    packed = sum(day.packed for day in late.schedule.days if day.day <= dt.date(2026, 12, 18))
    assert f"{days} day" in words
    assert f"{min(packed, 400)} of 400 by the date" in words
    plan = _planned(dt.date(2027, 6, 30)).plan
    assert headline(plan).startswith("Perhaps in time: 60 ready"), "some draws never leave the mold"
    assert headline(plan).endswith("and some orders never")
    surely = replace(plan, candidate=replace(plan.candidate, drawn=()))
    assert headline(surely).startswith("In time: 60 ready")


def test_the_headline_promises_no_more_than_the_range() -> None:
    """On time at best values while one order in ten of them is not."""
    rows = [row.plan for row in _planned(dt.date(2027, 6, 30)).ranked if row.plan.ready is not None]
    for plan in rows:
        late = plan.ready_range[1]
        if late is None or late == plan.ready:
            continue  # what may never leave the mold has no late end
        words = headline(replace(plan, request=replace(plan.request, due=plan.ready)))
        assert words.startswith("Perhaps in time: 60 ready")
        assert late.isoformat() in words
        assert plan_words(replace(plan, request=replace(plan.request, due=plan.ready)), 4).startswith(
            "Perhaps"
        )
    assert any(plan.ready_range[1] not in (None, plan.ready) for plan in rows)


def test_a_remedy_names_what_it_changes_and_nothing_else() -> None:
    changes = (Change("people", 1.0, 2.0), Change("molds", 6.0, 6.0))
    assert remedy_words(Remedy(changes, dt.date(2026, 12, 17))) == "people 1 to 2: ready Thu 2026-12-17"
