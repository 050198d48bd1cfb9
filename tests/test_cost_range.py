"""What moves a vessel's cost is what is unsure of the blend, each driver alone."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.jobfile import parse_job, template
from optimizer.solution import Prediction, Solution
from optimizer.specs import load_catalogue
from optimizer.studies.check import check
from optimizer.studies.explain import cost_moves


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


def test_each_driver_moves_the_cost_alone(solution):
    coats = solution.properties["sealer_coats"].value
    moves = cost_moves(_sure_but_for(solution, "sealer_coats", coats, coats + 1), load_catalogue())
    assert moves["sealer_coats"] == pytest.approx((0.0, 0.12 + 20.0 * 2.5 / 60.0))  # hand-worked, as above
    for name in ("drying_time", "dry_mass", "demold_time"):
        assert moves[name] == pytest.approx((0.0, 0.0))


def test_no_price_is_no_move(solution):
    assert cost_moves(replace(solution, parts_at_best_values={}), load_catalogue()) == {}
