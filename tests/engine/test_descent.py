"""The walk by linear programs ends where an independent smooth solver ends, and choices of materials hold."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from optimizer.engine.cases import cases_of
from optimizer.engine.descent import descend
from optimizer.engine.materials import settle
from optimizer.engine.polish import polish
from optimizer.engine.scan import Scan
from optimizer.engine.search import Search
from optimizer.engine.walks import Walks
from optimizer.formulation import curved_rows, linear_rows
from optimizer.problem import problem_of


@pytest.fixture(scope="module")
def problem(demo, catalogue):
    return problem_of(demo, catalogue)


@pytest.fixture(scope="module")
def case(problem):
    return next(case for case in cases_of(problem) if case.coats == 1)


@pytest.fixture(scope="module")
def starts(problem, case):
    scan = Scan(problem)
    mixes = scan.cast(case).mixes
    return mixes[:: max(1, len(mixes) // 12)][:12]


SUPPORTS = [(0, 3, 4), (0, 3, 5), (0, 1, 3, 5), (0, 2, 3, 5)]


@pytest.mark.parametrize("support", SUPPORTS, ids=lambda s: "materials " + ",".join(map(str, s)))
def test_it_ends_where_slsqp_ends(problem, case, starts, support):
    """SLSQP of SciPy (Kraft 1988), from the end of the walk and from elsewhere, finds nothing better."""
    ends = [descend(problem, case, support, start, at_least=support) for start in starts]
    best = min(ends, key=lambda c: c.rank())
    assert best.feasible
    for start in (best.mix, *starts[:4]):
        smooth = polish(problem, case, support, start)
        assert not smooth.feasible or smooth.value >= best.value - 1e-6 * best.value


def test_most_starts_lead_to_one_end(problem, case, starts):
    ends = [descend(problem, case, problem.solids, start) for start in starts]
    values = sorted(end.value for end in ends if end.feasible)
    assert len(values) >= 9
    assert np.median(values) == pytest.approx(values[0], rel=1e-6)


def test_an_end_holds_every_row(problem, case, starts):
    end = descend(problem, case, problem.solids, starts[0])
    rows, _ = curved_rows(problem, case, end.mix[None, :])
    linear = linear_rows(problem, case)
    level = linear.matrix @ end.mix
    assert end.feasible
    assert rows.min() >= -1e-6
    assert np.all(level >= linear.lower - 1e-6)
    assert np.all(level <= linear.upper + 1e-6)


def test_the_same_start_ends_the_same(problem, case, starts):
    first, second = (descend(problem, case, problem.solids, starts[3]) for _ in range(2))
    assert np.array_equal(first.mix, second.mix)


def test_a_walk_that_cannot_beat_the_cutoff_is_broken_off(problem, case, starts):
    end = descend(problem, case, problem.solids, starts[0])
    again = descend(problem, case, problem.solids, end.mix, cutoff=0.5 * end.value)
    assert again.value >= end.value - 1e-6


@pytest.mark.parametrize("most", [1, 2, 3, 4])
def test_what_is_settled_is_what_a_shop_weighs(demo, catalogue, most):
    problem = problem_of(replace(demo, at_most_materials=most), catalogue)
    case = next(case for case in cases_of(problem) if case.coats == 1)
    mixes = Scan(problem).cast(case).mixes
    end = descend(problem, case, problem.solids, mixes[len(mixes) // 2])
    for blend in settle(Walks(problem, {}), end, problem.solids):
        if not blend.feasible:
            continue
        powder = blend.mix[:-1].sum()
        assert len(blend.support) <= most
        assert all(blend.mix[k] >= problem.bounds[k].least * powder - 1e-6 for k in blend.support)


def test_no_set_of_materials_beats_the_search(problem, case):
    """Every set of at most four of the seven materials is solved on its own by SLSQP from two starts."""
    found = Search(problem).run()
    assert found is not None
    binders = [k for k in problem.solids if problem.materials[k].role == "binder"]
    scan = Scan(problem)
    mixes = scan.cast(case).mixes
    for count in (1, 2, 3, 4):
        for support in itertools.combinations(problem.solids, count):
            if not set(support) & set(binders):
                continue
            start = np.zeros(mixes.shape[1])
            inside = [i for i, own in enumerate(scan.supports) if set(own) <= set(support)]
            start = mixes[inside[-1]].copy()
            start[list(support)] = np.maximum(start[list(support)], 0.02)
            smooth = polish(problem, case, support, start)
            assert not smooth.feasible or smooth.value >= found.value * (1.0 - 1e-4), support
