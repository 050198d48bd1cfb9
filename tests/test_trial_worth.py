"""What a trial is worth: by hand, over chances, and what next does with it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from optimizer.calibration.fit import calibrate
from optimizer.calibration.next_trial import next_trial
from optimizer.calibration.readings import studio_of
from optimizer.calibration.record import parameter_set
from optimizer.job import Limit
from optimizer.jobfile import parse_job, template
from optimizer.problem import problem_of
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.predict import predict
from optimizer.property_model.samples import DrawSet, samples_of
from optimizer.solution import LEAST_WORTH, TrialWorth
from optimizer.studies.design import design
from optimizer.studies.trial_candidates import curve_mixes
from optimizer.studies.trial_worth import TOLD, best_trial, trial_cost, trial_worths
from optimizer.verdict.assess import assess, joint_probability
from tests.property_model.helpers import plain_samples
from tests.trust.demo_casts import casts
from ui.answer_text import trial_words

FEW = DrawSet(256, 5)
DRAWS = 20_000


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
    one = TrialWorth(
        (), {}, 0.4, chance=0.25, cost_if_it_holds=6.5, saves=0.61, trial_cost=13.0, vessels=300.0
    )
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


def test_a_sure_design_saves_what_knowing_it_saves(problem, samples):
    """Chance and cost are those of the verdict in the same draws."""
    here = mix(problem, 0.8, 0.0, 0.2)
    sure = problem.with_job(replace(problem.job, confidence=0.05))
    (one,) = trial_worths(sure, here, [here], samples)
    assert one.chance == joint_probability(problem, here, samples)
    expected = assess(problem, here, samples).cost.value
    assert one.saves == pytest.approx(expected - one.cost_if_it_holds, rel=1e-6)


def test_a_blend_that_is_not_sure_enough_stands_with_its_trials(problem, samples):
    """Weitzman 1979 (from memory): at its reservation price a box is as good as what one has."""
    here = mix(problem, 0.8, 0.0, 0.2)
    unsure = problem.with_job(replace(problem.job, confidence=0.99))
    (one,) = trial_worths(unsure, here, [here], samples)
    assert one.chance < 0.99
    assert one.worth == pytest.approx(0.0, abs=1e-9)


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
    sure = replace(problem.job, confidence=0.05)
    few, many = (
        trial_worths(
            problem.with_job(replace(sure, shop=replace(sure.shop, order_vessels=n))),
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


@pytest.fixture(scope="module")
def fitted(catalogue):
    """Return the demo with the first three of its casts, compiled, and its whole answer: two coats or one."""
    job = parse_job(template("demo"), catalogue, "demo")
    kept = calibrate(casts()[:3], catalogue, studio_of(job)).calibration
    known = parameter_set(kept, catalogue, job.materials)
    return problem_of(job, catalogue, known), design(job, catalogue, known)


def drawn(problem, grams_per_liter, plain):
    """Return in which plain draws the demo's limits hold, and what a vessel costs, by arithmetic of its own.

    Prices, minutes and losses are those of the demo job: 1.66, 0.88, 0.64, 2.40, 0.56, 0.28 and 9 a kilogram;
    20 an hour; 8 minutes to cast, 4 to pack, 2.5 and 0.12 a coat; a mold of 28 lasts 80 casts; 8 % lost.
    """
    seen = predict(plain.cast(problem.conditions, grams_per_liter[None, :]))
    at = {name: np.broadcast_to(x, (DRAWS, 1))[:, 0] for name, x in seen.items()}
    held = (at["demold_time"] <= 45) & (at["dry_strength"] >= 25) & (at["dry_mass"] <= 380)
    held &= (at["working_window"] >= 8) & (at["whiteness"] >= 88) & (at["heat_margin"] >= 0)
    prices = np.array([1.66, 0.88, 0.64, 2.40, 0.56, 0.28, 9.0, 0.004])
    powder = float(grams_per_liter @ prices) * 0.215
    cast = (powder * 1.08 + 8 / 60 * 20 + 28 / 80) / (1 - 0.08)
    coats = at["sealer_coats"] * (0.12 + 2.5 / 60 * 20)
    return held, cast + coats + 0.01 * at["drying_time"] + 4 / 60 * 20 + 0.60


def test_the_worth_told_is_that_of_plain_draws(fitted):
    """Against 20,000 plain draws of the whole chain, and money by hand: within 5 % of what it may save."""
    problem, answer = fitted
    (told,) = answer.worth_a_trial
    plain = plain_samples(problem, DRAWS, seed=23)
    held, cost = drawn(problem, np.array(told.mix), plain)
    today = drawn(problem, np.array(answer.mix.per_liter), plain)[1].mean()
    saves = today - cost[held].mean()
    assert told.chance == pytest.approx(held.mean(), abs=0.02)
    assert told.cost_if_it_holds == pytest.approx(cost[held].mean(), rel=0.005)
    assert told.saves == pytest.approx(saves, rel=0.05)
    assert told.gain == pytest.approx(300 * held.mean() * saves, rel=0.05)
    assert told.pays
    assert told.chance < problem.job.confidence
    assert told.cost_if_it_holds < answer.cost


def test_the_next_cast_is_the_blend_worth_a_trial(fitted):
    """Design and trial book search once and the same: a second search once named another blend."""
    problem, answer = fitted
    (told,) = answer.worth_a_trial
    assert next_trial(problem, answer).worth == told


def test_no_other_blend_of_the_curve_is_worth_more(fitted):
    problem, answer = fitted
    (told,) = answer.worth_a_trial
    many = samples_of(problem.catalogue, problem.names, problem.parameters, TOLD)
    others = trial_worths(problem, np.array(answer.mix.per_liter), curve_mixes(problem), many)
    assert told.worth >= 0.95 * max(each.worth for each in others), "chosen in other draws"


def test_the_text_tells_the_same_figures(fitted, catalogue):
    problem, answer = fitted
    (told,) = answer.worth_a_trial
    said = " ".join(trial_words(told, answer, catalogue))
    assert f"{told.cost_if_it_holds:.2f} EUR: {told.saves:.2f} EUR less than the blend above." in said
    assert f"over 300 vessels; it pays from {told.pays_from_vessels:.0f} vessels." in said
    few = replace(problem.job.shop, order_vessels=10.0)
    assert (
        best_trial(problem.with_job(replace(problem.job, shop=few)), answer.mix, answer.alternatives) is None
    )
