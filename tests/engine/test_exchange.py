"""Exchanges of single materials find what walks with all materials miss; checked by walks on every set."""

from __future__ import annotations

from itertools import combinations

import pytest

from optimizer.engine.exchange import exchanged
from optimizer.engine.search import Search
from optimizer.engine.walks import Walks
from tests.certificate.invented import invented_problem


@pytest.mark.parametrize("seed", [3010, 3078, 3160, 3371])
def test_no_other_set_of_materials_beats_the_answer(catalogue, seed):
    """Jobs on which walks with all materials end up to half a percent above the best."""
    problem = invented_problem(catalogue, 6, seed)
    best = Search(problem).run()
    walks = Walks(problem, {})
    most = problem.job.at_most_materials or len(problem.names)
    for size in range(1, most + 1):
        for own in combinations(problem.solids, size):
            if any(problem.materials[k].role == "binder" for k in own):
                end = walks.down(best.case, own, best.mix, own)
                assert not end.feasible or end.value > best.value * (1.0 - 1e-3), own


def test_a_poor_set_is_left_behind(catalogue):
    problem = invented_problem(catalogue, 6, 3078)
    best = Search(problem).run()
    walks = Walks(problem, {})
    poor = walks.down(best.case, (0, 4, 5), best.mix, (0, 4, 5))
    assert poor.feasible
    found = exchanged(walks, poor, problem.solids, 4)
    assert found.feasible
    assert found.value == pytest.approx(best.value, rel=1e-3)
    assert found.value < 0.999 * poor.value


def test_materials_outside_the_list_stay_outside(catalogue):
    problem = invented_problem(catalogue, 6, 3078)
    best = Search(problem).run()
    kept = tuple(k for k in problem.solids if k in best.support)
    assert set(exchanged(Walks(problem, {}), best, kept, 4).support) <= {*kept, *problem.doses}
