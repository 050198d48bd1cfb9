"""The price of a new powder at which two blends cost the same. Own arithmetic: asked again at that price."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.job import Job
from optimizer.materials import Catalogue
from optimizer.money.landed_cost import landed_price
from optimizer.studies.check import check, compare


def test_at_the_price_told_both_cost_the_same(demo: Job, catalogue: Catalogue) -> None:
    present, candidate = {"gypsum_cement": 60, "marble_flour": 40}, {"gypsum_cement": 70, "silica_sand": 30}
    found = compare(check(demo, present, catalogue), check(demo, candidate, catalogue))
    ((name, (now, even)),) = found.even_prices.items()
    price = demo.prices[name]
    assert name == "silica_sand"
    assert now == pytest.approx(landed_price(price, demo.shop.wage).per_usable_kg)
    moved = replace(demo, prices={**demo.prices, name: replace(price, price=price.price * even / now)})
    again = compare(check(moved, present, catalogue), check(moved, candidate, catalogue))
    assert found.saving is not None
    assert abs(found.saving) > 0.01
    assert again.saving == pytest.approx(0.0, abs=2e-3)  # a fifth of the cent that people read
