"""A proved bound lies below anything a grid finds; "impossible" is said only where nothing holds."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from optimizer.certificate import certify_bound
from optimizer.certificate.certify import _certificate
from optimizer.certificate.nodes import split_point
from optimizer.certificate.prove import Found
from optimizer.certificate.terms import Box, quartered
from optimizer.engine.swap_search import best_mix
from optimizer.job import Limit
from optimizer.problem import problem_of
from optimizer.property_model.microstructure import demand_of, per_liter
from tests.engine.test_search import JOBS, brute_force

LONG = 60.0


def problem(name, demo, catalogue):
    materials, limits = JOBS[name]
    return problem_of(replace(demo, materials=materials, limits=limits, at_most_materials=None), catalogue)


@pytest.mark.parametrize("name", [n for n in JOBS if n != "impossible"])
def test_the_bound_lies_below_every_grid_mix_and_proves_the_engine(name, demo, catalogue):
    asked = problem(name, demo, catalogue)
    found = best_mix(asked)
    proof = certify_bound(asked, found, time_limit=LONG, most_nodes=3000)
    assert proof.proved
    assert proof.bound <= brute_force(asked) + 1e-9
    assert proof.bound <= found.value
    assert found.value - proof.bound <= 1e-3 * found.value * (1 + 1e-6)


def test_impossible_is_proved(demo, catalogue):
    proof = certify_bound(problem("impossible", demo, catalogue), None, time_limit=LONG, most_nodes=3000)
    assert proof.infeasible
    assert proof.incumbent is None


@pytest.mark.parametrize("seed", range(6))
def test_never_impossible_where_a_mix_holds(seed, demo, catalogue):
    """Limits are set just beside a made-up mix, so that mix holds them all."""
    rng = np.random.default_rng(seed)
    plain = problem_of(replace(demo, limits=(), at_most_materials=None), catalogue)
    shares = np.zeros(len(plain.names))
    picked = rng.choice(4, size=2, replace=False)
    shares[picked] = rng.dirichlet([2.0, 2.0]) * 0.85
    shares[4] = 0.15
    mix = per_liter(plain.model, shares[None, :], demand_of(plain.model, shares[None, :]) * 1.05)
    from optimizer.property_model.predict import cast_of, predict

    values = {k: float(v[0]) for k, v in predict(cast_of(plain.model, plain.conditions, mix)).items()}
    limits = (
        Limit("dry_strength", ">=", values["dry_strength"] * 0.99),
        Limit("demold_time", "<=", values["demold_time"] * 1.02),
        Limit("whiteness", ">=", values["whiteness"] - 0.3),
        Limit("dry_mass", "<=", values["dry_mass"] * 1.005),
    )
    proof = certify_bound(plain.with_limits(limits), None, time_limit=20.0, most_nodes=150)
    assert not proof.infeasible


def test_the_order_of_materials_does_not_move_the_bound(demo, catalogue):
    asked = problem("white", demo, catalogue)
    turned = problem_of(replace(asked.job, materials=asked.job.materials[::-1]), catalogue)
    bounds = [certify_bound(p, best_mix(p), time_limit=LONG, most_nodes=3000).bound for p in (asked, turned)]
    assert bounds[0] == pytest.approx(bounds[1], rel=1.5e-3)


def test_a_small_budget_says_so(demo, catalogue):
    asked = problem_of(demo, catalogue)
    proof = certify_bound(asked, best_mix(asked), most_nodes=1, time_limit=LONG)
    assert not proof.finished
    assert not proof.proved
    assert proof.gap > 1e-3


def test_a_ratio_of_nothing_to_nothing_is_split_in_the_middle():
    """Split at a value that is no number, a proof once went on for ever."""
    box = Box(np.array([7.0]), np.array([9.0]))
    assert split_point(box, 0, np.nan, None) == 8.0
    assert np.isfinite(split_point(Box(np.array([-np.inf]), np.array([9.0])), 0, np.nan, None))


@pytest.mark.parametrize(
    ("low", "high", "near"),
    [(0.0, 8.0, (3.0, 5.0)), (-np.inf, 8.0, (3.75, 5.0)), (0.0, np.inf, (3.0, 4.25))],
)
def test_a_range_is_narrowed_to_the_quarter_around_a_value(low, high, near):
    """A quarter of the way to each end from 4 (own arithmetic)."""
    box = quartered(Box(np.array([low]), np.array([high])), 0, 4.0)
    assert (box.low[0], box.high[0]) == near


@pytest.mark.parametrize(
    ("objective", "value", "size"),
    [
        ("cost", 8.0, 8.0),
        ("working_window", 20.0, 20.0),
        ("heat_margin", -2.0, 10.0),
        ("heat_margin", 40.0, 40.0),
    ],
)
def test_a_gap_is_a_share_of_the_value_or_of_what_counts_as_one_unit(demo, catalogue, objective, value, size):
    """A margin of heat may be zero: ten kelvin count as one unit of it."""
    asked = problem_of(replace(demo, objective=objective), catalogue)
    found = Found(value - 0.5, SimpleNamespace(value=value), True, 1, 1, ())
    assert _certificate(asked, found, 1e-3, 0.1).gap == pytest.approx(0.5 / size)


@pytest.mark.parametrize(("times", "proved"), [(0.0, True), (0.9, True), (1.5, False), (9.0, False)])
def test_proved_means_within_the_gap_that_was_asked_for(demo, catalogue, times, proved):
    """Bound and answer apart by so many times the gap of 0.1 %."""
    asked, best = problem(next(iter(JOBS)), demo, catalogue), SimpleNamespace(value=8.0)
    found = Found(8.0 * (1.0 - times * 1e-3), best, True, 1, 1, ())
    proof = _certificate(asked, found, 1e-3, 0.1)
    assert proof.proved is proved
    assert proof.gap == pytest.approx(times * 1e-3, abs=1e-12)
