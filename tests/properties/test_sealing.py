"""Sealer coats and their edges, the first coat's thirst, and wax soaking into a bare wall."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.properties.sealing import (
    FILM_FACTOR,
    FLOOR_SHARE,
    coat_edges,
    first_coat_volume,
    sealed_absorption,
    sealer_coats,
    wax_soak_time,
)

QUICK = settings(max_examples=100, deadline=None)
absorptions = st.floats(0.01, 0.8)
targets = st.floats(0.005, 0.1)
factors = st.floats(0.15, 0.8)


@pytest.mark.parametrize(
    ("absorption", "target", "factor", "coats"),
    [
        pytest.param(0.17, 0.03, 0.35, 2.0, id="own-arithmetic-17-to-3"),
        pytest.param(0.17, 0.03, 0.50, 3.0, id="own-arithmetic-thin-acrylic"),
        pytest.param(0.02, 0.03, 0.35, 0.0, id="own-arithmetic-none-needed"),
        pytest.param(0.30, 0.005, 0.35, math.inf, id="own-arithmetic-below-the-floor"),
    ],
)
def test_coats(absorption, target, factor, coats):
    assert sealer_coats(absorption, target, factor) == coats


@QUICK
@given(absorptions, targets, factors)
def test_coats_are_the_fewest_that_reach_the_target(absorption, target, factor):
    coats = float(sealer_coats(absorption, target, factor))
    slack = 1.0 + 1e-6
    if math.isinf(coats):
        assert absorption * FLOOR_SHARE > target / slack
    else:
        assert sealed_absorption(absorption, coats, factor) <= target * slack
        assert coats == 0.0 or sealed_absorption(absorption, coats - 1.0, factor) > target / slack


@QUICK
@given(targets, factors)
def test_edges_are_where_the_count_steps(target, factor):
    edges = coat_edges(target, factor, most=6)
    reachable = np.flatnonzero(factor ** np.arange(7.0) >= FLOOR_SHARE)
    np.testing.assert_array_equal(sealer_coats(edges[reachable], target, factor), reachable)
    above = sealer_coats(1.001 * edges[reachable], target, factor)
    assert (above > reachable).all()
    assert (np.diff(edges) >= 0.0).all()


@QUICK
@given(absorptions, targets)
def test_more_absorption_never_needs_fewer_coats(absorption, target):
    assert sealer_coats(1.2 * absorption, target) >= sealer_coats(absorption, target)


def test_floor_holds_whatever_the_number_of_coats():
    assert sealed_absorption(0.2, 50.0) == pytest.approx(FLOOR_SHARE * 0.2)
    assert sealed_absorption(0.2, 1.0) == pytest.approx(FILM_FACTOR * 0.2)


def test_dry_body_needs_no_coat():
    assert sealer_coats(0.0, 0.03) == 0.0


def test_first_coat():
    """Own arithmetic: 30 % pores, one millimeter deep, under 250 cm2 take 7.5 mL."""
    assert first_coat_volume(0.30, 0.025) == pytest.approx(7.5)
    assert first_coat_volume(0.30, 0.025, depth=2.0) == pytest.approx(15.0)


@pytest.mark.parametrize(
    ("radius", "seconds"),
    [
        pytest.param(1.0, 24.6, id="Washburn-1921-paraffin-from-memory-1um"),
        pytest.param(0.1, 246.0, id="Washburn-1921-paraffin-from-memory-0.1um"),
    ],
)
def test_wax_through_a_wall_of_8_mm(radius, seconds):
    assert wax_soak_time(8.0, radius) == pytest.approx(seconds, rel=0.01)


def test_soaking_goes_with_the_square_of_the_wall():
    assert wax_soak_time(16.0, 1.0) == pytest.approx(4.0 * wax_soak_time(8.0, 1.0))
    assert wax_soak_time(8.0, 1.0, contact_angle=60.0) == pytest.approx(2.0 * wax_soak_time(8.0, 1.0))
