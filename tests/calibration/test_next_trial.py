"""The next trial: hand-worked variances, brute force over casts, and studios that follow the advice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.calibration.fit import calibrate
from optimizer.calibration.next_trial import next_trial
from optimizer.calibration.record import parameter_set
from optimizer.calibration.standard_trial import standard_trial
from optimizer.errors import NoBlend, NoVerdict
from optimizer.job import Limit
from optimizer.problem import limit_rows, problem_of
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.predict import cast_of
from optimizer.property_model.samples import perturbations_of
from optimizer.studies.design import design_problem
from optimizer.studies.trial_candidates import Candidate
from optimizer.verdict.assess import assess
from optimizer.verdict.evidence import evidences
from tests.calibration.studios import NAMES, filled

PURE = {"rapid_set_mortar": 1.0}


@pytest.fixture(scope="module")
def problem(catalogue, demo):
    limits = (Limit("dry_strength", ">=", 28.0), Limit("working_window", ">=", 8.0))
    job = replace(demo, materials=NAMES, limits=limits, candle=None, objective="dry_mass")
    return problem_of(job, catalogue)


@pytest.fixture(scope="module")
def solution(problem):
    return design_problem(problem)


def spread_of(problem, limit, mix):
    """Return the standard deviation of a limit's row at a mix, from slopes in every figure [row units]."""
    moves = perturbations_of(problem.catalogue, problem.names, problem.parameters)
    (row, *_) = limit_rows(limit, cast_of(moves.model, problem.conditions, mix[None, :]))
    return float(moves.spread(moves.changes(np.broadcast_to(row, (2 * len(moves.names), 1))))[0])


def test_the_doubt_it_names_is_the_doubt_there_is(problem, solution):
    found = next_trial(problem, solution)
    mix = np.array(solution.mix.per_liter)
    assert found.before == pytest.approx(spread_of(problem, found.limit, mix), rel=1e-9)
    assert 0.0 < found.after < found.before
    assert 0.0 < found.share < 1.0


def test_the_doubt_falls_as_far_as_it_says(problem, solution, catalogue):
    """Make the trial: read as expected, it must leave the doubt that was promised (own arithmetic)."""
    found = next_trial(problem, solution)
    one = standard_trial(found.cast)
    read = filled([one], catalogue, problem.parameters, problem.parameters.centers)
    told = parameter_set(calibrate(read, catalogue).calibration, catalogue, NAMES)
    renewed = replace(problem, parameters=told)
    left = spread_of(renewed, found.limit, np.array(solution.mix.per_liter))
    assert left == pytest.approx(found.after, rel=0.10)


def test_no_other_cast_does_clearly_better(problem, solution):
    found = next_trial(problem, solution)
    assert all(share <= found.share / 0.95 + 1e-12 for _, share in found.others)
    names = [found.cast.name, *(cast.name for cast, _ in found.others)]
    assert "the designed blend" in names
    assert sum("alone" in name for name in names) == 2
    assert sum("half and half" in name for name in names) == 1


def test_it_says_why_in_a_sentence(problem, solution):
    said = next_trial(problem, solution).sentence()
    assert "falls from" in said
    assert "water ratio" in said
    assert all(name in said for name in solution.mix.blend)


@pytest.fixture(scope="module")
def priced(problem):
    """Make the same question about cost: then a cast is weighed against what it costs."""
    return problem.with_job(replace(problem.job, objective="cost"))


def test_with_prices_the_cast_is_the_one_worth_most(priced):
    found = next_trial(priced, design_problem(priced))
    assert found.worth is not None
    assert found.stop == (not found.worth.pays)
    said = found.sentence()
    assert ("No cast is worth its cost" in said) == found.stop
    assert found.stop or f"it pays from {found.worth.pays_from_vessels:.0f} vessels on" in said


def test_for_one_vessel_no_cast_pays(priced):
    shop = replace(priced.job.shop, order_vessels=1.0)
    one = priced.with_job(replace(priced.job, shop=shop))
    found = next_trial(one, design_problem(one))
    assert found.stop
    assert found.cast.name == "the designed blend"
    assert found.sentence().startswith("No cast is worth its cost: cast the design, or stop testing.")


def test_what_a_cast_takes_off_is_weighed_by_how_open_each_limit_is(problem, solution):
    """The share of the variance that falls, weighed by 4 p (1 - p): 1 for an even chance (own arithmetic)."""
    found = next_trial(problem, solution)
    chances = assess(problem, np.array(solution.mix.per_liter)).probabilities
    taken = np.array([1.0 - (fall.after / fall.before) ** 2 for fall in found.falls])
    weights = np.array([4.0 * chances[fall.limit] * (1.0 - chances[fall.limit]) for fall in found.falls])
    assert len(taken) == 2
    assert weights.max() < 20.0 * weights.min(), "both count"
    assert found.share == pytest.approx(weights @ taken / weights.sum(), rel=1e-6)
    assert found.share / 2.0 < max(found.alone.values()) <= found.share + 1e-12


def test_each_cast_it_looks_at_is_a_whole_recipe(priced):
    """Shares that sum to one, at a water ratio that a mix can have (own arithmetic)."""
    found = next_trial(priced, design_problem(priced))
    casts = [found.cast, *(cast for cast, _ in found.others)]
    assert any(cast.name == "a blend that may be cheaper" for cast in casts)
    for cast in casts:
        assert sum(cast.blend.values()) == pytest.approx(1.0, abs=1e-3), cast.name
        assert 0.1 < cast.water_ratio < 1.0, cast.name


def test_one_limit_in_doubt_among_sure_ones_leaves_the_job_open(problem, solution):
    sure = Limit("dry_strength", ">=", 1.0)
    assert next_trial(problem, solution).open
    assert next_trial(problem.with_limits((*problem.job.limits, sure)), solution).open


def test_a_decided_job_is_said_to_be_decided(problem, solution, catalogue):
    sure = replace(problem.job, limits=(Limit("dry_strength", ">=", 1.0),))
    easy = problem_of(sure, catalogue)
    found = next_trial(easy, design_problem(easy))
    assert not found.open
    assert found.sentence().startswith("No limit is in real doubt")


def test_without_a_blend_or_a_limit_there_is_no_advice(problem, solution):
    with pytest.raises(NoBlend):
        next_trial(problem, replace(solution, mix=None))
    with pytest.raises(NoVerdict):
        next_trial(problem.with_limits([]), solution)


def test_a_blend_is_called_calibrated_only_where_each_binder_is(problem, solution, catalogue):
    prior, half = problem.parameters, {"gypsum_cement": 0.5, "rapid_set_mortar": 0.5}
    trials = [standard_trial(Candidate("", half, 0.30)), standard_trial(Candidate("", PURE, 0.25))]
    trials = [replace(one, id=str(k)) for k, one in enumerate(trials)]
    read = filled(trials, catalogue, prior, prior.centers)
    told = parameter_set(calibrate(read, catalogue).calibration, catalogue, NAMES)

    def word(parameters, blend):
        shares = np.array([[blend.get(name, 0.0) for name in problem.names]])
        there = replace(problem, parameters=parameters)
        cast = cast_of(problem.model, problem.conditions, per_liter(problem.model, shares))
        return evidences(there, cast, ("dry_strength",))["dry_strength"]

    assert word(problem.parameters, half) == "extrapolated"
    assert word(told, half) == "calibrated"
    gypsum_only = replace(told, origin={"gypsum_cement.strength": 4, "air": 4})
    assert word(gypsum_only, half) == "extrapolated"
    assert word(gypsum_only, {"gypsum_cement": 0.7, "marble_flour": 0.3}) == "calibrated"
    apart = replace(told, origin={"gypsum_cement.strength": 4, "rapid_set_mortar.strength": 4})
    assert word(apart, half) == "extrapolated", "the law of mixing itself was never tried"
