"""Frontiers: every level is as good as a search of its own, none is lost, nothing endless is traded."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from optimizer.engine.chance_constraints import chance_blends
from optimizer.engine.chance_rows import ChanceQuestion
from optimizer.job import Limit
from optimizer.problem import problem_of
from optimizer.solution import DESIGNED
from optimizer.studies.design import design_problem
from optimizer.studies.frontier import best_of_each, between, frontier
from optimizer.studies.under_doubt import judged_limits


@pytest.fixture(scope="module")
def problem(demo, catalogue):
    return problem_of(replace(demo, confidence=0.6), catalogue)


@pytest.mark.parametrize(
    ("over", "senses"),
    [(("cost", "demold_time"), ("min", "min")), (("cost", "whiteness"), ("min", "max"))],
    ids=lambda part: "-".join(part),
)
def test_each_level_is_about_as_good_as_a_search_of_its_own(problem, over, senses):
    """A level answered from its neighbors against the same level searched in full."""
    ends = best_of_each(problem, over, senses)
    placed = between(problem, over, senses, ends, 9)
    assert len(placed) >= 5  # of nine asked: 5 to 8 by the draws, some levels are as sure as asked by none
    for each in placed[::4]:
        question = ChanceQuestion(each.asked, judged_limits(problem), each.chance)
        alone = chance_blends([question])[0]
        assert alone is None or each.best.candidate.value <= alone.candidate.value * 1.01
        assert each.best.chance >= each.chance


def test_a_frontier_of_the_chance_is_as_good_as_designs_that_ask_for_it(problem):
    """Each row against the design that is asked for the row's own chance."""
    found = frontier(problem, ("cost", "chance"), 9)
    assert len(found.blends) >= 7
    sure = [blend for blend in found.blends if 0.3 < blend.joint_probability < 0.8]
    designed = 0
    for row in sure[::2]:
        asked = problem.with_job(replace(problem.job, confidence=row.joint_probability))
        best = design_problem(asked, explain=False)
        designed += best.status == DESIGNED  # near the surest of all a design may be less sure, and cheaper
        assert row.values["cost"] <= best.cost * 1.01 or best.joint_probability < row.joint_probability - 0.01
    assert designed >= 2


def test_what_never_leaves_the_mold_is_not_traded(demo, catalogue):
    """Gypsum cement stretched with sand until it may never be strong enough to leave the mold."""
    thin = replace(demo.vessel, wall=5.0)
    names = ("gypsum_cement", "silica_sand")
    dear, cheap = demo.prices["gypsum_cement"], demo.prices["marble_flour"]
    job = replace(
        demo,
        vessel=thin,
        materials=names,
        prices=dict(zip(names, (dear, cheap), strict=True)),
        limits=(Limit("dry_strength", ">=", 10.0), Limit("demold_time", "<=", 600.0)),
    )
    found = frontier(problem_of(job, catalogue), ("cost", "demold_time"), 12)
    assert len(found.blends) > 1
    assert all(math.isfinite(blend.values["demold_time"]) for blend in found.blends)
