"""Sealer coats and their edges."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.properties.drying import (
    FLOOR_SHARE,
    coat_edges,
    sealer_coats,
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

    def left(count):
        return absorption * max(factor**count, FLOOR_SHARE)

    if math.isinf(coats):
        assert absorption * FLOOR_SHARE > target / slack
    else:
        assert left(coats) <= target * slack
        assert coats == 0.0 or left(coats - 1.0) > target / slack


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


def test_dry_body_needs_no_coat():
    assert sealer_coats(0.0, 0.03) == 0.0
