"""What a trial is worth: by hand, over chances, and what next does with it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from optimizer.chain.body import per_liter
from optimizer.chain.samples import DrawSet, samples_of
from optimizer.problem import problem_of
from optimizer.shop import Limit
from optimizer.studies.trial_worth import LEAST_WORTH, TrialWorth, curve_mixes, trial_cost, trial_worths
from optimizer.verdict.assess import assess, joint_probability

FEW = DrawSet(256, 5)


@pytest.fixture(scope="module")
def problem(catalogue, demo):
    limits = (Limit("dry_strength", ">=", 25.0), Limit("working_window", ">=", 8.0))
    materials = ("gypsum_cement", "molding_plaster", "silica_sand")
    return problem_of(
        replace(demo, materials=materials, limits=limits, candle=None, confidence=0.8), catalogue
    )


@pytest.fixture(scope="module")
def samples(problem):
    return samples_of(problem.catalogue, problem.names, problem.parameters, FEW)


def mix(problem, *shares):
    return per_liter(problem.model, np.array([shares]))[0]


def test_the_sum_by_hand():
    """A cast at 13 whose blend holds once in four and then saves 0.61 on each of 300 vessels."""
    one = TrialWorth((), chance=0.25, cost_if_it_holds=6.5, saves=0.61, trial_cost=13.0, vessels=300.0)
    assert one.gain == pytest.approx(45.75)
    assert one.worth == pytest.approx(32.75)
    assert one.pays_from_vessels == 86, "13 / (0.25 * 0.61) = 85.2"
    assert one.pays
    assert not replace(one, vessels=86.0).pays, "worth little more than nothing"
    assert replace(one, vessels=13.0 / (0.1525 - LEAST_WORTH) + 1.0).pays
    nothing = replace(one, saves=-0.2)
    assert (nothing.gain, nothing.pays_from_vessels) == (0.0, math.inf)


def test_a_trial_costs_its_mix_and_its_minutes(problem):
    """Six molds of 215 mL with 8 % waste, 45 minutes at 20 an hour; powder and water at landed prices."""
    here = mix(problem, 1.0, 0.0, 0.0)
    price = problem.prices
    liters = 6 * 0.215 * 1.08
    powder = liters * (here[0] * price[0] + here[-1] * price[-1])
    assert trial_cost(problem, here) == pytest.approx(powder + 15.0)


def test_todays_own_design_saves_what_knowing_it_saves(problem, samples):
    """Chance and cost are those of the verdict in the same draws."""
    here = mix(problem, 0.8, 0.0, 0.2)
    (one,) = trial_worths(problem, here, [here], samples)
    assert one.chance == joint_probability(problem, here, samples)
    expected = assess(problem, here, samples).cost.value
    standing = expected / one.chance if one.chance < 0.8 else expected
    assert one.saves == pytest.approx(standing - one.cost_if_it_holds, rel=1e-6)


def test_what_cannot_hold_is_worth_nothing(problem, samples):
    weak = mix(problem, 0.0, 0.6, 0.4)
    (one,) = trial_worths(problem, mix(problem, 0.8, 0.0, 0.2), [weak], samples)
    assert one.chance < 0.01
    assert not one.pays


def test_without_prices_there_is_no_worth(problem, samples, catalogue):
    bare = problem.with_job(replace(problem.job, prices={}))
    bare.__dict__.pop("prices", None)
    here = mix(problem, 1.0, 0.0, 0.0)
    assert trial_worths(bare, here, [here], samples) == ()


def test_more_vessels_make_a_trial_worth_more(problem, samples):
    here, other = mix(problem, 0.8, 0.0, 0.2), mix(problem, 0.55, 0.0, 0.45)
    few, many = (
        trial_worths(
            problem.with_job(replace(problem.job, shop=replace(problem.job.shop, order_vessels=n))),
            here,
            [other],
            samples,
        )[0]
        for n in (10.0, 1000.0)
    )
    assert many.worth - few.worth == pytest.approx(990.0 * few.chance * max(few.saves, 0.0))
    assert few.pays_from_vessels == many.pays_from_vessels


@pytest.mark.slow
def test_the_curve_holds_blends_of_every_chance(problem):
    chances = sorted(joint_probability(problem, each) for each in curve_mixes(problem))
    assert chances
    assert chances[-1] > 0.6
