"""Castings for an order: against a reference library's beta-binomial law, and against a plain simulation."""

from __future__ import annotations

import random

import pytest
from scipy.stats import betabinom

from optimizer.job import Shop
from optimizer.money.capacity import chance_of_enough, pours_for_order


@pytest.mark.parametrize(
    ("vessels", "reject"), [(1, 0.08), (23, 0.08), (300, 0.08), (300, 0.5), (10_000, 0.02)]
)
def test_fewest_castings_by_the_beta_binomial_law(vessels: int, reject: float) -> None:
    """Lost castings follow scipy.stats.betabinom (reference library)."""

    def chance(pours: int) -> float:
        return float(betabinom.cdf(pours - vessels, pours, 100.0 * reject, 100.0 * (1.0 - reject)))

    pours = pours_for_order(vessels, Shop(reject=reject))
    assert chance_of_enough(pours, vessels, 1.0 - reject) == pytest.approx(chance(pours), abs=1e-7)
    assert chance(pours) >= 0.9
    assert pours == vessels or chance(pours - 1) < 0.9


def test_both_stages_count_and_nothing_lost_needs_nothing_more() -> None:
    assert pours_for_order(300, Shop(reject=0.2, finish_reject=0.25)) == pours_for_order(
        300, Shop(reject=0.4)
    )
    assert pours_for_order(300, Shop(reject=0.0)) == 300
    assert pours_for_order(0, Shop(reject=0.08)) == 0


@pytest.mark.parametrize(("vessels", "reject"), [(300, 0.08), (120, 0.2)])
def test_nine_of_ten_orders_come_out_whole(vessels: int, reject: float) -> None:
    """A thousand orders cast one by one, each in a studio with a share of its own (own simulation)."""
    dice = random.Random(20261128)
    pours = pours_for_order(vessels, Shop(reject=reject))
    filled = 0
    for _ in range(1000):
        share = dice.betavariate(100.0 * (1.0 - reject), 100.0 * reject)
        good = sum(dice.random() < share for _ in range(pours))
        filled += good >= vessels
    assert filled / 1000 == pytest.approx(0.90, abs=0.02)
