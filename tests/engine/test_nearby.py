"""Answers from the blends of neighbors are those of a full search, which knows nothing of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.engine.nearby import Pool, nearby
from optimizer.engine.scan import Scan
from optimizer.engine.search import Search
from optimizer.problem import problem_of


@pytest.fixture(scope="module")
def problem(demo, catalogue):
    return problem_of(demo, catalogue)


@pytest.fixture(scope="module")
def scan(problem):
    return Scan(problem)


@pytest.fixture
def pool(problem, scan):
    search = Search(problem, scan=scan)
    search.run()
    pool = Pool()
    pool.learn(search)
    return pool


def shaken(problem, seed, reach=0.05):
    rng = np.random.default_rng(seed)
    limits = tuple(
        replace(x, bound=x.bound * rng.uniform(1.0 - reach, 1.0 + reach)) for x in problem.job.limits
    )
    prices = {k: replace(p, price=p.price * rng.uniform(0.8, 1.25)) for k, p in problem.job.prices.items()}
    return replace(problem, job=replace(problem.job, limits=limits, prices=prices))


@pytest.mark.parametrize("seed", range(8))
def test_a_neighbor_is_answered_as_a_full_search_answers_it(problem, scan, pool, seed):
    asked = shaken(problem, seed)
    full = Search(asked, scan=scan).run()
    near = nearby(Search(asked, scan=scan), pool)
    assert full.feasible
    assert near is not None
    assert near.feasible
    assert near.value <= full.value * 1.001


def test_an_empty_pool_leads_nowhere(problem, scan):
    assert nearby(Search(problem, scan=scan), Pool()) is None


def test_no_blend_is_made_up(problem, scan, pool):
    hopeless = problem.with_limits(
        [replace(x, bound=10.0 * x.bound) if x.property == "dry_strength" else x for x in problem.job.limits]
    )
    assert nearby(Search(hopeless, scan=scan), pool) is None


def test_blends_of_other_materials_are_left_alone(problem, scan, pool):
    kept = [set(support) for _, support in pool.blends]
    gone = next(k for k in problem.solids if 0 < sum(k in support for support in kept) < len(kept))
    only = tuple(k for k in problem.solids if k != gone)
    best = nearby(Search(problem, only=only, scan=scan), pool)
    assert best is not None
    assert set(best.support) <= {*only, *problem.doses}


def test_the_pool_keeps_the_latest(problem, scan, pool):
    best = Search(problem, scan=scan).run()
    pool.blends = {((k, 0, 0.0, ()), (0,)): best.mix for k in range(60)}
    pool.keep(best)
    assert len(pool.blends) == 48
    assert list(pool.blends)[-1] == (best.case.steps, best.support)
    assert (0, 0, 0.0, ()) not in {steps for steps, _ in pool.blends}
