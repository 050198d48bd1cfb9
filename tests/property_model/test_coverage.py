"""Stated ranges hold as often as they say: the whole chain drawn at random beside them.

Random draws know nothing of strata: every figure, discrepancy and error of a batch is drawn from its own
distribution and the mix is worked out from scratch. Own arithmetic (Monte Carlo propagation, as in JCGM
101:2008, from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.property_model.predict import PREDICTORS, predict
from tests.property_model.helpers import all_materials, cast, plain_samples, ranges

BLENDS = {
    "gypsum cement": {"gypsum_cement": 1.0},
    "molding plaster": {"molding_plaster": 1.0},
    "mortar": {"rapid_set_mortar": 1.0},
    "CSA cement": {"csa_cement": 1.0},
    "white CSA cement": {"white_csa_cement": 1.0},
    "gypsum half mortar": {"gypsum_cement": 0.5, "rapid_set_mortar": 0.5},
    "gypsum half plaster": {"gypsum_cement": 0.5, "molding_plaster": 0.5},
    "gypsum with marble": {"gypsum_cement": 0.7, "marble_flour": 0.3},
    "gypsum with sand": {"gypsum_cement": 0.65, "silica_sand": 0.35},
    "plaster half CSA": {"molding_plaster": 0.5, "csa_cement": 0.5},
    "demo": {"white_csa_cement": 43, "silica_sand": 27, "gypsum_cement": 24, "molding_plaster": 6},
}
WATER = {"demo": 0.368}
COUNT = 6000


@pytest.fixture(scope="module")
def problem(demo, catalogue):
    """Return the demo job over all materials, with a candle that nobody has burned yet."""
    return all_materials(replace(demo, candle=replace(demo.candle, measured_outer=None)), catalogue)


@pytest.fixture(scope="module")
def drawn(problem):
    """Return equally likely random draws of the chain and of batches."""
    return plain_samples(problem, COUNT, seed=11)


def there(problem, name):
    return cast(problem, BLENDS[name], WATER.get(name))


def draws_of(drawn, center, names):
    out = predict(drawn.cast(center.conditions, center.mixes), names)
    return {name: np.broadcast_to(values, (len(drawn), 1))[:, 0] for name, values in out.items()}


@pytest.mark.parametrize("name", BLENDS)
def test_nine_of_ten_draws_lie_in_the_range_and_as_many_beyond_either_end(problem, drawn, name):
    """5 % beyond either end, with three standard errors of 6000 draws (0.8 %) and of the stated points."""
    center = there(problem, name)
    stated, draws = ranges(problem, center), draws_of(drawn, center, PREDICTORS)
    for key, (low, high) in stated.items():
        slack = 1e-9 * abs(low)  # a property that nothing moves has a range of one point
        below = np.mean(draws[key] < low - slack)
        above = np.mean((draws[key] > high + slack) & (draws[key] != high))
        assert max(below, above) <= 0.07, f"{key}: {below:.3f} below {low:.4g}, {above:.3f} above {high:.4g}"
        for end, beyond in ((low, below), (high, above)):
            at_it = np.mean(abs(draws[key] - end) <= slack) if np.isfinite(end) else 1.0  # none or never
            assert at_it > 0.02 or beyond >= 0.03, f"{key}: {beyond:.3f} beyond {end:.4g}"


def test_a_body_that_may_stay_too_weak_may_never_leave_its_mold(problem, drawn):
    """Neat plaster hardly gets stronger than demolding needs: its range ends at never, as many draws do."""
    center = there(problem, "molding plaster")
    low, high = ranges(problem, center, ("demold_time",))["demold_time"]
    never = np.mean(np.isinf(draws_of(drawn, center, ("demold_time",))["demold_time"]))
    assert np.isinf(high) == (never > 0.05)
    assert low < 30.0
