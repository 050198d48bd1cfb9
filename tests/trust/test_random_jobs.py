"""A handful of random jobs, each answer inspected from outside the engine; thousands by the script beside.

References: the property functions themselves (limits as plain numbers), sums of money written a second time,
a dense search of the simplex, and sampled parameters. All jobs are invented.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.job import Limit
from optimizer.jobfile import parse_job, template
from optimizer.problem import problem_of
from optimizer.property_model.microstructure import per_liter
from optimizer.studies.check import check
from optimizer.studies.design import design
from tests.trust.dense_search import dense_search
from tests.trust.inspection import _of_mix
from tests.trust.job_maker import job_text
from tests.trust.random_jobs import look
from tests.trust.second_opinion import Opinion

SEED = 1


@pytest.mark.parametrize("number", range(12))
def test_answers_to_random_jobs_stand_inspection(number):
    outcome = look(SEED, number)
    assert outcome.inspected.findings == ()


@pytest.mark.parametrize(
    ("seed", "number"),
    [
        pytest.param(2911, 12, id="damp risk at low"),
        pytest.param(2911, 84, id="damp risk at medium"),
        pytest.param(2911, 40, id="retarder at what gypsum bears"),
        pytest.param(2911, 66, id="silica at a trace"),
        pytest.param(2911, 73, id="one cast a day at best values"),
        pytest.param(4021, 38, id="parcels that no carrier takes"),
        pytest.param(4021, 59, id="vessels that never leave the mold"),
        pytest.param(4021, 168, id="a dose below the scale's step"),
        pytest.param(4021, 467, id="other doses"),
        pytest.param(4021, 485, id="a coarse scale"),
        pytest.param(4021, 810, id="the last coat just met"),
    ],
)
def test_answers_that_were_wrong_once_stand_inspection(seed, number):
    outcome = look(seed, number)
    assert outcome.inspected.findings == ()


@pytest.mark.parametrize(("seed", "number"), [(77, 1697), (78, 623), (901, 391)])
def test_where_sure_blends_are_scarce_the_surest_is_answered(seed, number):
    """Jobs whose sure blends, if any, use no admixture, least water, or lie on the grid alone.

    The inspection finds a false "none" as well as a false "holds": by its figures the second has no blend.
    """
    outcome = look(seed, number)
    assert outcome.inspected.findings == ()


def test_the_same_number_is_the_same_job(catalogue):
    assert job_text(3, 7, catalogue) == job_text(3, 7, catalogue)
    assert job_text(3, 7, catalogue) != job_text(3, 8, catalogue)


@pytest.fixture(scope="module")
def small(catalogue):
    """Read the shipped job to start from: four powders."""
    return parse_job(template("job"), catalogue, "job.toml")


def test_the_inspection_sees_a_false_holds(small, catalogue):
    """Own arithmetic: an answer shifted in one limit must be found out."""
    solution = design(small, catalogue, explain=False)
    problem = problem_of(small, catalogue)
    assert list(_of_mix(problem, Opinion(problem), solution)) == []
    name, value = "dry_mass", solution.properties["dry_mass"].value
    tighter = Limit(name, "<=", value - 1.0)
    asked = replace(small, limits=(tighter,))
    claimed = replace(solution.limits[0], limit=tighter, verdict="holds")
    lying = replace(solution, job=asked, limits=(claimed,))
    harder = problem_of(asked, catalogue)
    assert any(found.startswith("false holds") for found in _of_mix(harder, Opinion(harder), lying))


def test_the_second_opinion_counts_money_alike(small, catalogue):
    """Two accounts of the same vessel, written apart: `check` and the second opinion."""
    problem = problem_of(small, catalogue)
    parts = {name: 1.0 for name in small.materials if catalogue[name].role != "admixture"}
    for ratio in (0.35, 0.5):
        said = check(small, parts, catalogue, ratio)
        shares = np.array([[parts.get(name, 0.0) for name in problem.names]]) / len(parts)
        mixes = per_liter(problem.model, shares, np.array([ratio]))
        assert Opinion(problem).values(mixes)["cost"][0] == pytest.approx(said.cost_at_best_values, rel=1e-9)


def test_the_dense_search_finds_a_blend_where_there_is_one_and_none_where_not(small, catalogue):
    easy = problem_of(replace(small, limits=(Limit("dry_strength", ">=", 5.0),)), catalogue)
    steel = problem_of(replace(small, limits=(Limit("dry_strength", ">=", 240.0),)), catalogue)
    assert dense_search(easy, Opinion(easy), 2000, 2).feasible
    assert not dense_search(steel, Opinion(steel), 2000, 2).feasible
