"""The best that can be poured from the shelf: never more than stands there, and never better than buying."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from optimizer.errors import FileFaults
from optimizer.job import Job
from optimizer.materials import Catalogue
from optimizer.money.capacity import pours_for_order
from optimizer.studies.check import from_stock
from optimizer.studies.design import design
from optimizer.studies.order_blends import plan_blends, shop_request

SHELF = {"gypsum_cement": 30.0, "molding_plaster": 5.0, "silica_sand": 20.0, "white_csa_cement": 9.0}


def _with(demo: Job, stock: dict[str, float]) -> Job:
    """Return the demo with a shelf, asking for a chance that its shipped figures can give."""
    prices = {name: replace(price, stock=stock.get(name)) for name, price in demo.prices.items()}
    return replace(demo, prices=prices, confidence=0.3)


@pytest.mark.parametrize("vessels", [20, 60, 150])
def test_no_more_is_poured_than_stands_on_the_shelf(demo: Job, catalogue: Catalogue, vessels: int) -> None:
    asked = from_stock(_with(demo, SHELF), vessels)
    assert set(asked.materials) == set(SHELF)
    found = design(asked, catalogue)
    drawn = pours_for_order(vessels, demo.shop) * (1.0 + demo.shop.waste) * 1e-3
    assert all(drawn * found.mix.grams[name] <= SHELF[name] for name in found.mix.grams if name != "water")


def test_a_scanty_shelf_costs_more_and_a_full_one_nothing(demo: Job, catalogue: Catalogue) -> None:
    plenty = _with(demo, dict.fromkeys(SHELF, 1000.0))
    asked = from_stock(plenty, 60)
    bought = design(replace(plenty, materials=asked.materials), catalogue).cost
    full = design(asked, catalogue).cost
    scanty = design(from_stock(_with(demo, SHELF), 100), catalogue).cost
    assert full == pytest.approx(bought, rel=1e-6)
    assert scanty > 1.01 * bought


def test_an_order_from_the_shelf_buys_no_powder(demo: Job, catalogue: Catalogue) -> None:
    asked = from_stock(_with(demo, SHELF), 60)
    request = shop_request(asked, 60, dt.date(2026, 11, 26), dt.date(2026, 12, 24), None)
    answer = plan_blends(asked, catalogue, request)
    assert answer.ranked
    assert all(row.plan.purchase.bags == () for row in answer.ranked)


def test_an_empty_shelf_is_told(demo: Job) -> None:
    with pytest.raises(FileFaults, match="stock"):
        from_stock(_with(demo, {}), 3)
