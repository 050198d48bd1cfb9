"""Day plans against a second floor that walks single vessels, and against bounds no plan can beat."""

from __future__ import annotations

import datetime
import math
from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from orders import MONDAY, candidate, day, order, shop
from scipy.optimize import linprog

from optimizer.money.capacity import capacity, day_rates
from optimizer.money.order import OrderPlan, plan_order
from optimizer.money.request import Candidate, OrderRequest

_ROUNDED = 1.0
"""Days print whole vessels of running sums, so a count may be short or over by less than one."""


def _works(date: datetime.date, request: OrderRequest) -> bool:
    return date.weekday() in request.shop.working_days and date not in request.shop.holidays


def _stages(plan: OrderPlan, stage: str) -> list[datetime.date]:
    """Return the date of each single vessel in a stage, first in, first out."""
    return [each.day for each in plan.schedule.days for _ in range(getattr(each, stage))]


def _dry_on(cast: datetime.date, blend: Candidate, request: OrderRequest) -> datetime.date:
    """Return the morning of a dry vessel that is hung up when the shift of its casting ends."""
    minutes = blend.drying_time * 1440.0 + request.shop.shift
    return cast + datetime.timedelta(days=max(1, math.ceil(round(minutes / 1440.0, 9))))


def _packable_on(sealed: datetime.date, blend: Candidate, request: OrderRequest) -> datetime.date:
    """Return the first day on which a vessel sealed on a date may be packed."""
    cured = sealed + datetime.timedelta(days=request.shop.seal_days if blend.coats else 0)
    burned = 0
    while burned < request.shop.test_burn_days:
        burned += _works(cured, request)
        cured += datetime.timedelta(days=1)
    return cured


def _walk(plan: OrderPlan, request: OrderRequest, blend: Candidate) -> list[int]:
    """Take each vessel of a plan without rejects through the shop; return the shelf at each day's end."""
    shop = request.shop
    casts, seals, packs = (_stages(plan, stage) for stage in ("cast", "sealed", "packed"))
    assert len(casts) == len(seals) == len(packs) == request.vessels
    cure = datetime.timedelta(days=shop.seal_days if blend.coats else 0)
    shelf: Counter[datetime.date] = Counter()
    work: Counter[datetime.date] = Counter()
    for cast, sealed, packed in zip(casts, seals, packs, strict=True):
        assert sealed >= _dry_on(cast, blend, request)
        assert packed >= _packable_on(sealed, blend, request)
        work[cast] += shop.cast_minutes
        work[sealed] += shop.seal_minutes * blend.coats
        work[packed] += shop.pack_minutes
        for number in range((sealed + cure - cast).days):
            shelf[cast + datetime.timedelta(days=number)] += 1
    assert all(_works(date, request) for date in work)
    slack = shop.seal_minutes * blend.coats + shop.pack_minutes
    assert all(minutes <= shop.shift * shop.people + slack for minutes in work.values())
    return [shelf[each.day] for each in plan.schedule.days]


_SHOPS = st.fixed_dictionaries(
    {
        "molds": st.integers(1, 14),
        "people": st.sampled_from([0.5, 1.0, 2.0]),
        "pack_minutes": st.sampled_from([0.0, 4.0, 15.0]),
        "shelf_places": st.integers(12, 90),
        "test_burn_days": st.integers(0, 3),
        "seal_days": st.integers(1, 3),
        "holidays": st.sampled_from([(), (day(3),), (day(4), day(9), day(10))]),
    }
)
_BLENDS = st.fixed_dictionaries(
    {
        "demold_time": st.sampled_from([30.0, 120.0, 390.0]),
        "drying_time": st.sampled_from([0.0, 0.5, 1.3, 3.0]),
        "coats": st.integers(0, 3),
    }
)


@settings(max_examples=60, deadline=None)
@given(changes=_SHOPS, blend=_BLENDS, vessels=st.integers(1, 250))
def test_single_vessels_walked_through_the_plan_break_no_bound(changes, blend, vessels):
    request, made_of = order(vessels, day(3000), may_buy_molds=False, **changes), candidate(**blend)
    plan = plan_order(request, made_of)
    stood = _walk(plan, request, made_of)
    told = [each.on_shelf for each in plan.schedule.days]
    assert max(told) <= changes["shelf_places"]
    # a vessel sealed in parts on two days stands in both counts: told is within one piece of what stood
    assert all(abs(a - b) <= 1 + _ROUNDED for a, b in zip(told, stood, strict=True))
    assert max(stood) <= changes["shelf_places"] + _ROUNDED


def _fluid_days(request: OrderRequest, blend: Candidate, longest: int) -> int:
    """Return the fewest calendar days in which a fluid of vessels could be cast, sealed and packed.

    A linear program over all plans at once, vessels cut as finely as it likes: no plan is earlier.
    """
    shop, low, high = request.shop, 1, longest
    while low < high:
        days = (low + high) // 2
        low, high = (low, days) if _fluid_fits(request, blend, days) else (days + 1, high)
    assert shop.pack_days == 1
    return high


def _fluid_fits(request: OrderRequest, blend: Candidate, days: int) -> bool:
    shop = request.shop
    dates = [MONDAY + datetime.timedelta(days=number) for number in range(days)]
    working = [_works(date, request) for date in dates]
    cure = shop.seal_days if blend.coats else 0
    rows, limits = [], []

    def row(limit: float, **parts: dict[int, float]) -> None:
        line = [0.0] * (3 * days)
        for stage, at in (("cast", 0), ("seal", days), ("pack", 2 * days)):
            for number, value in parts.get(stage, {}).items():
                line[at + number] += value
        rows.append(line)
        limits.append(limit)

    minutes = {"cast": shop.cast_minutes, "seal": shop.seal_minutes * blend.coats, "pack": shop.pack_minutes}
    for number, date in enumerate(dates):
        row(shop.shift * shop.people, **{stage: {number: each} for stage, each in minutes.items()})
        dry = [n for n in range(number + 1) if _dry_on(dates[n], blend, request) <= date]
        ready = [n for n in range(number + 1) if _packable_on(dates[n], blend, request) <= date]
        done = range(number + 1)
        row(0.0, seal=dict.fromkeys(done, 1.0), cast=dict.fromkeys(dry, -1.0))
        row(0.0, pack=dict.fromkeys(done, 1.0), seal=dict.fromkeys(ready, -1.0))
        row(
            shop.shelf_places,
            cast=dict.fromkeys(done, 1.0),
            seal=dict.fromkeys(range(max(0, number + 1 - cure)), -1.0),
        )
    turns = math.floor((shop.shift - shop.prep) / (blend.demold_time + shop.prep))
    most = [shop.molds * turns if works else 0 for works in working]
    bounds = [(0, limit) for limit in most] + [(0, None if works else 0) for works in working] * 2
    whole = [[1.0] * days + [0.0] * 2 * days, [0.0] * 2 * days + [1.0] * days]
    found = linprog(
        [0.0] * (3 * days),
        A_ub=rows,
        b_ub=limits,
        A_eq=whole,
        b_eq=[request.vessels] * 2,
        bounds=bounds,
        method="highs",
    )
    return bool(found.status == 0)


@pytest.mark.parametrize(
    ("vessels", "changes", "blend"),
    [
        pytest.param(120, {"molds": 3}, {"drying_time": 2.0, "coats": 2}, id="molds"),
        pytest.param(200, {"molds": 20}, {"drying_time": 2.0, "coats": 2}, id="labor"),
        pytest.param(200, {"molds": 20, "people": 3.0}, {"drying_time": 2.0, "coats": 1}, id="three-pairs"),
        pytest.param(150, {"molds": 20, "shelf_places": 40}, {"drying_time": 3.0, "coats": 1}, id="shelf"),
        pytest.param(9, {"molds": 4}, {"drying_time": 4.0, "coats": 2}, id="drying"),
        pytest.param(90, {"molds": 9, "seal_minutes": 12.0}, {"drying_time": 1.3, "coats": 3}, id="sealing"),
        pytest.param(150, {"molds": 9, "holidays": (day(4), day(7))}, {"coats": 1}, id="holidays"),
    ],
)
def test_the_ready_date_is_near_what_no_plan_can_beat(vessels, changes, blend):
    """HiGHS, a general library: the fluid bound; whole castings and whole evenings cost two days of work."""
    request = order(vessels, day(400), **({"shelf_places": 120, "pack_minutes": 4.0} | changes))
    request = replace(request, may_buy_molds=False)
    made_of = candidate(**blend)
    ready = (plan_order(request, made_of).ready - MONDAY).days + 1
    least = _fluid_days(request, made_of, ready)
    days = [MONDAY + datetime.timedelta(days=number) for number in range(least, ready)]
    assert least <= ready
    assert sum(_works(date, request) for date in days) <= 2


def test_casting_and_finishing_share_every_day_of_a_long_order():
    """9,000 vessels, 120 places: once the first are dry, each week casts, seals and packs (own arithmetic).

    8 min to cast, 5 to seal and 4 to pack: 420 min make 24.7 vessels a day, 123.5 a week.
    """
    request = order(9000, day(3000), molds=9, shelf_places=120, pack_minutes=4.0, test_burn_days=2)
    plan = plan_order(request, candidate(drying_time=2.0, coats=2))
    days = plan.schedule.days
    assert max(each.on_shelf for each in days) <= 120
    weeks = [days[first : first + 7] for first in range(21, len(days) - 28, 7)]
    assert len(weeks) > 60
    for week in weeks:
        for stage in ("cast", "sealed", "packed"):
            assert 118 <= sum(getattr(each, stage) for each in week) <= 136
    assert max(each.off_shelf for each in days) < 300
    assert plan.schedule.fullest.on_shelf == max(each.on_shelf for each in days)


def test_packing_takes_its_stated_minutes_and_no_more():
    """Thirty minutes each in a shift of eight hours: sixteen a day at most, and on a full day all sixteen."""
    request = order(64, day(60), pack_minutes=30.0, cast_minutes=1.0, people=1, shift=480.0, molds=40)
    plan = plan_order(request, candidate(working_window=1000.0))
    packed = [each.packed for each in plan.schedule.days]
    assert sum(packed) == 64
    assert max(packed) == 16


def test_labor_alone_keeps_up_what_its_minutes_say():
    """Shift over the minutes of casting, sealing the kept and packing the sold (own arithmetic)."""
    made = shop(cast_minutes=4.0, seal_minutes=3.0, pack_minutes=2.0, reject=0.1, finish_reject=0.2)
    rates = day_rates(capacity(candidate(coats=2), made), made)
    each = 4.0 + 0.9 * 2.0 * 3.0 + 0.9 * 0.8 * 2.0
    assert rates["labor"] == pytest.approx(made.shift * made.people / each)
