"""An order's castings and ready date, beside studios that live through it; more of them by the script beside.

Reference: a plain simulation of the floor, one vessel after another, that shares nothing with the plan's own.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.trust.studio_runs import NEVER, Studio, live, orders, studios_of

RUNS = 1_000
ONE_MOLD = "300 of the demo with 1 mold"


@pytest.fixture(scope="module")
def answer():
    """Return the order whose date hangs on its molds, so that it may fall on any day of a month."""
    return next(orders(ONE_MOLD))[1]


@pytest.fixture(scope="module")
def seen(answer):
    dice = np.random.default_rng(43)
    return [live(answer.plan, answer.request.shop, each, dice) for each in studios_of(answer, RUNS, seed=41)]


def test_nine_of_ten_orders_have_enough_of_the_castings_told(answer, seen):
    assert np.mean([one.good >= answer.plan.vessels for one in seen]) == pytest.approx(0.90, abs=0.02)


def test_nine_of_ten_orders_are_ready_within_the_range_told(answer, seen):
    early, late = answer.plan.ready_range
    ready = np.array([one.ready for one in seen])
    for day, share in ((early, 0.05), (late, 0.95)):
        # a day is the point of a share where no more are ready before it, and no fewer by its end
        assert np.mean(ready < day) - 0.02 <= share <= np.mean(ready <= day) + 0.02


def test_the_plan_is_what_one_studio_lives(answer):
    """Times at best values and no luck at all: the last of the castings planned is the last good one."""
    plan, shop = answer.plan, replace(answer.request.shop, reject=0.0)
    there = plan.candidate
    studio = Studio(there.demold_time, there.drying_time, there.working_window, there.coats, 1.0)
    whole = replace(plan, vessels=plan.pours)
    assert live(whole, shop, studio, np.random.default_rng(1)).ready == plan.ready
    assert live(whole, shop, replace(studio, coats=np.inf), np.random.default_rng(1)).ready == NEVER
