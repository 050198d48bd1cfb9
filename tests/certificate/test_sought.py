"""The first parts of a proof are asked before "none" is said, and a blend they meet is searched from."""

from __future__ import annotations

import pytest

import optimizer.studies.proofs as proofs
from optimizer.engine.search_state import Found, Question
from optimizer.engine.swap_search import best_mixes
from optimizer.job import Limit
from optimizer.studies.design import design_problem
from optimizer.studies.proofs import sought
from tests.certificate.invented import invented_problem

IMPOSSIBLE = (Limit("dry_strength", ">=", 200.0), Limit("porosity", ">=", 0.6))
"""As strong as stone and as open as a sponge."""


@pytest.mark.parametrize(("count", "seed"), [(12, 3011), (12, 3033), (12, 3229), (24, 3008)])
def test_what_an_earlier_search_missed_is_found_without_a_proof(catalogue, count, seed):
    """Jobs that walks one after another answered with "none" or with a coat of sealer too many."""
    problem = invented_problem(catalogue, count, seed)
    found = best_mixes([Question(problem)])[0]
    assert found.holds
    assert sought(Question(problem)).best.value == pytest.approx(found.best.value)


def test_a_blend_that_only_the_proof_meets_becomes_the_answer(catalogue, monkeypatch):
    """A search made blind, so that the first parts of the proof have to find the blend."""
    problem = invented_problem(catalogue, 6, 1)
    best = best_mixes([Question(problem)])[0].best
    searched = []

    def blind(questions, grid=None):
        searched.append(questions[0])
        found = best_mixes(questions, grid)
        return found if questions[0].known else [Found(_missed(found[0].best))]

    def _missed(blend):
        return type(blend)(blend.case, blend.mix, blend.value, 0.5)

    monkeypatch.setattr(proofs, "best_mixes", blind)
    assert sought(Question(problem)).best.value == pytest.approx(best.value, rel=1e-3)
    assert [bool(question.known) for question in searched] == [False, True]


def test_what_no_blend_meets_stays_so(catalogue):
    problem = invented_problem(catalogue, 6, 1)
    hopeless = problem.with_limits([*problem.job.limits, *IMPOSSIBLE])
    assert not sought(Question(hopeless)).holds
    assert design_problem(hopeless, explain=False).status == "no blend meets the limits"
