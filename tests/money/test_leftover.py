"""What whole bags leave over: its mass, its worth and how long it keeps."""

from __future__ import annotations

import pytest
from orders import candidate, day, order

from optimizer.job import Price
from optimizer.money.order import plan_order
from optimizer.money.purchase import buy_bags, leftovers


def _left(**changes):
    prices = {"gypsum_cement": Price(pack=25.0, price=40.0, **changes)}
    plan = plan_order(order(100, day(60), molds=1, prices=prices), candidate())
    return plan.leftovers


def test_left_over_powder_is_worth_what_was_paid_for_it():
    """100 vessels of 0.3 kg: 30 kg of two bags, so 20 kg stay, at 1.60 a kilogram (own arithmetic)."""
    (left,) = _left()
    assert (left.material, left.keeps_until, left.spoils) == ("gypsum_cement", None, False)
    assert left.mass == pytest.approx(20.0)
    assert left.worth == pytest.approx(32.0)


def test_freight_and_loss_are_in_its_worth():
    """Two bags at 40 and 10 of freight give 48 usable kg at 4 % lost: 90 / 48 a kilogram (own arithmetic)."""
    (left,) = _left(freight=10.0, lost=0.04)
    assert left.mass == pytest.approx(18.0)
    assert left.worth == pytest.approx(18.0 * 90.0 / 48.0)


def test_it_keeps_for_its_shelf_life_or_does_not_last_the_order():
    """One mold, five a day: 20 working days of casting, the last on the 25th day after the first Monday."""
    (long,), (short,) = _left(shelf_life=120.0), _left(shelf_life=10.0)
    assert (long.keeps_until, long.spoils) == (day(120), False)
    assert (short.keeps_until, short.spoils) == (day(10), True)


def test_nothing_is_left_where_nothing_is_bought():
    prices = {"gypsum_cement": Price(pack=25.0, price=40.0)}
    assert plan_order(order(0, day(60), prices=prices), candidate()).leftovers == ()


@pytest.mark.parametrize(("keeps", "spoils"), [(4.0, True), (5.0, False), (6.0, False)])
def test_powder_that_expires_on_the_day_of_the_last_cast_has_lasted_the_order(keeps, spoils):
    """The stated day is the last of its shelf life (own arithmetic): casting ends on the fifth day after."""
    offers = {"gypsum_cement": Price(pack=25.0, price=40.0, shelf_life=keeps)}
    bought = buy_bags({"gypsum_cement": 30.0}, offers)
    (left,) = leftovers(bought, offers, 20.0, day(0), day(5))
    assert left.spoils is spoils
