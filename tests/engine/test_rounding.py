"""What is weighed holds what was asked: rounding, tiny doses, pouring water, steps of money."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.engine.cases import cases_of
from optimizer.job import Limit
from optimizer.problem import problem_of
from optimizer.property_model.microstructure import water_cut
from optimizer.studies.check import check
from optimizer.studies.design import design


@pytest.fixture(scope="module")
def demo(demo):
    """Return the demo with a chance that its shipped figures can give."""
    return replace(demo, confidence=0.2)


def with_bound(job, name, bound):
    return replace(
        job, limits=tuple(replace(x, bound=bound) if x.property == name else x for x in job.limits)
    )


@pytest.mark.parametrize("window", [7.0, 9.0, 10.0, 11.0])
@pytest.mark.parametrize("mass", [365.0, 380.0])
def test_tight_limits_hold_as_weighed(demo, catalogue, window, mass):
    job = with_bound(with_bound(demo, "working_window", window), "dry_mass", mass)
    answer = design(job, catalogue, explain=False)
    assert answer.status == "designed"
    assert [v.verdict for v in answer.limits] == ["holds"] * len(answer.limits)


def test_rounding_costs_little(demo, catalogue):
    """A gram of water moves the chance by two points, worth two cents (own arithmetic)."""
    job = with_bound(demo, "working_window", 10.0)
    coarse = design(job, catalogue, explain=False)
    fine = design(replace(job, shop=replace(job.shop, weigh_step=0.01)), catalogue, explain=False)
    assert coarse.cost - fine.cost < 0.02
    assert fine.cost <= 1.003 * coarse.cost, "two searches end within a third of a percent"


@pytest.mark.parametrize("admixtures", [("superplasticizer",), ("citric_acid", "superplasticizer")])
def test_doses_as_weighed_leave_enough_water_to_pour(demo, catalogue, admixtures):
    prices = {**demo.prices, **{name: demo.prices["titanium_white"] for name in admixtures}}
    job = replace(demo, materials=(*demo.materials, *admixtures), prices=prices)
    answer = design(job, catalogue, explain=False)
    problem = problem_of(job, catalogue)
    grams = np.array([answer.mix.grams.get(name, 0.0) for name in (*problem.names, "water")])
    demand = (1.0 - water_cut(problem.model, grams[None, :])[0]) * (grams @ problem.model.column("demand"))
    assert grams[-1] >= demand - 1e-6
    assert all(v.verdict == "holds" for v in answer.limits)


def test_the_answer_typed_again_costs_the_same(demo, catalogue):
    """The masses as printed, and the water ratio to three digits, buy no second coat of sealer."""
    answer = design(demo, catalogue, explain=False)
    dry = {name: mass for name, mass in answer.mix.grams.items() if name != "water"}
    for ratio in (answer.mix.water_ratio, round(answer.mix.water_ratio, 3)):
        again = check(demo, dry, catalogue, ratio)
        assert again.cost == pytest.approx(answer.cost, rel=2e-3)


def test_steps_of_money_keep_a_reserve(demo, catalogue):
    shop = demo.shop
    for case in cases_of(problem_of(demo, catalogue)):
        edge = next(x for x in case.limits if x.property == "absorption").bound
        sealed = edge * shop.coat_factor**case.coats
        assert sealed < shop.target_absorption or edge < 1.5


def test_a_limit_that_cannot_be_weighed_is_said(demo, catalogue):
    """On a scale of 50 g nothing holds these limits; the answer says so and no verdict hides it."""
    job = replace(
        demo, shop=replace(demo.shop, weigh_step=50.0), limits=(*demo.limits, Limit("dry_mass", ">=", 379.0))
    )
    answer = design(job, catalogue, explain=False)
    assert answer.status == "not sure enough"
    assert answer.joint_probability < job.confidence
