"""Blends that hold all limits together with a chance: closed forms, slopes, and draws no solver has seen."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest

from optimizer.engine.cases import cases_of, cost_steps
from optimizer.engine.chance_constraints import chance_blends, surest_blends
from optimizer.engine.chance_rows import ChanceQuestion, ChanceTable, _ln_mean, _ln_met
from optimizer.engine.search_state import Question
from optimizer.engine.swap_search import best_mixes
from optimizer.job import Limit
from optimizer.jobfile import parse_job
from optimizer.money.vessel_cost import cost_coefficients
from optimizer.problem import limit_rows, problem_of
from optimizer.property_model.predict import PREDICTORS
from optimizer.property_model.samples import DrawSet, standard_normals
from optimizer.verdict.assess import assess, held_and_cost
from tests.trust.job_maker import job_text


@pytest.fixture(scope="module")
def problem(demo, catalogue):
    return problem_of(demo, catalogue)


@pytest.fixture(scope="module")
def judged(problem):
    return tuple(x for x in problem.job.limits if x.property != "heat_margin")


@pytest.fixture(scope="module")
def nominal(problem):
    return best_mixes([Question(problem)])[0]


@pytest.fixture(scope="module")
def blends(problem, judged, nominal):
    asked = [ChanceQuestion(problem, judged, chance, nominal) for chance in (0.2, 0.45)]
    return chance_blends(asked)


def fresh_chance(problem, judged, mix):
    """Share of the printed draws, which no solver sees, in which all limits hold."""
    cast = problem.samples.printed.cast(problem.conditions, mix[None, :])
    rows = [row for limit in judged for row in limit_rows(limit, cast)]
    return np.min(np.broadcast_arrays(*rows), axis=0).ravel(), len(problem.samples.printed)


@pytest.mark.parametrize("reserve", [-1.0, 0.0, 0.5, 1.3])
def test_one_gaussian_row_has_the_chance_of_the_normal_law(reserve):
    """Closed form: a row with one normal figure of spread s holds with the chance Phi(r / s)."""
    row = 0.1 * (reserve + standard_normals(DrawSet(1024, 3), ("one",)))
    for width in (1e-3, 0.0):
        chance = np.exp(_ln_mean(_ln_met([row], width)))
        assert chance[0] == pytest.approx(NormalDist().cdf(reserve), abs=3e-3)


def test_two_independent_rows_hold_with_the_product_of_their_chances():
    """Closed form: independent events."""
    draws = 0.1 * standard_normals(DrawSet(4096, 3), ("one", "two"))
    rows = [draws[:, [0]] + 0.03, draws[:, [1]] + 0.08]
    chance = np.exp(_ln_mean(_ln_met(rows, 1e-3)))
    assert chance[0] == pytest.approx(NormalDist().cdf(0.3) * NormalDist().cdf(0.8), abs=0.01)


def test_a_chance_that_no_draw_meets_still_has_slopes():
    """K has logistic tails: far below zero ln F falls by 1.702 / h for each unit of the row."""
    rows = [np.full((8, 2), -5.0) + np.array([0.0, 0.1])]
    far = _ln_mean(_ln_met(rows, 0.01))
    assert far[1] - far[0] == pytest.approx(0.1 * 1.702 / 0.01)
    assert _ln_mean(_ln_met(rows, 0.0)).tolist() == [-np.inf, -np.inf]


def test_slopes_are_those_of_the_draws(problem, judged, nominal):
    """Against central differences of the chance and the expected cost, every mix cast in its own draws."""
    table = ChanceTable([ChanceQuestion(problem, judged, 0.5)]).seen_by(problem.samples.search, 0.02)
    mix, task = nominal.best.mix[None, :], np.zeros(1, np.intp)
    used = np.append(np.flatnonzero(mix[0, :-1] > 0.0), mix.shape[1] - 1)
    at = table.look(mix, used[None, :], task)
    for place, k in enumerate(used):
        step = np.zeros(mix.shape[1])
        step[k] = 1e-5
        up, down = (table.rows(mix + way * step, task) for way in (1.0, -1.0))
        assert at.gradient[0, place] == pytest.approx((up[0][0] - down[0][0]) / 2e-5, rel=1e-2, abs=1e-3)
        assert at.jacobian[0, -1, place] == pytest.approx(
            (up[1][0, -1] - down[1][0, -1]) / 2e-5, rel=1e-2, abs=1e-2
        )


def test_many_mixes_are_valued_as_each_alone(problem, judged, nominal):
    """They are cast some at a time."""
    table = ChanceTable([ChanceQuestion(problem, judged, 0.5)])
    mixes = np.array([nominal.met[k % len(nominal.met)].mix for k in range(150)])
    task = np.zeros(150, np.intp)
    value, rows = table.rows(mixes, task)
    for k in (0, 63, 64, 149):
        alone = table.rows(mixes[[k]], task[[k]])
        assert value[k] == pytest.approx(alone[0][0], rel=1e-12)
        assert rows[k] == pytest.approx(alone[1][0], rel=1e-9, abs=1e-12)


def test_steps_add_up_to_the_cost_of_any_case(problem):
    """The cheapest steps and all edges passed cost what the cost function says of the dearest ones."""
    shop = problem.job.shop
    dearest = max(cases_of(problem), key=lambda case: case.fixed)
    steps = [s for s in cost_steps(problem) if s.limit.property == "sealer_coats"][: dearest.coats]
    cheapest = cost_coefficients(shop, dearest.turns, 0).fixed
    assert cheapest + sum(s.money for s in steps) == pytest.approx(dearest.line.fixed)


def test_fresh_draws_bear_the_chance_out(problem, judged, blends):
    """Draws of another set; 512 draws of the solver leave a few points of optimism."""
    for chance, found in zip((0.2, 0.45), blends, strict=True):
        rows, _ = fresh_chance(problem, judged, found.candidate.mix)
        assert found.chance >= chance - 0.004, "two of 512 draws"
        assert (rows >= 0.0).mean() >= chance - 0.08


def test_surer_blends_cost_more_and_none_less_than_the_best_values(problem, nominal, blends):
    loose, sure = (found.candidate.value for found in blends)
    assert nominal.best.value < loose <= sure * (1.0 + 1e-3)


def test_the_expected_cost_pays_coats_at_their_chance(problem, judged, blends):
    """Each draw's whole coats, counted here from the absorption of the solver's draws."""
    table = ChanceTable([ChanceQuestion(problem, judged, 0.5)])
    found = blends[0]
    cast = problem.samples.search.cast(problem.conditions, found.candidate.mix[None, :])
    coats = np.ravel(PREDICTORS["sealer_coats"](cast))
    shop = problem.job.shop
    per_coat = cost_coefficients(shop, 1, 1).fixed - cost_coefficients(shop, 1, 0).fixed
    value, _, _ = table.judged_at(np.zeros(1, np.intp), found.candidate.mix[None, :])
    powder = table.per_money[0] * float(found.candidate.mix @ table.prices[0])
    days = table.per_day[0] * PREDICTORS["drying_time"](cast).mean()
    assert value[0] == pytest.approx(table.fixed[0] + powder + days + per_coat * coats.mean(), rel=2e-3)


@pytest.mark.parametrize("number", [38, 59, 468])
def test_search_and_verdict_count_the_same_cost(catalogue, number):
    """Random jobs some of whose vessels no carrier, no turn of a mold or no coat does in some draws.

    Within 0.1 %: the verdict charges each draw the powder that fills the mold in it.
    """
    problem = problem_of(parse_job(job_text(4021, number, catalogue), catalogue, "job"), catalogue)
    nominal = best_mixes([Question(problem)])[0]
    table = ChanceTable([ChanceQuestion(problem, problem.job.limits, problem.job.confidence, nominal)])
    blend = nominal.met[0]
    task = next(t for t, case in enumerate(table.cases) if case.doses == blend.case.doses)
    value, _, chance = table.judged_at(np.array([task]), blend.mix[None, :])
    told = assess(problem, blend.mix, problem.samples.search)
    assert value[0] == pytest.approx(told.cost.value, rel=1e-3)
    assert chance[0] == pytest.approx(told.joint_probability)
    _, total = held_and_cost(problem, blend.mix, problem.samples.search)
    assert np.isinf(total).any(), "what cannot be sold is paid for by the others"


def test_the_surest_blend_is_surer_than_any_asked_for(problem, judged, nominal, blends):
    surest = surest_blends([ChanceQuestion(problem, judged, 0.8, nominal)])[0]
    assert surest.chance >= max(found.chance for found in blends)


def test_no_blend_reaches_what_none_can(problem, nominal):
    hard = Limit("dry_strength", ">=", 300.0)
    asked = problem.with_limits([*problem.job.limits, hard])
    assert chance_blends([ChanceQuestion(asked, asked.job.limits, 0.9, nominal)]) == [None]


def test_a_cost_limit_is_judged_with_the_others(problem, judged, nominal, blends):
    """A bound between the costs of the cheap and the sure blend takes chance from the dear one."""
    bound = blends[1].candidate.value * 0.97
    capped = (*judged, Limit("cost", "<=", bound))
    asked = problem.with_limits([*problem.job.limits, capped[-1]])
    surest = surest_blends([ChanceQuestion(asked, capped, 0.6, nominal)])[0]
    free = surest_blends([ChanceQuestion(problem, judged, 0.6, nominal)])[0]
    assert surest.chance <= free.chance + 1e-9


def test_other_objectives_than_cost(problem, judged, nominal):
    job = replace(problem.job, objective="dry_strength", maximize=True)
    asked = problem.with_job(job)
    weak, strong = (
        chance_blends([ChanceQuestion(p, judged, 0.3, None if p is asked else nominal)])[0]
        for p in (problem, asked)
    )
    cast = PREDICTORS["dry_strength"]
    at = [float(np.ravel(cast(_cast(problem, x.candidate.mix)))[0]) for x in (weak, strong)]
    assert at[1] >= at[0] * (1.0 - 1e-3)


def _cast(problem, mix):
    from optimizer.property_model.predict import cast_of

    return cast_of(problem.model, problem.conditions, mix[None, :])
