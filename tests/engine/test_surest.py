"""The surest blend, against a grid of mixes of two powders in plain draws, and as rounded to the scale."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.engine.chance_constraints import HOLDS, chance_blends, surest_blends
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
def surest(question):
    return chance_blends([question], or_surest=True)[0]


def test_no_mix_of_a_grid_is_surer(problem, plain, surest):
    """Every 4 % of plaster, and 1 to 1.12 times the water it takes to pour, in draws of their own."""
    best = 0.0
    for plaster in np.arange(0.0, 0.33, 0.04):
        shares = np.array([[1.0 - plaster, plaster]])
        for factor in np.arange(1.0, 1.13, 0.02):
            mix = per_liter(problem.model, shares, factor * demand_of(problem.model, shares))[0]
            best = max(best, joint_probability(problem, mix, plain))
    assert joint_probability(problem, surest.candidate.mix, plain) >= best - NEAR


def test_held_rows_are_kept_where_all_goes_to_the_chance(catalogue):
    """A random job on which departures that stood still had lost 15 points; a smooth solve reached 0.661."""
    problem = problem_of(parse_job(job_text(SEED, 2, catalogue), catalogue, "job"), catalogue)
    question = ChanceQuestion(problem, judged_limits(problem), problem.job.confidence)
    surest = surest_blends([question])[0]
    assert surest.candidate.violation <= HOLDS
    told = joint_probability(problem, surest.candidate.mix, plain_samples(problem, DRAWS, seed=3))
    assert told >= 0.661 - NEAR


def test_rounding_to_the_scale_takes_little_of_it(problem, catalogue, plain, surest):
    answer = design(problem.job, catalogue, explain=False)
    rounded = joint_probability(problem, np.array(answer.mix.per_liter), plain)
    assert rounded >= joint_probability(problem, surest.candidate.mix, plain) - NEAR
    assert answer.joint_probability == pytest.approx(rounded, abs=0.02)
