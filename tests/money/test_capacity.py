"""What a day, a mix and ten years can hold at their edges: sums done by hand."""

from __future__ import annotations

import datetime
from dataclasses import replace

import pytest
from orders import MONDAY, candidate, day, order, shop

from optimizer.errors import FileFaults
from optimizer.job import Shop
from optimizer.money.capacity import capacity, molds_per_mix
from optimizer.money.lateness_options import LONGEST_SHIFT, week_of
from optimizer.money.order import plan_order
from optimizer.money.schedule import most_vessels


def test_a_mix_that_takes_no_time_to_pour_fills_all_as_long_as_it_can_be_mixed():
    for window, filled in ((5.0, 6), (6.0, 6), (4.9, 0)):
        made = Shop(mixing=5.0, pour_minutes=0.0, molds_per_mix=6, molds=10)
        assert molds_per_mix(window, made) == filled, window


@pytest.mark.parametrize(("reject", "finish_reject"), [(0.0, 0.0), (0.2, 0.0), (0.0, 0.25), (0.2, 0.25)])
def test_most_vessels_of_ten_years_are_those_cast_and_kept(reject, finish_reject):
    """One mold filled five times a day on the 2,609 or so working days of ten years (own arithmetic)."""
    made = shop(molds=1, reject=reject, finish_reject=finish_reject)
    most = most_vessels(capacity(candidate(), made), made, MONDAY)
    assert most == pytest.approx(5 * 2609 * (1.0 - reject) * (1.0 - finish_reject), rel=0.01)


@pytest.mark.parametrize(
    ("drying", "slowest"), [(1.6, "molds"), (2.6, "molds"), (2.8, "drying"), (3.6, "drying")]
)
def test_drying_holds_back_an_order_that_is_cast_much_sooner_than_a_vessel_dries(drying, slowest):
    """Ten vessels from one mold, five a day, take Monday and Tuesday; of four days of drying they wait.

    From the end of a shift of 7 h, 2.6 d end on the third day, 2.8 d on the fourth (own arithmetic).
    """
    request = order(10, day(60), molds=1, may_buy_molds=False)
    plan = plan_order(request, candidate(drying_time=drying))
    assert [each.day for each in plan.schedule.days if each.cast] == [day(0), day(1)]
    assert plan.bottleneck == slowest


def test_casting_over_night_is_proposed_as_a_switch_from_off_to_on():
    request = order(300, day(11), molds=40, may_buy_molds=False)
    plan = plan_order(request, candidate(demold_time=600.0))
    (change,) = (c for remedy in plan.remedies for c in remedy.changes if c.name == "overnight")
    assert (change.now, change.needed) == (0, 1)


def test_an_order_without_a_day_to_wait_is_ready_on_the_day_it_is_cast():
    request = replace(order(1, day(60)), start=MONDAY + datetime.timedelta(days=1))
    assert plan_order(request, candidate()).ready == day(2)


def test_the_longest_shift_is_proposed_where_no_shorter_one_is_enough():
    """Ninety castings of 8 min on one day are the 720 min that a shift may have at most (own arithmetic)."""
    plan = plan_order(order(90, day(1), molds=1000), candidate())
    (change,) = (c for remedy in plan.remedies for c in remedy.changes if c.name == "shift")
    assert change.needed == LONGEST_SHIFT == 720.0
    less = plan_order(order(91, day(1), molds=1000), candidate())
    assert "shift" not in {c.name for remedy in less.remedies for c in remedy.changes[:1]}


@pytest.mark.parametrize(("mass", "fits"), [(350.0, True), (350.1, False)])
def test_a_vessel_of_just_the_mass_of_the_last_band_is_shipped(mass, fits):
    """Of 400 g that a carrier takes, 50 are the box's (own arithmetic)."""
    request = order(4, day(60), shipping_bands=((400.0, 5.0),), shipped_extras=50.0)
    if fits:
        assert plan_order(request, candidate(dry_mass=mass)).ready is not None
        return
    with pytest.raises(FileFaults, match=r"up to 350 g"):
        plan_order(request, candidate(dry_mass=mass))


@pytest.mark.parametrize(
    ("vessels", "people"),
    [(1600, 31), (2000, 39), (2120, 45), (3000, 60), (3300, 90), (5000, 150), (8000, 300)],
)
def test_many_more_hands_are_proposed_in_steps_of_what_there_are(vessels, people):
    """Of 420 min at 8 min each one hand casts 52.5 a day: 2,000 take 38.1, more than forty go up in steps."""
    changes = {"molds": 100_000, "people": 30.0, "mixes_per_day": 10_000, "may_buy_molds": False}
    request = order(vessels, day(1), **changes)
    plan = plan_order(request, candidate())
    (change,) = (c for remedy in plan.remedies for c in remedy.changes[:1] if c.name == "people")
    assert change.needed == people


def test_what_leaves_the_mold_whole_is_sealed_and_what_passes_is_packed():
    """Of 100 cast a quarter is lost at the mold and a fifth of the rest later: 75 sealed, 60 packed."""
    request = order(60, day(300), molds=4, reject=0.25, finish_reject=0.2, may_buy_molds=False)
    plan = plan_order(request, candidate(coats=1, drying_time=2.0))
    days = plan.schedule.days
    assert sum(each.packed for each in days) == 60
    whole = sum(each.cast for each in days) * 0.75
    assert sum(each.sealed for each in days) == pytest.approx(whole, abs=1.0)
    assert days[-1].off_shelf == 0


@pytest.mark.parametrize(
    ("own", "days", "week"),
    [
        ((0, 1, 2, 3, 4), 5, (0, 1, 2, 3, 4)),
        ((0, 1, 2, 3, 4), 6, (0, 1, 2, 3, 4, 5)),
        ((0, 1, 2, 3, 4), 7, (0, 1, 2, 3, 4, 5, 6)),
        ((1, 3), 3, (1, 3, 5)),
        ((1, 3), 5, (0, 1, 3, 5, 6)),
    ],
)
def test_a_longer_week_takes_saturday_first(own, days, week):
    """Monday is 0; then Sunday, and then what else is free (judgement)."""
    assert week_of(shop(working_days=own), days) == week
