"""The surest blend, against a grid of all mixes of two powders in plain draws, and against the walks' own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.engine.chance_constraints import HOLDS, chance_blends
from optimizer.engine.chance_refinement import refined_surest
from optimizer.engine.chance_rows import ChanceQuestion
from optimizer.jobfile import parse_job
from optimizer.problem import problem_of
from optimizer.property_model.microstructure import demand_of, per_liter
from optimizer.studies.design import design
from optimizer.studies.under_doubt import judged_limits
from optimizer.verdict.assess import joint_probability
from tests.property_model.helpers import plain_samples
from tests.trust.castings import SEED
from tests.trust.job_maker import job_text

DRAWS = 8_000
NEAR = 0.01
"""Two standard errors of a difference of chances in so many common draws."""


@pytest.fixture(scope="module")
def problem(demo, catalogue):
    return problem_of(replace(demo, materials=("gypsum_cement", "molding_plaster")), catalogue)


@pytest.fixture(scope="module")
def plain(problem):
    return plain_samples(problem, DRAWS, seed=3)


@pytest.fixture(scope="module")
def question(problem):
    return ChanceQuestion(problem, problem.job.limits, 0.8)


@pytest.fixture(scope="module")
def walked(question):
    return chance_blends([question], or_surest=True)[0]


@pytest.fixture(scope="module")
def refined(question, walked):
    return refined_surest(question, walked)


def test_no_mix_of_a_grid_is_surer(problem, plain, refined):
    """Every 4 % of plaster, and 1 to 1.12 times the water it takes to pour, in draws of their own."""
    best = 0.0
    for plaster in np.arange(0.0, 0.33, 0.04):
        shares = np.array([[1.0 - plaster, plaster]])
        for factor in np.arange(1.0, 1.13, 0.02):
            mix = per_liter(problem.model, shares, factor * demand_of(problem.model, shares))[0]
            best = max(best, joint_probability(problem, mix, plain))
    assert joint_probability(problem, refined.candidate.mix, plain) >= best - NEAR


def test_it_is_surer_than_where_walks_end_and_keeps_the_rules(catalogue):
    """Frozen departures lead the walks of this random job aside: 15 points are lost on it."""
    problem = problem_of(parse_job(job_text(SEED, 2, catalogue), catalogue, "job"), catalogue)
    question = ChanceQuestion(problem, judged_limits(problem), problem.job.confidence)
    walked = chance_blends([question], or_surest=True)[0]
    refined = refined_surest(question, walked)
    plain = plain_samples(problem, DRAWS, seed=3)
    there, here = (joint_probability(problem, x.candidate.mix, plain) for x in (walked, refined))
    assert here >= there + NEAR
    assert refined.candidate.violation <= HOLDS


def test_rounding_to_the_scale_takes_little_of_it(problem, catalogue, plain, refined):
    answer = design(problem.job, catalogue, explain=False)
    rounded = joint_probability(problem, np.array(answer.mix.per_liter), plain)
    assert rounded >= joint_probability(problem, refined.candidate.mix, plain) - NEAR
    assert answer.joint_probability == pytest.approx(rounded, abs=0.02)
