"""Break-even: whole molds counted size by size."""

from __future__ import annotations

import math

import pytest

from optimizer.job import Shop
from optimizer.money.vessel_cost import OrderLine, Switch, break_even, cost_coefficients, order_money


def test_counting_finds_what_the_formula_says():
    """Up to 400 vessels one mold will do for either; from 401 the slow blend takes two (own arithmetic).

    Then 2 x 28 + 7.00 n against 28 + 7.05 n: the same at 28 / 0.05 = 560 vessels.
    """
    slow, fast = OrderLine("slow", 7.00, 1, 400), OrderLine("fast", 7.05, 2, 400)
    shop = Shop(molds=0, mold_price=28.0, mold_life=1e9, reject=0.0)
    found = break_even(slow, fast, shop, most=800)
    assert found == (Switch(1, "slow"), Switch(401, "fast"), Switch(561, "slow"))
    assert break_even(slow, fast, shop, most=561) == found
    assert break_even(slow, fast, shop, most=560) == found[:2]


@pytest.mark.parametrize("owned", [0, 3, 28])
@pytest.mark.parametrize("life", [80.0, 1e9])
def test_switches_are_where_a_scan_of_all_sizes_changes_sides(owned, life):
    """The scan adds up molds itself: those at work or those worn out, less those owned."""
    shop = Shop(molds=owned, mold_price=28.0, mold_life=life, reject=0.08)
    slow, fast = OrderLine("slow", 7.00, 1, 12), OrderLine("fast", 7.45, 5, 12)

    def money(line: OrderLine, vessels: int) -> float:
        pours = math.ceil(vessels / 0.92 - 1e-9)
        used = max(math.ceil(pours / (12 * line.turns)), math.ceil(pours / life))
        bought = max(0, used - owned)
        worn = 28.0 / life * (used - bought) / used / 0.92 * vessels
        return vessels * line.per_vessel + bought * 28.0 + worn

    sides = ["slow" if money(slow, n) < money(fast, n) else "fast" for n in range(1, 1501)]
    changes = [n for n in range(2, 1501) if sides[n - 1] != sides[n - 2]]
    found = break_even(slow, fast, shop, most=1500)
    assert [switch.vessels for switch in found] == [1, *changes]
    assert all(switch.cheaper == sides[switch.vessels - 1] for switch in found)


def test_owned_molds_keep_the_slow_blend_cheaper_up_to_the_size_that_needs_more():
    """28 molds give 336 castings in 12 days at one turn; with none owned the fast blend always wins."""
    slow, fast = OrderLine("slow", 7.00, 1, 12), OrderLine("fast", 7.20, 5, 12)
    with_molds = break_even(slow, fast, Shop(molds=28, reject=0.0, mold_life=1e9), most=2000)
    assert with_molds[0] == Switch(1, "slow")
    assert with_molds[1].cheaper == "fast"
    assert with_molds[1].vessels > 336
    none_owned = break_even(slow, fast, Shop(molds=0, reject=0.0, mold_life=1e9), most=2000)
    assert none_owned[-1].cheaper == "fast"


def test_equal_blends_never_switch():
    line = OrderLine("one", 7.0, 3, 10)
    assert break_even(line, OrderLine("other", 7.0, 3, 10), Shop(), most=50) == ()


def test_a_blend_without_a_turn_never_wins():
    shop = Shop()
    assert order_money(OrderLine("never", 1.0, 0, 10), 5, shop) == math.inf
    found = break_even(OrderLine("never", 1.0, 0, 10), OrderLine("dear", 9.0, 1, 10), shop, most=5)
    assert found == (Switch(1, "dear"),)


def test_the_line_over_sizes_is_the_cost_of_a_vessel():
    """At the shop's own order size the money is the vessel's cost times the vessels."""
    shop = Shop(mold_view="order", molds=2, order_vessels=240, order_days=8, finish_reject=0.1)
    cost = cost_coefficients(shop, turns=3, coats=1).at(0.4, 2.0)
    bare = cost_coefficients(Shop(molds=2, mold_price=0.0, finish_reject=0.1), turns=3, coats=1).at(0.4, 2.0)
    assert order_money(OrderLine("one", bare, 3, 8), 240, shop) == pytest.approx(240 * cost)
