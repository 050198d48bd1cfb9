"""Walks that step together end where independent solvers end, alone or in company."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from optimizer.engine.cases import cases_of
from optimizer.engine.grid_search import GridSearch
from optimizer.engine.lockstep import Pace, Walks, walk
from optimizer.engine.nlp_refinement import polish
from optimizer.engine.row_table import LinearPart, RowTable, Slopes
from optimizer.engine.supports import packed
from optimizer.formulation import curved_rows, linear_rows
from optimizer.problem import problem_of

SUPPORTS = [(0, 3, 4), (0, 3, 5), (0, 3, 4, 5), (0, 2, 3, 5)]
PATIENT = Pace(steps=30, ring=3, keep_best=True)


@pytest.fixture(scope="module")
def problem(demo, catalogue):
    return problem_of(demo, catalogue)


@pytest.fixture(scope="module")
def table(problem):
    return RowTable([problem])


@pytest.fixture(scope="module")
def task(table):
    return next(t for t, case in enumerate(table.cases) if case.coats == 1)


@pytest.fixture(scope="module")
def starts(problem, table, task):
    mixes = GridSearch(problem).cast(table.cases[task]).mixes
    return mixes[:: max(1, len(mixes) // 12)][:12]


def walks_on(table, task, supports, starts):
    columns, used = packed(table, supports, 4)
    return Walks(np.full(len(supports), task, np.intp), columns, used, np.array(starts))


@pytest.mark.parametrize("support", SUPPORTS, ids=lambda s: "materials " + ",".join(map(str, s)))
def test_they_end_where_slsqp_ends(problem, table, task, starts, support):
    """SLSQP of SciPy (Kraft 1988), from the best end and from elsewhere, finds nothing better."""
    ends = walk(table, walks_on(table, task, [support] * len(starts), starts), PATIENT)
    held = ends.violation <= 1e-6
    assert held.sum() >= 6
    best = ends.value[held].min()
    at = ends.mixes[np.flatnonzero(held)[ends.value[held].argmin()]]
    for start in (at, *starts[:3]):
        smooth = polish(problem, table.cases[task], support, start)
        assert not smooth.feasible or smooth.value >= best - 2e-6 * best


def test_an_end_holds_every_row(problem, table, task, starts):
    ends = walk(table, walks_on(table, task, SUPPORTS, starts[:4]), PATIENT)
    case = table.cases[task]
    linear = linear_rows(problem, case)
    for mix in ends.mixes[ends.violation <= 1e-6]:
        rows, _ = curved_rows(problem, case, mix[None, :])
        level = linear.matrix @ mix
        assert rows.min() >= -1e-6
        assert np.all(level >= linear.lower - 1e-6)
        assert np.all(level <= linear.upper + 1e-6)


def test_a_walk_ends_the_same_alone_and_in_company(table, task, starts):
    together = walk(table, walks_on(table, task, SUPPORTS, starts[:4]), Pace(steps=8))
    for k, support in enumerate(SUPPORTS):
        alone = walk(table, walks_on(table, task, [support], starts[k : k + 1]), Pace(steps=8))
        assert alone.mixes[0] == pytest.approx(together.mixes[k], abs=1e-7)


def test_walks_of_a_group_that_promise_worse_are_left(table, task, starts):
    walks = walks_on(table, task, [SUPPORTS[0]] * 4 + [SUPPORTS[2]] * 4, [*starts[:4], *starts[:4]])
    free = walk(table, walks, PATIENT)
    raced = walk(table, walks, PATIENT, np.zeros(8, np.intp))
    best = free.value[free.violation <= 1e-6].min()
    assert raced.value[raced.violation <= 1e-6].min() == pytest.approx(best, rel=1e-3)


@pytest.mark.parametrize("name", ["dry_strength", "whiteness", "dry_mass", "demold_time", "working_window"])
def test_rows_with_bounds_of_their_own_are_the_rows_of_the_limits(demo, catalogue, starts, name):
    """Variants valued in one call are valued as each alone by `curved_rows`."""
    base = problem_of(demo, catalogue)
    limit = next(x for x in base.job.limits if x.property == name)
    others = [x for x in base.job.limits if x is not limit]
    variants = [
        base.with_limits([*others, type(limit)(name, limit.sense, limit.bound * factor)])
        for factor in (0.9, 1.0, 1.1)
    ]
    variants.append(base.with_limits(others))
    table = RowTable(variants)
    for k, variant in enumerate(variants):
        for case in cases_of(variant)[:2]:
            own = np.flatnonzero(table.variant == k)
            task = next(t for t in own if table.cases[t] == case)
            value, rows = table.rows(starts, np.full(len(starts), task, np.intp))
            single, _ = curved_rows(variant, case, starts)
            assert rows.min(axis=1) == pytest.approx(np.minimum(single, 9.0).min(axis=1), abs=1e-12)
            assert np.all(np.isfinite(value))


@dataclass
class CattleFeed:
    """A published chance-constrained blend as walks see it: four ingredients, one equation."""

    def linear(self, task, columns, used, *, least):
        one = np.ones((len(task), 1, 4))
        protein = np.tile([[[2.3, 5.6, 11.1, 1.3]]], (len(task), 1, 1))
        low, high = np.tile([[1.0, 5.0]], (len(task), 1)), np.tile([[1.0, np.inf]], (len(task), 1))
        return LinearPart(np.concatenate([one, protein], axis=1), low, high)

    def look(self, mixes, columns, task, used):
        cost, fat = np.array([24.55, 26.75, 39.0, 40.5]), np.array([12.0, 11.9, 41.8, 52.1])
        variance = np.array([0.28, 0.19, 20.5, 0.62])
        root = np.sqrt(mixes**2 @ variance)
        rows = (mixes @ fat - 21.0 - 1.645 * root)[:, None]
        jacobian = (fat - 1.645 * mixes * variance / root[:, None])[:, None, :]
        return Slopes(mixes @ cost, np.tile(cost, (len(mixes), 1)), rows, jacobian)


def test_a_published_chance_constrained_blend():
    """Hock and Schittkowski (1981), problem 73, cattle feed: 29.894378 at (0.6355, 0, 0.3127, 0.0518)."""
    columns = np.arange(4)[None, :]
    walks = Walks(np.zeros(1, np.intp), columns, np.ones((1, 4), bool), np.full((1, 4), 0.25))
    ends = walk(CattleFeed(), walks, Pace(steps=60, ring=4, curved=True))
    assert ends.violation[0] <= 1e-6
    assert ends.value[0] == pytest.approx(29.894378, rel=1e-5)
    assert ends.mixes[0] == pytest.approx([0.6355, 0.0, 0.3127, 0.0518], abs=2e-3)
