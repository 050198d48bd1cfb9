"""The search for the best mix finds what walks on every set of materials find, for all kinds of questions."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from optimizer.engine.lockstep import Pace, Walks, walk
from optimizer.engine.row_table import RowTable
from optimizer.engine.search_state import Question
from optimizer.engine.supports import packed
from optimizer.engine.swap_search import best_mix, best_mixes
from optimizer.job import Limit, Price
from optimizer.problem import problem_of
from tests.certificate.invented import invented_problem

PATIENT = Pace(steps=25, ring=3, keep_best=True)


def best_of_every_set(problem, starts):
    """Walk on every set of materials in every case, from each of some mixes; return the best value met."""
    table = RowTable([problem])
    most = problem.job.at_most_materials or 4
    sets = [
        own
        for size in range(1, most + 1)
        for own in combinations(problem.solids, size)
        if any(problem.materials[k].role == "binder" for k in own)
    ]
    jobs = [(t, own, mix) for t in range(len(table.cases)) for own in sets for mix in starts]
    columns, used = packed(table, [own for _, own, _ in jobs], most)
    task = np.array([t for t, _, _ in jobs], np.intp)
    ends = walk(table, Walks(task, columns, used, np.array([mix for _, _, mix in jobs])), PATIENT)
    return ends.value[ends.violation <= 1e-6].min(initial=np.inf)


def kinds_of_question(problem, kind):
    """Return a job like that of `problem` whose cases or objective differ in another way."""
    job = problem.job
    if kind == "turns":
        shop = replace(job.shop, mold_view="order", molds=2, order_vessels=100, order_days=5, mold_price=40.0)
        job = replace(job, shop=shop)
    elif kind == "postage":
        bands = ((500.0, 4.0), (650.0, 5.5), (2000.0, 9.0))
        job = replace(job, shop=replace(job.shop, shipping_bands=bands, shipped_extras=200.0))
    elif kind == "doses":
        prices = {**job.prices, "citric_acid": Price(1.0, 8.0)}
        job = replace(job, materials=(*job.materials, "citric_acid"), prices=prices)
    elif kind == "strongest":
        job = replace(job, objective="dry_strength", maximize=True)
    else:
        job = replace(job, objective=kind, maximize=False)
    return problem_of(job, problem.catalogue)


@pytest.mark.parametrize("seed", [3010, 3078, 3160, 3371])
def test_no_set_of_materials_beats_the_answer(catalogue, seed):
    """Jobs on which walks with all materials end up to half a percent above the best."""
    problem = invented_problem(catalogue, 6, seed)
    found = best_mixes([Question(problem)])[0]
    assert found.holds
    starts = [blend.mix for blend in found.met[:2]]
    assert found.best.value <= best_of_every_set(problem, starts) * (1.0 + 1e-3)


@pytest.mark.parametrize("kind", ["turns", "postage", "doses", "strongest", "dry_mass", "embodied_co2"])
def test_no_set_beats_the_answer_to_other_kinds_of_questions(catalogue, kind):
    problem = kinds_of_question(invented_problem(catalogue, 5, 41), kind)
    found = best_mixes([Question(problem)])[0]
    assert found.holds
    best = best_of_every_set(problem, [found.met[0].mix])
    assert found.best.value <= best + 1e-3 * abs(best)


def test_many_questions_at_once_are_answered_as_each_alone(demo, catalogue):
    problem = problem_of(demo, catalogue)
    rest = [x for x in demo.limits if x.property != "whiteness"]
    levels = [problem.with_limits([*rest, Limit("whiteness", ">=", bound)]) for bound in (84.0, 88.0, 90.0)]
    for level, found in zip(levels, best_mixes([Question(x) for x in levels]), strict=True):
        assert found.best.value == pytest.approx(best_mix(level).value, rel=1e-3)


def test_only_some_materials_are_used(demo, catalogue):
    problem = problem_of(demo, catalogue)
    binder = next(k for k in problem.solids if problem.materials[k].role == "binder")
    others = tuple(k for k in problem.solids if problem.materials[k].role != "binder")
    only = (binder, *others)
    found = best_mixes([Question(problem, only)])[0]
    assert set(found.best.support) <= {*only, *problem.doses}
    assert all(set(blend.support) <= {*only, *problem.doses} for blend in found.met)


@pytest.mark.parametrize("most", [1, 2, 3, 4])
def test_what_is_found_is_what_a_shop_weighs(demo, catalogue, most):
    problem = problem_of(replace(demo, at_most_materials=most), catalogue)
    for blend in best_mixes([Question(problem)])[0].met:
        if blend.feasible:
            powder = blend.mix[:-1].sum()
            assert len(blend.support) <= most
            assert all(blend.mix[k] >= problem.bounds[k].least * powder - 1e-6 for k in blend.support)


def test_the_first_blend_is_one_that_holds(demo, catalogue):
    problem = problem_of(demo, catalogue)
    found = best_mixes([Question(problem, first=True)])[0]
    assert found.holds
    none = problem.with_limits([*demo.limits, Limit("dry_strength", ">=", 400.0)])
    assert not best_mixes([Question(none, first=True)])[0].holds


def test_a_known_blend_is_not_lost(catalogue):
    """A search that is told a blend ends no worse than it."""
    problem = invented_problem(catalogue, 6, 3078)
    best = best_mix(problem)
    again = best_mixes([Question(problem, known=(best,))])[0]
    assert again.best.value <= best.value * (1.0 + 1e-6)


def test_the_same_question_has_the_same_answer(catalogue):
    problem = invented_problem(catalogue, 6, 3160)
    assert np.array_equal(best_mix(problem).mix, best_mix(problem).mix)
