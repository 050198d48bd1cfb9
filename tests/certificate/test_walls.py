"""How well a wall must conduct to stay cool: never asked more of it than the law of the wall says."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from optimizer.certificate.heat import Walls
from optimizer.problem import problem_of
from optimizer.properties.service_heat import wall_temperatures
from optimizer.property_model.predict import burn_of

STEP = (math.log(1e2) - math.log(1e-3)) / 15_999
"""Of the table [ln W/mK]."""


@pytest.fixture(scope="module")
def walls(demo, catalogue):
    candle = replace(demo.candle, measured_outer=None)  # a measured outside is the same for every body
    problem = problem_of(replace(demo, candle=candle), catalogue)
    return Walls(problem.conditions.wall, burn_of(problem.model))


@pytest.mark.parametrize("conductivity", [0.05, 0.2, 0.3, 0.7, 1.5])
def test_a_wall_that_is_just_cool_enough_is_let_through(walls, conductivity):
    """The inner wall cools and the outer warms as it conducts better: each is a bound from its own side."""
    outer, inner = (float(each) for each in wall_temperatures(walls.case, conductivity, walls.burn))
    least, _ = walls.needed(inner, (False, True))
    assert math.log(conductivity) - 2.0 * STEP <= least <= math.log(conductivity)
    _, most = walls.needed(outer, (True, False))
    assert math.log(conductivity) <= most
    # what conducts a little better than the best is warmer than that outside
    warmer, _ = wall_temperatures(walls.case, math.exp(most) * 1.01, walls.burn)
    assert float(warmer) > outer


def test_no_wall_is_cool_enough_where_none_can_be(walls):
    """Below the room nothing stays: the bounds cross."""
    least, most = walls.needed(0.0, (True, True))
    assert least == math.inf
    assert most == -math.inf
