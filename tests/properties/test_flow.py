"""Spread, yield stress and water demand of a slurry."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.properties.flow import (
    cone_volume,
    flow_slope,
    spread,
    spread_at_ratio,
    water_demand,
    yield_stress,
)

QUICK = settings(max_examples=60, deadline=None)
spreads, densities, volumes = st.floats(60.0, 250.0), st.floats(1.2, 2.3), st.floats(20.0, 400.0)


@pytest.mark.parametrize(
    ("diameter", "stress"),
    [
        pytest.param(80.0, 49.1, id="Roussel-2005-form-from-memory-80"),
        pytest.param(100.0, 16.1, id="Roussel-2005-form-from-memory-100"),
        pytest.param(120.0, 6.5, id="Roussel-2005-form-from-memory-120"),
        pytest.param(150.0, 2.1, id="Roussel-2005-form-from-memory-150"),
    ],
)
def test_yield_stress(diameter, stress):
    assert yield_stress(diameter, 1.9) == pytest.approx(stress, abs=0.1)


def test_twice_the_spread_is_a_thirty_second_of_the_stress():
    assert yield_stress(160.0, 1.9) == pytest.approx(yield_stress(80.0, 1.9) / 32.0)


@QUICK
@given(spreads, densities, volumes)
def test_spread_there_and_back(diameter, density, volume):
    assert spread(yield_stress(diameter, density, volume), density, volume) == pytest.approx(diameter)


@QUICK
@given(st.floats(1.0, 100.0), densities)
def test_direction_of_spread(stress, density):
    assert spread(1.1 * stress, density) < spread(stress, density)
    assert spread(stress, 1.1 * density) > spread(stress, density)


def test_mini_cone():
    """Own arithmetic: the 19/38/57 mm cone holds 37.7 mL; a cylinder is a cone of equal ends."""
    assert cone_volume(19.0, 38.0, 57.0) == pytest.approx(37.7, abs=0.05)
    assert cone_volume(50.0, 50.0, 50.0) == pytest.approx(np.pi / 4.0 * 125.0)


def test_two_pours_predict_a_third():
    """Own arithmetic: yield stress 40 exp(-30 (w - 0.33)), spread as its power of -1/5."""
    stresses = [40.0 * np.exp(-30.0 * (ratio - 0.33)) for ratio in (0.33, 0.36, 0.38)]
    slope = flow_slope((0.33, 0.36), (stresses[0], stresses[1]))
    assert slope == pytest.approx(30.0)
    third = spread_at_ratio(spread(stresses[0], 1.8), 0.33, slope, 0.38)
    assert third == pytest.approx(spread(stresses[2], 1.8))


def test_water_demand():
    """Own arithmetic: 700 g at 0.33 and 300 g at 0.05, 15 % saved by a plasticizer."""
    amounts, demands = np.array([[700.0, 300.0], [1000.0, 0.0]]), np.array([0.33, 0.05])
    assert water_demand(amounts, demands) == pytest.approx([246.0, 330.0])
    assert water_demand(amounts, demands, 0.15) == pytest.approx([209.1, 280.5])
