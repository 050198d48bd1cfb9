"""Order plans: hand-worked orders, what limits them, what makes the date, and sums that must close."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from orders import MONDAY, candidate, day, order
from scipy.stats import betabinom

from optimizer.errors import FileFaults
from optimizer.job import Price, Shop
from optimizer.money.capacity import RESOURCES, molds_per_mix
from optimizer.money.lateness_options import LONGEST_SHIFT, Remedy
from optimizer.money.order import IN_TIME, PERHAPS, plan_order, rank_candidates
from optimizer.money.request import Candidate, OrderRequest, Times
from optimizer.units import parse

_DEMOLD = {1: 300.0, 3: 100.0, 5: 65.0}


@pytest.mark.parametrize(("turns", "molds", "each"), [(1, 29, 2.71), (3, 10, 0.93), (5, 6, 0.56)])
def test_the_order_of_300(turns, molds, each):
    """300 vessels, 8 % rejects: 341 pours in 12 casting days, molds at 28 (own arithmetic).

    341 is the 90 % point of the beta-binomial law (tests/money/test_pours.py). 12 working days from the
    Monday end on Tuesday of the third week; the last vessels are packed on the day after. 29, 10 and 6 molds
    at one, three and five turns give 29, 30 and 30 a day, so 12 casting days; 2.71, 0.93 and 0.56 a vessel.
    """
    request = order(300, day(16), molds=0, reject=0.08, mold_price=28.0)
    plan = plan_order(request, candidate(demold_time=_DEMOLD[turns]))
    assert (plan.pours, plan.turns, plan.molds_at_work, plan.molds_to_buy) == (341, turns, molds, molds)
    assert (plan.meets_date, plan.ready) == (True, day(16))
    assert round(plan.cost_order.parts["molds"], 2) == each
    assert plan.schedule.casting_days == 12
    assert plan.line.casting_days == 12


def test_one_mold():
    """One mold, one turn, three vessels: cast Monday to Wednesday, packed Thursday (own arithmetic)."""
    plan = plan_order(order(3, day(3), molds=1), candidate(demold_time=300.0))
    assert [each.cast for each in plan.schedule.days] == [1, 1, 1, 0]
    assert [each.packed for each in plan.schedule.days] == [0, 1, 1, 1]
    assert (plan.ready, plan.meets_date, plan.bottleneck, plan.molds_to_buy) == (day(3), True, "molds", 0)


def test_an_order_of_nothing():
    plan = plan_order(order(0, day(0)), candidate())
    assert (plan.pours, plan.ready, plan.meets_date, plan.bottleneck) == (0, MONDAY, True, "")
    assert (plan.molds_to_buy, plan.purchase.total, plan.cost_order.parts["molds"]) == (0, 0.0, 0.0)
    assert plan.casts_per_day == 0.0


def test_no_mold_buys_some_or_says_that_it_cannot():
    plan = plan_order(order(20, day(4), molds=0), candidate())
    assert plan.molds_to_buy == plan.molds_at_work == 1
    assert plan.meets_date
    with pytest.raises(FileFaults, match=r"shop\.molds"):
        plan_order(order(20, day(4), molds=0, may_buy_molds=False), candidate())


def test_labor_limits_a_shop_full_of_molds():
    """8 min a pour and 7 h: 52 a day whatever the molds; 341 pours take 7 days (own arithmetic)."""
    plan = plan_order(order(300, day(60), molds=1000, reject=0.08), candidate())
    assert [each.cast for each in plan.schedule.days if each.cast] == [52] * 6 + [29]
    assert plan.schedule.days[0].limited_by == "labor"
    assert plan.bottleneck == "labor"
    assert plan.rates["labor"] == pytest.approx(52.5)
    faster = plan_order(order(300, day(60), molds=1000, reject=0.08), candidate(demold_time=20.0))
    assert faster.ready == plan.ready


def test_a_full_shelf_limits_casting():
    """120 places and 3 days to dry; labor would give 52 a day (own arithmetic).

    Monday 52, Tuesday 52, Wednesday the 16 places left. What stood up on Monday is dry on Thursday evening,
    so its places are free on Friday morning and Thursday casts nothing. Tuesday's and Wednesday's dry over
    the weekend; next Monday only the 52 of Friday are left, until Tuesday morning. A place serves one casting
    in four days.
    """
    request = order(300, day(60), molds=1000, shelf_places=120)
    plan = plan_order(request, candidate(drying_time=3.0))
    casts = [each.cast for each in plan.schedule.days]
    assert casts[:9] == [52, 52, 16, 0, 52, 0, 0, 52, 52]
    assert plan.schedule.days[2].limited_by == "shelf"
    assert plan.bottleneck == "shelf"
    assert plan.rates["shelf"] == 30.0
    assert plan.relief["shelf"] < plan.ready


def test_the_mixer_limits_casting():
    """Two mixes of three molds: six a day (own arithmetic)."""
    request = order(30, day(60), molds=100, molds_per_mix=3, mixes_per_day=2)
    plan = plan_order(request, candidate())
    assert [each.cast for each in plan.schedule.days][:5] == [6] * 5
    assert plan.bottleneck == plan.schedule.days[0].limited_by == "mixer"


def test_a_small_order_waits_for_its_drying():
    plan = plan_order(order(3, day(30)), candidate(drying_time=5.0))
    assert plan.bottleneck == "drying"
    assert plan.relief["drying"] < plan.ready
    assert plan.relief["molds"] == plan.ready


def test_the_tail_runs_through_days_off_only_where_nobody_works():
    """Cast on Friday with three days to dry, one to seal, two burns and a day of packing (own arithmetic).

    Dry on Monday evening, sealed Tuesday, burned Wednesday and Thursday, packed Friday. With Thursday a
    holiday the second burn is on Friday and the packing on Monday.
    """
    tail = {"test_burn_days": 2, "seal_days": 1, "molds": 4}
    request = replace(order(4, day(60), **tail), start=day(4))
    plan = plan_order(request, candidate(drying_time=3.0, coats=2))
    assert [(each.day, each.sealed) for each in plan.schedule.days if each.sealed] == [(day(8), 4)]
    assert plan.ready == day(11)
    holiday = replace(request, shop=replace(request.shop, holidays=(day(10),)))
    assert plan_order(holiday, candidate(drying_time=3.0, coats=2)).ready == day(14)


def test_an_uncoated_vessel_waits_for_no_seal():
    tail = {"test_burn_days": 1, "seal_days": 3, "molds": 4}
    coated = plan_order(order(4, day(60), **tail), candidate(coats=1))
    bare = plan_order(order(4, day(60), **tail), candidate(coats=0))
    assert (bare.ready, coated.ready) == (day(2), day(7))


def test_every_day_worked_is_the_sum_of_the_stages():
    """With no day off and labor to spare: casting + drying + seal + burn + pack days (own arithmetic)."""
    every_day = tuple(range(7))
    request = order(50, day(90), molds=2, working_days=every_day, test_burn_days=2, people=9, pack_days=2)
    plan = plan_order(request, candidate(drying_time=4.0, coats=1))
    casting = math.ceil(50 / 10)
    assert plan.ready == day(casting + 4 + 1 + 2 + 2 - 1)


def test_sealing_and_packing_take_their_minutes_from_the_same_shift():
    """10 molds-full a day at 8 min leave 340 of 420 min; sealing 20 min a vessel holds the end up."""
    request = order(60, day(90), molds=2, pack_minutes=0.0, seal_minutes=40.0)
    slow = plan_order(request, candidate(coats=1))
    quick = plan_order(replace(request, shop=replace(request.shop, people=3.0)), candidate(coats=1))
    assert slow.bottleneck == "labor"
    assert quick.ready < slow.ready
    total = sum(each.minutes for each in slow.schedule.days)
    assert total == pytest.approx(60 * (8.0 + 40.0))


def test_late_rejects_are_poured_for_and_never_packed():
    """Half lost after sealing, about: 27 pours at five a day for ten vessels (own arithmetic).

    Counted so that all 27 are needed, 10 of 27 are packed on the day after: running sums 1.85, 3.7, 5.56,
    7.41 until Friday, 9.26 on Monday, 10 on Tuesday.
    """
    plan = plan_order(order(10, day(60), molds=1, finish_reject=0.5), candidate())
    assert plan.pours == 27
    assert [each.packed for each in plan.schedule.days] == [0, 1, 2, 2, 2, 0, 0, 2, 1]
    assert plan.ready == day(8)


def test_the_cost_takes_the_price_break_that_the_order_reaches():
    """100 pours of 0.3 kg buy two bags: both at 15, so 0.60 a kilogram and 0.18 a vessel (own arithmetic)."""
    prices = {"gypsum_cement": Price(pack=25.0, price=40.0, breaks=((2, 15.0),))}
    plan = plan_order(order(100, day(60), prices=prices), candidate())
    assert plan.purchase.total == 30.0
    assert plan.cost_wear.parts["powder"] == pytest.approx(0.18)


def test_a_night_in_the_mold_dries_from_the_next_working_day():
    """Twelve hours to demold: filled in the evening, emptied in the morning, one a day (own arithmetic)."""
    request = order(3, day(60), molds=1, overnight=True)
    plan = plan_order(request, candidate(demold_time=720.0))
    assert [each.cast for each in plan.schedule.days] == [1, 1, 1, 0, 0]
    assert plan.ready == day(4)


def test_bags_cover_every_pour_and_its_waste():
    """341 pours of 0.3 kg with 8 % waste: 110.5 kg, less 12 in stock, four bags of 25 kg (own arithmetic)."""
    prices = {"gypsum_cement": Price(pack=25.0, price=40.0, stock=12.0)}
    request = order(300, day(60), reject=0.08, waste=0.08, prices=prices)
    plan = plan_order(request, candidate())
    assert plan.purchase.packs("gypsum_cement") == 4
    assert plan.purchase.left["gypsum_cement"] == pytest.approx(112.0 - 341 * 1.08 * 0.3)


def test_the_cost_parts_add_up_and_reach_the_price_floor():
    request = order(120, day(30), molds=2, reject=0.05, waste=0.08, fees=0.1, profit=0.15)
    plan = plan_order(request, candidate(coats=2, water=0.1, admixtures={"mortar": 0.001}))
    for cost in (plan.cost_order, plan.cost_wear):
        assert round(sum(cost.parts.values()), 2) == round(cost.per_good_vessel, 2)
    assert plan.price_floor == pytest.approx(plan.cost_order.per_good_vessel / 0.75)
    assert plan.cost_wear.parts["molds"] == pytest.approx(28.0 / 80.0)
    assert plan.cost_order.parts["admixture"] == pytest.approx(0.0015)


def _confirmed(request: OrderRequest, blend: Candidate, remedy: Remedy) -> bool:
    """Plan anew with the changes and nothing else bought."""
    changed, faster = request.shop, blend
    for change in remedy.changes:
        if change.name == "demold_time":
            faster = replace(blend, demold_time=change.needed)
        elif change.name == "working_days":
            changed = replace(changed, working_days=tuple(range(round(change.needed))))
        else:
            needed = bool(change.needed) if change.name == "overnight" else change.needed
            needed = round(needed) if change.name in ("molds", "shelf_places") else needed
            changed = replace(changed, **{change.name: needed})
    again = plan_order(replace(request, shop=changed, may_buy_molds=False), faster)
    return again.meets_date and again.ready == remedy.ready


def test_what_would_make_the_date_is_confirmed_and_the_least_of_its_kind():
    request = order(60, day(11), molds=2, may_buy_molds=True)
    blend = candidate(demold_time=180.0)
    plan = plan_order(request, blend)
    found = {remedy.changes[0].name: remedy for remedy in plan.remedies}
    assert set(found) >= {"molds", "demold_time"}
    assert all(_confirmed(request, blend, remedy) for remedy in plan.remedies)
    (molds,) = found["molds"].changes
    assert molds.needed == plan.molds_at_work
    fewer = replace(request, shop=replace(request.shop, molds=molds.needed - 1), may_buy_molds=False)
    assert not plan_order(fewer, blend).meets_date


@pytest.mark.parametrize(
    ("vessels", "changes", "blend", "name"),
    [
        pytest.param(480, {"molds": 1000}, {}, "people", id="too-few-hands"),
        pytest.param(480, {"molds": 1000}, {}, "shift", id="too-short-a-day"),
        pytest.param(480, {"molds": 1000}, {}, "working_days", id="too-short-a-week"),
        pytest.param(
            300,
            {"molds": 1000, "shelf_places": 60},
            {"drying_time": 3.0},
            "shelf_places",
            id="too-few-places",
        ),
        pytest.param(300, {"molds": 40}, {"demold_time": 600.0}, "overnight", id="too-slow-for-the-shift"),
        pytest.param(300, {"molds": 40}, {"demold_time": 600.0}, "demold_time", id="a-faster-blend"),
    ],
)
def test_each_kind_of_change_is_proposed_where_it_helps(vessels, changes, blend, name):
    request = order(vessels, day(11), may_buy_molds=False, **changes)
    plan = plan_order(request, candidate(**blend))
    assert not plan.meets_date
    found = {remedy.changes[0].name: remedy.changes[0] for remedy in plan.remedies}
    assert name in found
    assert all(_confirmed(request, candidate(**blend), remedy) for remedy in plan.remedies)
    steps = {"people": 1.0, "shift": 15.0, "shelf_places": 1}
    for kind in set(steps) & set(found):
        almost = replace(request.shop, **{kind: found[kind].needed - steps[kind]})
        assert not plan_order(replace(request, shop=almost), candidate(**blend)).meets_date


def test_pairs_with_molds_where_no_single_change_is_enough():
    request = order(300, day(7), molds=2)
    blend = candidate(demold_time=300.0)
    plan = plan_order(request, blend)
    assert not plan.meets_date
    kinds = {remedy.changes[0].name: remedy for remedy in plan.remedies}
    assert set(kinds) == {"shift", "people", "working_days"}
    assert all([change.name for change in pair.changes][1:] == ["molds"] for pair in plan.remedies)
    assert kinds["shift"].changes[0].needed <= LONGEST_SHIFT
    assert all(_confirmed(request, blend, pair) for pair in plan.remedies)


def test_a_date_nothing_can_make_still_says_the_earliest():
    request = order(300, day(1), molds=2)
    plan = plan_order(request, candidate(drying_time=9.0))
    assert (plan.meets_date, plan.remedies) == (False, ())
    assert plan.earliest is not None
    assert request.due < plan.earliest <= plan.ready
    with_those = replace(request, shop=replace(request.shop, molds=plan.earliest_molds), due=plan.earliest)
    again = plan_order(replace(with_those, may_buy_molds=False), candidate(drying_time=9.0))
    assert again.ready == plan.earliest


def test_ranking_turns_over_when_the_molds_are_already_owned():
    """Powder 0.21 a vessel cheaper but one turn for five: 29 molds to buy against 6 (own arithmetic)."""
    prices = {"gypsum_cement": Price(pack=25.0, price=20.0), "mortar": Price(pack=25.0, price=37.5)}
    slow = candidate(name="slow", demold_time=300.0)
    fast = candidate(name="fast", powders={"mortar": 0.3})
    request = order(300, day(16), molds=0, reject=0.08, prices=prices)
    none_owned = rank_candidates(request, [slow, fast])
    assert [row.plan.candidate.name for row in none_owned] == ["fast", "slow"]
    assert {row.plan.candidate.name: row.rank_wear for row in none_owned} == {"slow": 1, "fast": 2}
    owned = replace(request, shop=replace(request.shop, molds=29))
    assert [row.plan.candidate.name for row in rank_candidates(owned, [slow, fast])] == ["slow", "fast"]


def test_late_blends_come_last_and_ranks_read_from_one():
    prices = {"gypsum_cement": Price(pack=25.0, price=20.0), "mortar": Price(pack=25.0, price=20.5)}
    request = order(30, day(4), molds=6, prices=prices, shelf_cost=0.0)
    blends = [
        candidate(name="never", powders={"gypsum_cement": 0.05}, demold_time=900.0),
        candidate(name="late", powders={"gypsum_cement": 0.1}, drying_time=20.0),
        candidate(name="one"),
        candidate(name="two", powders={"mortar": 0.3}),
    ]
    ranked = rank_candidates(request, blends)
    assert [row.plan.candidate.name for row in ranked] == ["one", "two", "late", "never"]
    assert [row.rank_order for row in ranked] == [row.rank_wear for row in ranked] == [1, 2, 3, 4]
    assert [row.tied_order for row in ranked] == [False, True, False, False]
    assert [row.rank_order for row in rank_candidates(request, blends, best=2)] == [1, 2]


def test_of_costs_within_one_percent_the_blend_ready_first_goes_first():
    """A cent of powder between them, twelve days of drying (own arithmetic)."""
    prices = {"gypsum_cement": Price(pack=25.0, price=20.0), "mortar": Price(pack=25.0, price=20.5)}
    request = order(30, day(60), molds=6, prices=prices, shelf_cost=0.0)
    cheap = candidate(name="cheap", drying_time=14.0)
    soon = candidate(name="soon", powders={"mortar": 0.3}, drying_time=2.0)
    first, second = rank_candidates(request, [cheap, soon])
    assert [row.plan.candidate.name for row in (first, second)] == ["soon", "cheap"]
    assert first.plan.cost_order.per_good_vessel > second.plan.cost_order.per_good_vessel
    assert (second.tied_order, second.tied_wear) == (True, True)
    dear = {**prices, "mortar": Price(pack=25.0, price=40.0)}
    assert rank_candidates(replace(request, prices=dear), [cheap, soon])[0].plan.candidate.name == "cheap"


def test_of_late_blends_the_one_ready_first_goes_first_whatever_it_costs():
    prices = {"gypsum_cement": Price(pack=25.0, price=20.0), "mortar": Price(pack=25.0, price=90.0)}
    request = order(30, day(1), molds=6, prices=prices)
    cheap = candidate(name="cheap", drying_time=14.0)
    soon = candidate(name="soon", powders={"mortar": 0.3}, drying_time=2.0)
    assert [row.plan.candidate.name for row in rank_candidates(request, [cheap, soon])] == ["soon", "cheap"]


def test_the_best_by_wear_is_always_shown():
    """Six quick dear blends that buy few molds, and a slow cheap one that buys 29 (own arithmetic)."""
    prices = {"gypsum_cement": Price(pack=25.0, price=20.0), "mortar": Price(pack=25.0, price=37.5)}
    quick = [candidate(name=f"quick {n}", powders={"mortar": 0.3 + 1e-3 * n}) for n in range(6)]
    slow = candidate(name="slow", demold_time=300.0)
    request = order(300, day(16), molds=0, reject=0.08, prices=prices)
    ranked = rank_candidates(request, [*quick, slow])
    assert [row.rank_order for row in ranked] == [1, 2, 3, 4, 5]
    assert sorted(row.rank_wear for row in ranked) == [1, 2, 3, 4, 5]
    assert next(row for row in ranked if row.rank_wear == 1).plan.candidate.name == "slow"


def test_a_blend_less_sure_than_asked_goes_after_all_that_are():
    cheap = candidate(name="cheap", powders={"gypsum_cement": 0.1}, chance=0.4, sure=False)
    late = candidate(name="late", drying_time=90.0, chance=0.9)
    ranked = rank_candidates(order(30, day(30), molds=6), [cheap, late, candidate(name="sure", chance=0.9)])
    assert [row.plan.candidate.name for row in ranked] == ["sure", "late", "cheap"]
    assert [row.rank_wear for row in ranked] == [1, 2, 3]


def test_a_blend_that_is_asked_for_is_always_shown():
    blends = [candidate(name=f"blend {n}", powders={"gypsum_cement": 0.3 + 0.1 * n}) for n in range(4)]
    ranked = rank_candidates(order(30, day(30), molds=6), blends, best=1, keep="blend 3")
    assert [row.plan.candidate.name for row in ranked] == ["blend 0", "blend 3"]


def test_a_blend_never_cast_is_cast_and_burned_before_the_order():
    """One cast on Monday, four days to dry, sealed Saturday, burned Monday and Tuesday (own arithmetic).

    The order is cast from Wednesday, and is ready as late as an order that begins on that Wednesday.
    """
    asked = order(4, day(60), test_burn_days=2, seal_days=1, molds=4, working_days=tuple(range(7)))
    new = plan_order(asked, candidate(drying_time=3.0, coats=2, never_cast=True))
    known = candidate(drying_time=3.0, coats=2)
    one = plan_order(replace(asked, vessels=1), known)
    assert (new.trial, new.request.start) == (MONDAY, one.ready)
    assert new.schedule.days[0].day == one.ready
    assert new.ready == plan_order(replace(asked, start=one.ready), known).ready
    assert plan_order(asked, known).trial is None


def test_the_ready_date_spans_the_demold_time():
    """65 min give five turns, 200 min one: 4 molds cast 40 in 2 days or 10 (own arithmetic).

    A time that one draw in ten has is within the range, one that one in fifty has is not.
    """
    asked = order(40, day(60), molds=4)

    def plan(*minutes):
        return plan_order(asked, candidate(drawn=tuple(Times(each, 0.0, 20.0, 0) for each in minutes)))

    ends = tuple(plan_order(asked, candidate(demold_time=time)).ready for time in (60.0, 200.0))
    assert plan(*[60.0] * 9, 200.0).ready_range == ends
    assert plan(*[60.0] * 49, 200.0).ready_range == (ends[0], ends[0])
    assert plan(*[60.0] * 9, 900.0).ready_range == (ends[0], None)


def test_an_order_that_is_perhaps_in_time_is_told_what_would_make_it_surer():
    """Ready on the day it is due, and later where one casting in ten takes long to leave its mold."""
    asked = order(60, day(300), molds=2)
    drawn = tuple(Times(each, 0.0, 20.0, 0) for each in (*[60.0] * 9, 100.0))
    early, late = plan_order(asked, candidate(drawn=drawn)).ready_range
    plan = plan_order(replace(asked, due=early), candidate(drawn=drawn))
    assert plan.meets_date
    assert plan.status == PERHAPS
    assert late > early
    assert plan.remedies
    assert all(each.ready <= early - (late - early) for each in plan.remedies)
    assert plan.total == pytest.approx(60 * plan.cost_order.per_good_vessel)
    surely = plan_order(replace(asked, due=late), candidate(drawn=drawn))
    assert (surely.status, surely.remedies) == (IN_TIME, ())
    never = tuple(Times(each, 0.0, 20.0, 0) for each in (*[60.0] * 9, 900.0))
    stuck = plan_order(replace(asked, due=late), candidate(drawn=never))
    assert (stuck.ready_range[1], stuck.status, stuck.remedies) == (None, PERHAPS, ())


def test_the_range_runs_forward_where_slower_molds_are_ready_first():
    """What is cast faster fills the drying rack sooner, and may be ready later: both days in order."""
    asked = order(300, day(60), molds=6, shelf_places=120, pack_minutes=4.0, test_burn_days=2)
    slow = candidate(demold_time=60.0, drying_time=2.3, coats=2)
    drawn = tuple(Times(each, 2.3, 20.0, 2) for each in (40.0, 60.0))
    dates = {plan_order(asked, replace(slow, demold_time=each)).ready for each in (40.0, 60.0)}
    assert plan_order(asked, replace(slow, drawn=drawn)).ready_range == (min(dates), max(dates))


def test_castings_that_fail_alone_make_a_range():
    """One mold, one turn a day: a day for each casting, at the 5 and 95 % points of scipy's law."""
    asked = order(20, day(90), molds=1, reject=0.08, working_days=tuple(range(7)))
    plan = plan_order(asked, candidate(demold_time=300.0))

    def pours(chance):
        return next(n for n in range(20, 60) if betabinom.cdf(n - 20, n, 8.0, 92.0) >= chance)

    assert plan.ready_range == (day(pours(0.05)), day(pours(0.95)))
    assert plan.ready == day(pours(0.90))


def test_a_trial_that_dries_slowly_puts_the_range_off():
    asked = order(4, day(60), molds=4, working_days=tuple(range(7)))
    drawn = tuple(Times(65.0, dry, 20.0, 0) for dry in (1.0, 9.0))
    known, new = (
        plan_order(asked, candidate(drying_time=1.0, drawn=drawn, never_cast=never))
        for never in (False, True)
    )
    spans = [(late - early).days for early, late in (known.ready_range, new.ready_range)]
    assert spans == [8, 16], "the vessels of the order, and the trial before them"


def test_an_order_costs_what_is_expected_of_its_blend():
    plain = plan_order(order(40, day(60), molds=4), candidate()).cost_order
    doubtful = plan_order(
        order(40, day(60), molds=4), candidate(beyond_best_values={"sealer": 0.4})
    ).cost_order
    assert doubtful.parts["sealer"] == pytest.approx(plain.parts["sealer"] + 0.4)
    assert doubtful.per_good_vessel == pytest.approx(plain.per_good_vessel + 0.4)


def test_pounds_and_kilograms_plan_the_same_order():
    """50 lb = 22.67961850 kg exactly (NIST SP 811)."""
    plans = [
        plan_order(
            order(300, day(16), molds=0, prices={"gypsum_cement": Price(pack=pack, price=23.0)}),
            candidate(powders={"gypsum_cement": mass}),
        )
        for pack, mass in (
            (parse("50 lb", "kg"), parse("0.66 lb", "kg")),
            (22.6796185, 0.66 * 0.45359237),
        )
    ]
    assert plans[0].ready == plans[1].ready
    assert plans[0].purchase.packs("gypsum_cement") == plans[1].purchase.packs("gypsum_cement")
    assert plans[0].cost_order.per_good_vessel == pytest.approx(plans[1].cost_order.per_good_vessel)


def test_a_mix_fills_what_bucket_window_and_molds_allow():
    by_hand = {(20.0, 6, 10): 6, (9.0, 6, 10): 4, (20.0, 6, 3): 3, (4.0, 6, 10): 0}
    for (window, bucket, molds), filled in by_hand.items():
        made = Shop(mixing=5.0, pour_minutes=1.0, molds_per_mix=bucket, molds=molds)
        assert molds_per_mix(window, made) == filled


def test_ten_thousand_vessels_take_every_day_of_years():
    """8 min to cast and 8 % rejects: 11,315 pours at 30 a day of six molds are 378 days (own arithmetic)."""
    plan = plan_order(order(10_000, day(400), molds=6, reject=0.08, may_buy_molds=False), candidate())
    assert plan.pours == 11_315
    assert plan.schedule.casting_days == 378
    assert not plan.meets_date


def test_an_order_beyond_ten_years_says_how_much_can_be_made():
    request = order(1_000_000, day(3000), molds=6, may_buy_molds=False)
    plan = plan_order(request, candidate())
    assert (plan.schedule, plan.ready, plan.meets_date) == (None, None, False)
    # 30 castings on each of some 2,609 working days of ten years (own arithmetic)
    assert plan.most_vessels == pytest.approx(30 * 2609, rel=0.01)
    most = plan_order(replace(request, vessels=plan.most_vessels), candidate())
    assert most.ready is not None
    more = plan_order(replace(request, vessels=plan.most_vessels + 300), candidate())
    assert more.ready is None


def test_hands_places_and_molds_together_where_no_pair_is_enough():
    changes = {"molds": 2, "shelf_places": 60, "pack_minutes": 4.0}
    request = order(600, day(21), **changes)
    blend = candidate(drying_time=2.0, coats=2)
    (found,) = plan_order(request, blend).remedies
    assert [change.name for change in found.changes] == ["people", "shelf_places", "molds"]
    assert _confirmed(request, blend, found)


_SHOPS = st.fixed_dictionaries(
    {
        "molds": st.integers(1, 12),
        "people": st.sampled_from([0.5, 1.0, 2.0]),
        "reject": st.sampled_from([0.0, 0.08, 0.3]),
        "finish_reject": st.sampled_from([0.0, 0.1]),
        "pack_minutes": st.sampled_from([0.0, 4.0, 30.0]),
        "shelf_places": st.integers(5, 60),
        "overnight": st.booleans(),
        "test_burn_days": st.integers(0, 3),
        "mixes_per_day": st.integers(1, 5),
    }
)
_BLENDS = st.fixed_dictionaries(
    {
        "demold_time": st.sampled_from([30.0, 120.0, 390.0]),
        "drying_time": st.sampled_from([0.0, 0.5, 2.0, 5.0]),
        "coats": st.integers(0, 2),
    }
)


@settings(max_examples=40, deadline=None)
@given(changes=_SHOPS, blend=_BLENDS, vessels=st.integers(1, 120))
def test_sums_close_and_no_bound_is_broken(changes, blend, vessels):
    request = order(vessels, day(2000), **changes)
    plan = plan_order(request, candidate(**blend))
    days = plan.schedule.days
    assert sum(each.cast for each in days) == plan.pours
    assert sum(each.packed for each in days) == vessels
    assert all(0 <= each.on_shelf <= changes["shelf_places"] for each in days)
    assert all(each.minutes <= 420.0 * changes["people"] + 1e-6 for each in days)
    assert all(each.working or each.cast == each.sealed == each.packed == 0 for each in days)
    assert all(each.cast <= plan.molds_at_work * plan.turns for each in days)
    assert days[0].day == MONDAY
    assert plan.ready >= days[-1].day
    assert set(plan.relief) == set(RESOURCES)
    assert all(ready <= plan.ready for ready in plan.relief.values())


@settings(max_examples=25, deadline=None)
@given(changes=_SHOPS, blend=_BLENDS, vessels=st.integers(1, 120))
def test_more_of_anything_is_never_later(changes, blend, vessels):
    request = order(vessels, day(2000), **changes)
    ready = plan_order(request, candidate(**blend)).ready
    more = {"molds": 1, "people": 1.0, "shelf_places": 1, "mixes_per_day": 1}
    for name, step in more.items():
        larger = replace(request, shop=replace(request.shop, **{name: changes[name] + step}))
        assert plan_order(larger, candidate(**blend)).ready <= ready


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        pytest.param({"reject": 1.0}, "shop.reject", id="all-rejected"),
        pytest.param({"finish_reject": 1.0}, "shop.finish_reject", id="all-rejected-late"),
        pytest.param({"molds": -1}, "shop.molds", id="negative-molds"),
        pytest.param({"molds": 0, "may_buy_molds": False}, "shop.molds", id="no-molds"),
        pytest.param({"shift": 7.0}, "shop.shift", id="shift-shorter-than-a-pour"),
        pytest.param({"shift": 0.0}, "shop.shift", id="no-shift"),
        pytest.param({"working_days": ()}, "shop.working_days", id="no-working-day"),
        pytest.param({"mold_view": "guess"}, "shop.mold_view", id="unknown-view"),
        pytest.param({"fees": 0.6, "profit": 0.4}, "shop.fees", id="nothing-left-of-the-price"),
        pytest.param({"wage": math.nan}, "shop.wage", id="not-a-number"),
        pytest.param({"shipping_bands": ((900.0, 4.0), (900.0, 6.0))}, "shop.shipping_bands", id="bands"),
        pytest.param({"shipping_bands": ((500.0, 4.0),)}, "plain.dry_mass", id="too-heavy-to-ship"),
        pytest.param({"mixing": 30.0}, "plain.working_window", id="sets-in-the-bucket"),
        pytest.param({"prices": {}}, "prices.gypsum_cement", id="no-price"),
        pytest.param(
            {"prices": {"gypsum_cement": Price(25.0, 40.0, breaks=((9, 3.0), (2, 4.0)))}},
            "prices.gypsum_cement.breaks",
            id="breaks-out-of-order",
        ),
    ],
)
def test_a_bad_order_says_where_and_how_to_repair_it(changes, where):
    with pytest.raises(FileFaults) as caught:
        plan_order(order(10, day(20), **changes), candidate())
    assert [fault.where for fault in caught.value.faults] == [where]
    assert caught.value.faults[0].repair.endswith(".")


def test_all_faults_come_at_once():
    request = replace(order(-3, day(-1), reject=1.5), prices={})
    with pytest.raises(FileFaults) as caught:
        plan_order(request, candidate(demold_time=0.0, powders={"gypsum_cement": -0.1}))
    assert {fault.where for fault in caught.value.faults} == {
        "shop.reject",
        "order.vessels",
        "order.due",
        "plain.demold_time",
        "plain.gypsum_cement",
        "prices.gypsum_cement",
    }


def test_the_due_day_itself_is_in_time():
    plan = plan_order(order(3, day(3), molds=1), candidate(demold_time=300.0))
    late = plan_order(order(3, day(2), molds=1, may_buy_molds=False), candidate(demold_time=300.0))
    assert plan.meets_date
    assert plan.remedies == ()
    assert not late.meets_date
    assert late.ready == plan.ready
