"""Ranges never shrink when evidence is taken away, and every figure that is unsure is drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from optimizer.materials import Figure
from optimizer.property_model.parameters import (
    PRIOR_SPREADS,
    SPREAD_OF_RANGE,
    Parameter,
    ParameterSet,
    parameters_of,
)
from tests.property_model.helpers import all_materials, cast, ranges

BLENDS = [
    {"gypsum_cement": 1.0},
    {"rapid_set_mortar": 1.0},
    {"gypsum_cement": 0.5, "rapid_set_mortar": 0.5},
    {"gypsum_cement": 0.7, "marble_flour": 0.3},
    {"white_csa_cement": 0.5, "molding_plaster": 0.2, "silica_sand": 0.3},
]


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
    # Held still is what moves the clock: how far an hour's strength is from a day's.
    clock = ("gypsum_end", "gypsum_cement.water_demand", "gypsum_cement.set_time")
    steady = vague.moved({x.name: replace(x, spread=0.0) for x in known if x.name in clock})
    low, high = ranges(problem, there, ("wet_strength",), steady)["wet_strength"]
    # Left are the reference point's own spread, 20 to 30 MPa, and the 0.20 that the laws lack.
    both = np.hypot(np.log(30.0 / 20.0) / SPREAD_OF_RANGE, PRIOR_SPREADS["strength"])
    assert np.log(high / low) == pytest.approx(SPREAD_OF_RANGE * both, rel=0.06)


@pytest.mark.parametrize("log", [True, False])
def test_low_and_high_of_a_figure_are_its_5_and_95_percent_points(log):
    """Of a law by scipy, a reference library: lognormal about 10 from 5 to 20, normal from 5 to 15."""
    high = 20.0 if log else 15.0
    read = Parameter.of_figure("x", Figure(10.0, 5.0, high, "", "", ""), log=log)
    ends = read.natural(stats.norm(read.center, read.spread).ppf([0.05, 0.5, 0.95]))
    assert ends == pytest.approx([5.0, 10.0, high], rel=1e-9)


def test_correlation_changes_a_spread():
    pair = (Parameter("a", 0.0, 1.0, log=False), Parameter("b", 0.0, 1.0, log=False))
    tied = ParameterSet(pair, correlation=np.array([[1.0, -1.0], [-1.0, 1.0]]))
    draws = tied.draws(500, seed=3)
    assert np.allclose(draws.sum(axis=1), 0.0, atol=1e-6)


def test_every_uncertain_figure_is_a_parameter(catalogue):
    names = parameters_of(catalogue, tuple(catalogue)).names
    assert {"b_gypsum", "gamma", "flame_share", "gypsum_cement.density", "csa_cement.strength"} <= set(names)
