"""Cost of one good vessel: parts, rejects by stage, both views of molds, the straight line."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from optimizer.constants import WATER_DENSITY
from optimizer.job import Shop
from optimizer.money.capacity import molds_needed, pours_needed
from optimizer.money.vessel_cost import (
    cost_coefficients,
    mold_charge,
    order_charge,
    price_floor,
    shipping_cost,
    shipping_edges,
    vessel_cost,
)
from optimizer.units import parse

_BARE = Shop(
    reject=0.0,
    waste=0.0,
    cast_minutes=0.0,
    seal_minutes=0.0,
    pack_minutes=0.0,
    coat_cost=0.0,
    shelf_cost=0.0,
    packing_cost=0.0,
    mold_price=0.0,
)


def _cost(shop: Shop, powder: float = 0.0, **changes: float) -> dict[str, float]:
    given = {"turns": 1, "coats": 0, "drying_days": 0.0, "shipped_mass": 0.0} | changes
    return dict(vessel_cost(powder, 0.0, 0.0, shop=shop, **given).parts)


def _random_shop(seed: int) -> Shop:
    draw = np.random.default_rng(seed).uniform
    return Shop(
        wage=draw(0, 40),
        mold_price=draw(0, 60),
        mold_life=draw(1, 120),
        mold_view=("wear", "order")[seed % 2],
        molds=int(draw(0, 12)),
        order_vessels=float(int(draw(1, 900))),
        order_days=draw(1, 30),
        reject=draw(0, 0.6),
        finish_reject=draw(0, 0.6),
        waste=draw(0, 0.3),
        coat_cost=draw(0, 1),
        shelf_cost=draw(0, 0.2),
        shipping_bands=((500.0, draw(1, 4)), (1500.0, draw(4, 9))),
    )


@pytest.mark.parametrize("seed", range(40))
def test_the_line_and_the_parts_agree(seed):
    shop, draw = _random_shop(seed), np.random.default_rng(seed + 1000).uniform
    powder, admixture, water, days = draw(0, 2), draw(0, 0.3), draw(0, 0.01), draw(0, 9)
    turns, coats, mass = int(draw(1, 9)), int(draw(0, 5)), draw(100, 1400)
    parts = vessel_cost(
        powder, admixture, water, turns=turns, coats=coats, drying_days=days, shipped_mass=mass, shop=shop
    )
    line = cost_coefficients(shop, turns, coats)
    straight = line.at(powder + admixture + water, days) + shipping_cost(mass, shop)
    assert parts.per_good_vessel == pytest.approx(straight, rel=1e-12, abs=0.0)


def test_a_hand_worked_vessel_with_two_kinds_of_rejects():
    """Casting 1.00, finishing 0.60, packing 0.40, a fifth lost early and a quarter late (own arithmetic).

    Per good vessel 1.00 / (0.8 x 0.75) + 0.60 / 0.75 + 0.40 = 1.6667 + 0.80 + 0.40 = 2.8667: the early
    losses cost 0.25 and the late ones (1.25 + 0.60) / 3 = 0.6167.
    """
    shop = replace(_BARE, reject=0.2, finish_reject=0.25, coat_cost=0.3, packing_cost=0.4)
    parts = _cost(shop, powder=1.0, coats=2)
    assert parts["casting_rejects"] == pytest.approx(0.25)
    assert parts["finishing_rejects"] == pytest.approx(1.85 / 3.0)
    assert sum(parts.values()) == pytest.approx(1.0 / 0.6 + 0.8 + 0.4)


def test_labor_of_one_pour_and_of_one_good_piece():
    """8 min at 20 an hour: 2.67 a pour, 2.90 a good piece at 8 % rejects (common practice, no source)."""
    parts = _cost(replace(_BARE, cast_minutes=8.0, wage=20.0, reject=0.08))
    assert round(parts["casting_labor"], 2) == 2.67
    assert round(sum(parts.values()), 2) == 2.90


def test_a_late_reject_costs_more_than_an_early_one():
    early = _cost(replace(_BARE, coat_cost=1.0, reject=0.1), powder=1.0, coats=1)
    late = _cost(replace(_BARE, coat_cost=1.0, finish_reject=0.1), powder=1.0, coats=1)
    assert sum(late.values()) - sum(early.values()) == pytest.approx(1.0 / 0.9 - 1.0)


def test_waste_falls_on_materials_and_names_the_filled_mass_as_its_base():
    parts = vessel_cost(
        1.0,
        0.5,
        0.1,
        turns=1,
        coats=0,
        drying_days=0.0,
        shipped_mass=0.0,
        shop=replace(_BARE, waste=0.1, packing_cost=9.0),
    ).parts
    assert parts["waste"] == pytest.approx(0.16)


def test_parts_add_up_to_the_total_to_the_cent():
    shop = _random_shop(3)
    parts = vessel_cost(0.3, 0.02, 0.001, turns=3, coats=2, drying_days=3, shipped_mass=700, shop=shop)
    assert round(math.fsum(parts.parts.values()), 2) == round(parts.per_good_vessel, 2)


@pytest.mark.parametrize(("turns", "molds", "each"), [(1, 28, 2.61), (3, 10, 0.93), (5, 6, 0.56)])
def test_molds_charged_whole_to_an_order_of_300(turns, molds, each):
    """300 vessels, 8 % rejects, 12 casting days, molds at 28 (own arithmetic)."""
    shop = Shop(mold_view="order", molds=0, order_vessels=300, order_days=12, reject=0.08, mold_price=28.0)
    charge = mold_charge(shop, turns)
    assert (charge.needed, charge.bought, round(charge.per_good_vessel, 2)) == (molds, molds, each)
    assert _cost(shop, turns=turns)["molds"] == pytest.approx(molds * 28.0 / 300)


def test_owned_molds_pay_wear_and_bought_ones_their_price():
    """10 molds at work, 4 owned: 6 bought, and 4 in 10 castings wear at 30 / 60 (own arithmetic)."""
    charge = order_charge(100, 10, Shop(molds=4, mold_price=30.0, mold_life=60.0, reject=0.0))
    assert charge.bought == 6
    assert charge.per_good_vessel == pytest.approx(6 * 30.0 / 100)
    assert charge.per_casting == pytest.approx(0.5 * 0.4)


def test_a_long_order_wears_out_more_molds_than_it_needs_at_once():
    """1000 castings at 80 a mold use up 13 molds, one at a time or not (own arithmetic)."""
    assert order_charge(1000, 1, Shop(molds=0, mold_life=80, reject=0.0)).bought == 13
    assert order_charge(1000, 1, Shop(molds=5, mold_life=80, reject=0.0)).bought == 8


def test_wear_is_price_over_life_whatever_the_turns():
    shop = Shop(mold_price=28.0, mold_life=80.0)
    assert [mold_charge(shop, turns).per_casting for turns in (0, 1, 5)] == [0.35, 0.35, 0.35]


def test_no_turn_costs_infinitely_much_when_charged_to_the_order():
    assert mold_charge(Shop(mold_view="order"), 0).per_good_vessel == math.inf
    assert cost_coefficients(Shop(mold_view="order"), 0, 0).fixed == math.inf


def test_an_order_of_nothing_is_charged_nothing():
    assert order_charge(0, 0, Shop()).per_good_vessel == 0.0


def test_shipping_steps_up_at_each_band_and_ends_after_the_last():
    shop = Shop(shipping_bands=((500.0, 4.0), (1000.0, 6.5)), shipped_extras=320.0)
    assert [shipping_cost(mass, shop) for mass in (1.0, 500.0, 500.1, 1000.0)] == [4.0, 4.0, 6.5, 6.5]
    assert shipping_cost(1000.1, shop) == math.inf
    for mass, cost in shipping_edges(shop):
        assert shipping_cost(mass + shop.shipped_extras, shop) == cost
    assert shipping_edges(Shop()) == ((math.inf, 0.0),)


def test_the_price_floor_leaves_fees_profit_and_cost():
    """8.40 over 1 - 0.10 - 0.20 is 12.00; of it 1.20 fees and 2.40 profit leave 8.40 (own arithmetic)."""
    floor = price_floor(8.40, fees=0.10, profit=0.20)
    assert floor == pytest.approx(12.0)
    assert floor * (1 - 0.10 - 0.20) == pytest.approx(8.40)
    with pytest.raises(ValueError, match="nothing of the price"):
        price_floor(8.40, fees=0.5, profit=0.5)


def test_powder_is_seldom_the_lever():
    """350 g at 0.80 or 1.40 a kilogram differ by 0.21; one or five turns, 2.05 (own arithmetic)."""
    shop = replace(_BARE, reject=0.08, mold_price=28.0, mold_view="order", molds=0)
    powder = [sum(_cost(_BARE, powder=0.35 * price).values()) for price in (0.80, 1.40)]
    turns = [_cost(shop, turns=turns)["molds"] for turns in (5, 1)]
    assert powder[1] - powder[0] == pytest.approx(0.21)
    assert round(turns[1] - turns[0], 2) == 2.05
    assert molds_needed(pours_needed(300, 0.08), 12, 5) == 6


def test_the_potters_rule_of_quart_and_pounds_fills_its_mold():
    """1 US quart of water and 2.75 lb of plaster fill 81 cubic inches, within 8 % (potters' handbook rule).

    Absolute volume at 2.7 g/cm3 says 86: the mass a cavity needs, and so its money, hangs on this volume.
    """
    powder, water = parse("2.75 lb", "g"), parse("0.25 gal", "mL") * 0.998
    filled = powder / 2.7 + water / WATER_DENSITY
    assert filled == pytest.approx(81 * 16.387064, rel=0.08)
