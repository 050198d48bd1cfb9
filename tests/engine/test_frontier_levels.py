"""Frontiers: every level is as good as a search of its own, none is lost, nothing endless is traded."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from optimizer.engine.search import Search
from optimizer.problem import problem_of
from optimizer.shop import Limit
from optimizer.studies.frontier import frontier
from optimizer.studies.levels import LevelWalk


@pytest.fixture(scope="module")
def problem(demo, catalogue):
    return problem_of(demo, catalogue)


@pytest.mark.parametrize(
    ("over", "senses"),
    [(("cost", "demold_time"), ("min", "min")), (("cost", "whiteness"), ("min", "max"))],
    ids=lambda part: "-".join(part),
)
def test_each_level_is_as_good_as_a_search_of_its_own(problem, over, senses):
    walk = LevelWalk(problem, over, senses)
    levels = walk.levels(12, walk.ends())
    placed = walk.between(levels)
    assert len(placed) == len(levels)
    for each in placed:
        alone = Search(each.asked, scan=walk.scan).run()
        assert each.best.value <= alone.value * 1.001


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
