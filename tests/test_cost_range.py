"""The range of a vessel's cost holds what is unsure of the blend, and nothing else."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.jobfile import parse_job, template
from optimizer.solution import Prediction, Solution
from optimizer.specs import load_catalogue
from optimizer.studies.check import check
from optimizer.studies.cost_range import cost_moves, cost_range


@pytest.fixture(scope="module")
def solution() -> Solution:
    catalogue = load_catalogue()
    return check(parse_job(template("demo"), catalogue, "demo"), {"gypsum_cement": 1.0}, catalogue, 0.42)


def _sure_but_for(solution: Solution, name: str, low: float, high: float) -> Solution:
    exact = {key: replace(p, low=p.value, high=p.value) for key, p in solution.properties.items()}
    known = exact[name]
    return replace(
        solution,
        properties={**exact, name: Prediction(known.value, low, high, known.unit, known.evidence, known.use)},
    )


def test_the_cost_itself_lies_in_its_range(solution):
    low, high = cost_range(solution, load_catalogue())
    assert low <= solution.cost <= high


def test_nothing_unsure_is_no_range(solution):
    sure = _sure_but_for(solution, "whiteness", 0.0, 100.0)
    assert cost_range(sure, load_catalogue()) == pytest.approx((solution.cost, solution.cost))


def test_two_coats_more_by_hand(solution):
    shop = solution.job.shop
    assert (shop.coat_cost, shop.seal_minutes, shop.wage, shop.finish_reject) == (0.12, 2.5, 20.0, 0.0)
    coats = solution.properties["sealer_coats"].value
    low, high = cost_range(_sure_but_for(solution, "sealer_coats", coats, coats + 2), load_catalogue())
    assert high - low == pytest.approx(2 * (0.12 + 20.0 * 2.5 / 60.0))  # hand-worked from the demo's shop


def test_each_driver_moves_the_cost_alone(solution):
    coats = solution.properties["sealer_coats"].value
    moves = cost_moves(_sure_but_for(solution, "sealer_coats", coats, coats + 1), load_catalogue())
    assert moves["sealer_coats"] == pytest.approx((0.0, 0.12 + 20.0 * 2.5 / 60.0))  # hand-worked, as above
    for name in ("drying_time", "dry_mass", "demold_time"):
        assert moves[name] == pytest.approx((0.0, 0.0))


def test_a_seal_that_may_never_close_costs_without_end(solution):
    coats = solution.properties["sealer_coats"].value
    doubtful = _sure_but_for(solution, "sealer_coats", coats, float("inf"))
    assert cost_range(doubtful, load_catalogue())[1] == float("inf")


def test_no_price_is_no_range(solution):
    assert cost_range(replace(solution, cost_parts={}), load_catalogue()) is None
