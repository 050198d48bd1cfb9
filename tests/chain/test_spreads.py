"""Ranges: linear and sampled agree, hold the value, and never shrink when evidence is taken away."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.chain.parameters import Parameter, ParameterSet, parameters_of
from optimizer.chain.predict import PREDICTORS
from optimizer.chain.spreads import sampled
from tests.chain.helpers import all_materials, cast, ranges

BLENDS = [
    {"gypsum_cement": 1.0},
    {"rapid_set_mortar": 1.0},
    {"gypsum_cement": 0.5, "rapid_set_mortar": 0.5},
    {"gypsum_cement": 0.7, "marble_flour": 0.3},
    {"white_csa_cement": 0.5, "molding_plaster": 0.2, "silica_sand": 0.3},
]
SMOOTH = ("fresh_density", "dry_mass", "porosity", "wet_strength", "dry_strength", "whiteness", "drying_time")


@pytest.mark.parametrize("blend", BLENDS, ids=lambda b: "+".join(b))
def test_linear_and_sampled_ranges_agree(catalogue, demo, blend):
    problem = all_materials(demo, catalogue)
    there = cast(problem, blend)
    linear = ranges(problem, there, SMOOTH)
    draws = sampled(catalogue, problem.names, problem.parameters, there, count=1500)
    for name in SMOOTH:
        low, high = np.quantile(draws[name], [0.05, 0.95])
        width = high - low
        assert linear[name][0] == pytest.approx(low, abs=0.25 * width), name
        assert linear[name][1] == pytest.approx(high, abs=0.25 * width), name


@pytest.mark.parametrize("blend", BLENDS, ids=lambda b: "+".join(b))
def test_ranges_hold_the_value(catalogue, demo, blend):
    problem = all_materials(demo, catalogue)
    there = cast(problem, blend)
    for name, (low, high) in ranges(problem, there).items():
        value = float(PREDICTORS[name](there)[0])
        assert low <= value + 1e-9, name
        assert value <= high + 1e-9, name


def test_same_seed_same_draws(catalogue, demo):
    problem = all_materials(demo, catalogue)
    there = cast(problem, BLENDS[2])
    first, second = (
        sampled(catalogue, problem.names, problem.parameters, there, count=20)["dry_strength"]
        for _ in range(2)
    )
    assert np.array_equal(first, second)


def test_a_wider_figure_widens_the_range(catalogue, demo):
    problem = all_materials(demo, catalogue)
    there = cast(problem, BLENDS[0])
    known = problem.parameters
    vague = known.moved({"b_gypsum": replace(known.items[0], spread=3 * known.items[0].spread)})
    assert known.items[0].name == "b_gypsum"
    wet = cast(problem, BLENDS[0], 0.40)
    widths = []
    for parameters in (known, vague):
        low, high = ranges(problem, wet, ("dry_strength",), parameters)["dry_strength"]
        widths.append(high / low)
    assert widths[1] > widths[0] * 1.02
    # At its own reference water the anchor is solved again: the pore law cannot matter there.
    low, high = ranges(problem, there, ("wet_strength",), vague)["wet_strength"]
    assert high / low == pytest.approx(
        1.5, rel=0.12
    )  # the spread of the reference point itself, 20 to 30 MPa


def test_correlation_changes_a_spread():
    pair = (Parameter("a", 0.0, 1.0, log=False), Parameter("b", 0.0, 1.0, log=False))
    tied = ParameterSet(pair, correlation=np.array([[1.0, -1.0], [-1.0, 1.0]]))
    draws = tied.draws(500, seed=3)
    assert np.allclose(draws.sum(axis=1), 0.0, atol=1e-6)


def test_every_uncertain_figure_is_a_parameter(catalogue):
    names = parameters_of(catalogue, tuple(catalogue)).names
    assert {"b_gypsum", "gamma", "flame_share", "gypsum_cement.density", "csa_cement.strength"} <= set(names)
