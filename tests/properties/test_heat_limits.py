"""Temperature limits of the phases and the margin to them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.job import EXPOSURES
from optimizer.properties.service_heat import (
    GYPSUM_LIMITS,
    HARD_STOP,
    SINGLE_HOUR,
    heat_margin,
    phase_limit,
)

QUICK = settings(max_examples=60, deadline=None)


@pytest.mark.parametrize(
    ("exposure", "gypsum", "ettringite"),
    [
        pytest.param("continuous", 45.0, 50.0, id="Wilkes-2004-and-judgement"),
        pytest.param("repeated burns", 52.0, 50.0, id="125-degF-trade-rule-from-memory-and-judgement"),
        pytest.param("single hour", 60.0, 50.0 + SINGLE_HOUR, id="Charola-Centeno-2002-and-judgement"),
    ],
)
def test_limits_of_the_phases(exposure, gypsum, ettringite):
    assert phase_limit(0.9, 0.0, exposure, 50.0) == gypsum
    assert phase_limit(0.0, 0.3, exposure, 50.0) == ettringite
    assert phase_limit(0.5, 0.3, exposure, 50.0) == min(gypsum, ettringite)
    assert phase_limit(0.0, 0.0, exposure, 50.0) == HARD_STOP


@QUICK
@given(st.sampled_from(EXPOSURES), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_more_of_a_phase_never_raises_the_limit(exposure, gypsum, ettringite):
    limit = phase_limit(gypsum, ettringite, exposure, 52.0)
    assert phase_limit(gypsum + 0.01, ettringite, exposure, 52.0) <= limit
    assert phase_limit(gypsum, ettringite + 0.01, exposure, 52.0) <= limit
    assert min(GYPSUM_LIMITS[exposure], 52.0) <= limit <= HARD_STOP


def test_limit_has_no_step():
    shares = np.linspace(0.0, 0.1, 10_001)
    limits = phase_limit(shares, 0.0, "continuous", 52.0)
    assert np.abs(np.diff(limits)).max() < 0.02
    assert limits[5000] == pytest.approx((GYPSUM_LIMITS["continuous"] + HARD_STOP) / 2.0)


def test_margin_is_counted_from_the_hotter_face():
    assert heat_margin(52.0, 40.0, 45.0) == pytest.approx(7.0)
    assert heat_margin(52.0, 60.0, 58.0) == pytest.approx(-8.0)
