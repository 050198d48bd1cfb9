"""Stated ranges and chances hold as often as they say: the whole chain drawn at random beside them.

The draws know nothing of lines, logs or clocks: every parameter is drawn from its own distribution and the
mix is worked out from scratch. Own arithmetic (Monte Carlo propagation, as in JCGM 101:2008, from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.chain.ages import ages_of
from optimizer.chain.model import compile_model
from optimizer.chain.predict import PREDICTORS, cast_of, predict
from optimizer.chain.spreads import Around, moves_of
from optimizer.limit_rows import limit_rows
from optimizer.problem import problem_of
from optimizer.shop import Limit
from optimizer.studies.design import design_problem
from optimizer.verdict.confidence import Doubt
from tests.chain.helpers import all_materials, cast, ranges

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
CAPPED = {
    (name, key)
    for name in ("CSA cement", "plaster half CSA")
    for key in ("wet_strength", "dry_strength", "flexural_strength")
}
"""Strengths that lie at the ceiling of the model."""

COUNT = 2500


@pytest.fixture(scope="module")
def problem(demo, catalogue):
    """Return the demo job over all materials, with a candle that nobody has burned yet."""
    return all_materials(replace(demo, candle=replace(demo.candle, measured_outer=None)), catalogue)


@pytest.fixture(scope="module")
def drawn(problem):
    """Return the chain in equally likely draws."""
    known = problem.parameters
    return compile_model(problem.catalogue, problem.names, known, known.draws(COUNT, seed=11))


@pytest.fixture(scope="module")
def doubt(problem):
    return Doubt(problem)


def there(problem, name):
    return cast(problem, BLENDS[name], WATER.get(name))


def draws_of(drawn, center, names):
    out = predict(cast_of(drawn, center.bench, center.mixes), names)
    return {name: np.broadcast_to(values, (COUNT, 1))[:, 0] for name, values in out.items()}


@pytest.mark.parametrize("name", BLENDS)
def test_nine_of_ten_draws_lie_in_the_range_and_as_many_beyond_either_end(problem, drawn, name):
    """A strength capped by its ceiling keeps a wider range: the cap is an edge, and edges are no curves."""
    center = there(problem, name)
    stated, draws = ranges(problem, center), draws_of(drawn, center, PREDICTORS)
    for key, (low, high) in stated.items():
        slack = 1e-9 * abs(low)  # a property that no parameter moves has a range of one point
        below = np.mean(draws[key] < low - slack)
        above = np.mean((draws[key] > high + slack) & (draws[key] != high))
        stepped = key in ("sealer_coats", "damp_risk") or np.ptp(draws[key]) < 1e-9
        told = f"{key}: {below:.3f} below {low:.4g}, {above:.3f} above {high:.4g}"
        assert max(below, above) <= 0.09, told
        assert below + above <= 0.15, told
        least = 0.015 if (name, key) in CAPPED else 0.05
        assert stepped or below + above >= least, told


def test_ranges_hold_where_parameters_hang_together(problem):
    """As after a calibration: two bags as strong as each other, a bag the slower the weaker it is."""
    known = problem.parameters
    correlation = np.eye(len(known))
    for first, second, value in (
        ("gypsum_cement.strength", "rapid_set_mortar.strength", 0.8),
        ("gypsum_cement.strength", "gypsum_cement.set_time", -0.5),
        ("b_gypsum", "b_csa", 0.4),
    ):
        k, j = (known.names.index(name) for name in (first, second))
        correlation[k, j] = correlation[j, k] = value
    tied = replace(known, correlation=correlation)
    center = there(problem, "gypsum half mortar")
    names = ("wet_strength", "demold_time", "working_window", "inner_wall_temperature")
    stated = ranges(problem, center, names, tied)
    model = compile_model(problem.catalogue, problem.names, tied, tied.draws(COUNT, seed=12))
    for key, values in draws_of(model, center, names).items():
        low, high = stated[key]
        assert 0.85 <= np.mean((values >= low) & (values <= high)) <= 0.95, key
    assert stated["demold_time"] != ranges(problem, center, names)["demold_time"]


def test_a_body_that_may_stay_too_weak_may_never_leave_its_mold(problem, drawn):
    """Neat plaster hardly gets stronger than demolding needs: its range ends at never, as many draws do."""
    center = there(problem, "molding plaster")
    low, high = ranges(problem, center, ("demold_time",))["demold_time"]
    never = np.mean(np.isinf(draws_of(drawn, center, ("demold_time",))["demold_time"]))
    assert 0.1 < never < 0.5
    assert np.isinf(high)
    assert low < 30.0


@pytest.mark.parametrize("name", BLENDS)
def test_demold_limits_hold_as_often_as_said(problem, drawn, doubt, name):
    """Three bounds each: where one, five and nine of ten draws are out of the mold."""
    center = there(problem, name)
    times = draws_of(drawn, center, ("demold_time",))["demold_time"]
    around = doubt.around(center)
    for share in (0.1, 0.5, 0.9):
        bound = float(np.quantile(times, share, method="inverted_cdf"))
        if np.isfinite(bound):
            limit = Limit("demold_time", "<=", bound)
            assert doubt.probabilities((limit,), around)[limit] == pytest.approx(share, abs=0.06), bound


@pytest.mark.parametrize(
    ("materials", "latest"),
    [(("gypsum_cement", "silica_sand"), 50.0), (("gypsum_cement", "white_csa_cement", "silica_sand"), 50.0)],
    ids=lambda x: " and ".join(x) if isinstance(x, tuple) else f"{x:g} min",
)
def test_what_is_designed_for_nine_of_ten_holds_in_nine_of_ten(demo, catalogue, materials, latest):
    limits = (Limit("demold_time", "<=", latest), Limit("dry_strength", ">=", 15.0))
    job = replace(demo, materials=materials, limits=limits, confidence=0.9, candle=None)
    designed = problem_of(job, catalogue)
    answer = design_problem(designed, explain=False)
    mix = np.array([answer.mix.per_liter])
    known = designed.parameters
    model = compile_model(catalogue, designed.names, known, known.draws(4000, seed=5))
    times = predict(cast_of(model, designed.bench, mix), ("demold_time",))["demold_time"]
    assert 0.87 <= float(np.mean(times <= latest)) <= 0.94


@pytest.mark.parametrize("confidence", [0.8, 0.9, 0.95])
@pytest.mark.parametrize("name", ["gypsum with sand", "mortar", "demo", "plaster half CSA"])
def test_reserve_and_chance_agree(problem, doubt, name, confidence):
    """A mix keeps its reserve at exactly the ages at which its chance is the one asked for."""
    around = doubt.around(there(problem, name))
    ages = ages_of(around)
    lowest = float(np.log(ages.strong.min()))
    for age in np.exp(np.linspace(lowest, lowest + 2.0, 23)):
        limit = Limit("demold_time", "<=", float(age))
        best = float(limit_rows(limit, around.center)[0][0])
        enough = best >= ages.reserve(float(age), confidence)
        assert enough == (ages.chance(float(age)) >= confidence)


def test_reserve_of_a_surely_known_clock_is_nothing(problem):
    """With no spread in any parameter the best value is all there is."""
    sure = replace(problem.parameters, items=tuple(replace(x, spread=0.0) for x in problem.parameters.items))
    known = replace(sure.items[0], spread=1e-9)
    sure = sure.moved({known.name: known})
    center = there(problem, "mortar")
    ages = ages_of(Around(moves_of(problem.catalogue, problem.names, sure), center))
    time = float(PREDICTORS["demold_time"](center)[0])
    assert ages.range() == pytest.approx((time, time), rel=1e-4)
    assert ages.reserve(2 * time, 0.9) == pytest.approx(0.0, abs=1e-6)
    assert (ages.chance(0.99 * time), ages.chance(1.01 * time)) == (0.0, 1.0)
