"""Blends that walks alone do not meet: the first parts of a proof lead to them before "none" is said."""

from __future__ import annotations

import pytest

from optimizer.engine.search import Search
from optimizer.shop import Limit
from optimizer.studies.design import design_problem
from optimizer.studies.proofs import sought
from tests.certificate.invented import invented_problem

IMPOSSIBLE = (Limit("dry_strength", ">=", 200.0), Limit("porosity", ">=", 0.6))
"""As strong as stone and as open as a sponge."""


@pytest.mark.parametrize("seed", [3011, 3033])
def test_a_proof_finds_the_blend_that_the_search_misses(catalogue, seed):
    problem = invented_problem(catalogue, 12, seed)
    assert not Search(problem).run().feasible  # or this test says nothing any more: choose another job
    assert sought(Search(problem)).feasible
    answer = design_problem(problem, explain=False)
    assert answer.status == "designed"
    assert {verdict.verdict for verdict in answer.limits} == {"meets"}


@pytest.mark.parametrize(("count", "seed"), [(12, 3229), (24, 3008)])
def test_a_proof_finds_the_cheaper_steps_that_the_search_misses(catalogue, count, seed):
    """One coat of sealer fewer is worth more than any choice of materials."""
    problem = invented_problem(catalogue, count, seed)
    alone, both = Search(problem).run(), sought(Search(problem))
    assert both.feasible
    assert both.case.coats < alone.case.coats  # or this test says nothing any more: choose another job
    assert both.value < 0.9 * alone.value


def test_what_no_blend_meets_stays_so(catalogue):
    problem = invented_problem(catalogue, 6, 1)
    hopeless = problem.with_limits([*problem.job.limits, *IMPOSSIBLE])
    assert not sought(Search(hopeless)).feasible
    assert design_problem(hopeless, explain=False).status == "no blend meets the limits"
