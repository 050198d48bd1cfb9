"""Smooth problems: published optima, and the ways SLSQP has been seen to mislead."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest
from problems import HOCK_SCHITTKOWSKI, INF, problem, quadratic, stack

from optimizer.solvers.nonlinear import FEASIBILITY, minimize_smooth, violation
from optimizer.solvers.status import Status

PUBLISHED = [
    pytest.param(number, id=f"Hock-Schittkowski-1981-problem-{number}-from-memory")
    for number in HOCK_SCHITTKOWSKI
]


@pytest.mark.parametrize("number", PUBLISHED)
def test_published_optimum(number):
    published = HOCK_SCHITTKOWSKI[number]()
    answer = minimize_smooth(published.problem, published.start)
    assert answer.status is Status.OPTIMAL
    assert answer.value == pytest.approx(published.best, rel=1e-7, abs=1e-7)
    assert answer.violation <= FEASIBILITY


@pytest.mark.parametrize("number", PUBLISHED)
def test_the_functions_of_the_published_problems_have_their_own_slopes(number):
    """Central differences; own arithmetic."""
    case = HOCK_SCHITTKOWSKI[number]()
    x = np.clip(case.start, case.problem.lower, case.problem.upper) + 0.013
    step = 1e-6 * np.eye(x.size)
    cost = [(case.problem.priced(x + e)[0] - case.problem.priced(x - e)[0]) / 2e-6 for e in step]
    rows = [(case.problem.rows(x + e)[0] - case.problem.rows(x - e)[0]) / 2e-6 for e in step]
    np.testing.assert_allclose(case.problem.priced(x)[1], cost, rtol=1e-6, atol=1e-5)
    np.testing.assert_allclose(case.problem.rows(x)[1], np.array(rows).T, rtol=1e-6, atol=1e-5)


@pytest.mark.parametrize("scale", [1e-7, 1.0, 1e7])
def test_a_small_cost_is_not_taken_for_a_flat_one(scale):
    """Plain SLSQP answers (0, 0) with success after one step at 1e-7 (measured on scipy 1.17)."""
    flat = problem(quadratic(scale * np.eye(2), [-2 * scale, -4 * scale], 5 * scale), [-INF] * 2, [INF] * 2)
    np.testing.assert_allclose(minimize_smooth(flat, [0, 0]).x, [1, 2], atol=1e-6)


def test_a_cost_of_two_scales_is_followed_to_its_lowest_point():
    """Plain SLSQP answers y = 0 with success (measured on scipy 1.17)."""
    cost = quadratic(np.diag([1e6, 1e-6]), [-2e6, -4e-6], 1e6 + 4e-6)
    answer = minimize_smooth(problem(cost, [-INF] * 2, [INF] * 2), [0, 0])
    np.testing.assert_allclose(answer.x, [1, 2], atol=1e-6)


def test_contradictory_rows_have_no_answer():
    """Rows x >= 1 and x <= 0: older releases of SLSQP claimed success."""
    answer = minimize_smooth(problem(np.ones(1), [-INF], [INF], [([1], 1, INF), ([1], -INF, 0)]), [0.3])
    assert answer.status is Status.FAILED
    assert answer.violation >= 0.5
    assert answer.stationarity == INF


def test_a_claimed_success_on_a_broken_row_is_not_believed(monkeypatch):
    import scipy.optimize

    def lies(function, x0, **options):
        return x0, 0.0, 1, 0, "Optimization terminated successfully"

    monkeypatch.setattr(scipy.optimize, "fmin_slsqp", lies)
    answer = minimize_smooth(problem(np.ones(2), [0, 0], [9, 9], [([1, 1], 3, INF)]), [0, 0])
    assert answer.status is Status.FAILED


def test_an_error_mode_at_the_optimum_is_an_optimum(monkeypatch):
    """Mode 8 is a common ending at the optimum itself."""
    import scipy.optimize

    honest = scipy.optimize.fmin_slsqp

    def grumbles(*args, **options):
        x, value, iterations, _, text = honest(*args, **options)
        return x, value, iterations, 8, text

    monkeypatch.setattr(scipy.optimize, "fmin_slsqp", grumbles)
    case = HOCK_SCHITTKOWSKI[73]()
    assert minimize_smooth(case.problem, case.start).status is Status.OPTIMAL


def test_a_bad_first_attempt_is_tried_again_from_elsewhere(monkeypatch):
    import scipy.optimize

    honest, starts = scipy.optimize.fmin_slsqp, []

    def fails_once(function, x0, **options):
        starts.append(x0.copy())
        if len(starts) == 1:
            return x0, 0.0, 1, 4, "Inequality constraints incompatible"
        return honest(function, x0, **options)

    monkeypatch.setattr(scipy.optimize, "fmin_slsqp", fails_once)
    answer = minimize_smooth(problem(np.ones(2), [0, 0], [9, 9], [([1, 1], 3, INF)]), [0, 0])
    assert answer.status is Status.OPTIMAL
    assert answer.value == pytest.approx(3.0)
    assert len(starts) == 2
    np.testing.assert_allclose(starts[1], [0.45, 0.45])


def test_a_feasible_point_short_of_the_optimum_is_only_feasible():
    case = HOCK_SCHITTKOWSKI[100]()
    answer = minimize_smooth(case.problem, case.start, max_iterations=2)
    assert answer.status is not Status.OPTIMAL
    if answer.status is Status.FEASIBLE:
        assert answer.violation <= FEASIBILITY
        assert answer.value > case.best


@pytest.mark.parametrize("factor", [1e-9, 1e9])
def test_the_unit_of_a_row_changes_nothing(factor):
    case = HOCK_SCHITTKOWSKI[71]().problem
    plain = minimize_smooth(case, [1, 5, 5, 1])

    def curved(x):
        values, slopes = case.rows(x)
        return values * factor, slopes * factor

    scaled = minimize_smooth(replace(case, curved=curved), [1, 5, 5, 1])
    assert scaled.status is Status.OPTIMAL
    np.testing.assert_allclose(scaled.x, plain.x, atol=1e-8)


def test_cost_and_rows_reach_the_solver_at_size_one(monkeypatch):
    import scipy.optimize

    honest, sizes = scipy.optimize.fmin_slsqp, []

    def watched(function, x0, **options):
        slopes = [np.atleast_2d(options["fprime"](x0)), options["fprime_ieqcons"](x0)]
        sizes.extend(np.abs(np.concatenate(slopes)).max(axis=1))
        return honest(function, x0, **options)

    monkeypatch.setattr(scipy.optimize, "fmin_slsqp", watched)
    tiny = stack([quadratic(np.zeros((2, 2)), [1e-12, 0], -1e-12)])
    cost = quadratic(1e-9 * np.eye(2), [0, 0])
    answer = minimize_smooth(problem(cost, [-9, -9], [9, 9], [([1e6, 1e5], 0, INF)], tiny), [3, 3])
    assert answer.x == pytest.approx([1.0, 0.0], abs=1e-6)
    assert sizes == pytest.approx([1.0] * 3)


def test_a_column_with_equal_bounds_stays_and_the_rest_is_solved():
    """Hock-Schittkowski 43 with x4 held at its published optimum of -1 keeps its optimum of -44."""
    case = HOCK_SCHITTKOWSKI[43]().problem
    held = replace(case, lower=np.array([-INF] * 3 + [-1.0]), upper=np.array([INF] * 3 + [-1.0]))
    answer = minimize_smooth(held, np.zeros(4))
    assert answer.x[3] == -1.0
    assert answer.value == pytest.approx(-44.0, rel=1e-7)


def test_a_linear_row_counts_its_fixed_columns():
    """With x held at 2, x + 2y >= 5 leaves y = 1.5; by hand."""
    answer = minimize_smooth(problem(np.ones(2), [2, 0], [2, 9], [([1, 2], 5, INF)]), [0, 0])
    assert answer.x == pytest.approx([2.0, 1.5])


def test_a_second_attempt_that_ends_worse_is_dropped(monkeypatch):
    import scipy.optimize

    ends = iter([np.array([4.0, 4.0]), np.array([0.0, 0.0])])
    monkeypatch.setattr(scipy.optimize, "fmin_slsqp", lambda *args, **options: (next(ends), 0.0, 1, 8, ""))
    answer = minimize_smooth(problem(np.ones(2), [0, 0], [9, 9], [([1, 1], 3, INF)]), [5, 5])
    assert answer.status is Status.FEASIBLE
    assert answer.value == 8.0
    assert answer.iterations == 2


def test_all_columns_fixed_is_judged_without_a_solve():
    fixed = problem(np.ones(2), [1, 2], [1, 2], [([1, 1], 3, 3)])
    assert minimize_smooth(fixed, [0, 0]).status is Status.OPTIMAL
    broken = problem(np.ones(2), [1, 2], [1, 2], [([1, 1], 4, 4)])
    assert minimize_smooth(broken, [0, 0]).status is Status.FAILED


def test_equal_inputs_give_equal_answers():
    case = HOCK_SCHITTKOWSKI[112]()
    first, second = (minimize_smooth(case.problem, case.start) for _ in range(2))
    assert first.x.tobytes() == second.x.tobytes()
    assert first.iterations == second.iterations


def test_the_deadline_ends_the_solve():
    slow = HOCK_SCHITTKOWSKI[100]()

    def cost(x):
        time.sleep(0.02)
        return slow.problem.priced(x)

    began = time.monotonic()
    answer = minimize_smooth(replace(slow.problem, cost=cost), slow.start, time_limit=0.1)
    assert time.monotonic() - began < 1.0
    assert answer.status in (Status.FEASIBLE, Status.TIME_LIMIT)


def test_a_spent_budget_answers_with_the_best_point_looked_at():
    case, costs = HOCK_SCHITTKOWSKI[100](), []

    def cost(x):
        value, slope = case.problem.priced(x)
        if violation(case.problem, x) <= FEASIBILITY:
            costs.append(value)
        return value, slope

    answer = minimize_smooth(replace(case.problem, cost=cost), case.start, max_evaluations=9)
    assert answer.status is Status.FEASIBLE
    assert answer.value == min(costs)
    assert answer.value > case.best


def test_no_more_points_are_looked_at_than_allowed():
    """Contradictory rows keep the line search of SLSQP busy."""
    looked = []

    def cost(x):
        looked.append(x.copy())
        return float(x @ x), 2 * x

    never = stack([quadratic(-np.eye(2), [0, 0], -1.0)])
    answer = minimize_smooth(problem(cost, [-9, -9], [9, 9], curved=never), [3, 4], max_evaluations=20)
    assert answer.status in (Status.FAILED, Status.TIME_LIMIT)
    assert len(looked) <= 2 * 20 + 6


def test_an_interrupt_passes_through():
    def cost(x):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        minimize_smooth(problem(cost, [0], [1]), [0.5])


def test_a_cost_without_numbers_is_a_failure_not_a_crash():
    broken = problem(lambda x: (np.nan, np.full(2, np.nan)), [0, 0], [1, 1])
    answer = minimize_smooth(broken, [0.5, 0.5])
    assert answer.status is Status.FAILED
    assert np.all(np.isfinite(answer.x))


@pytest.mark.parametrize("value", [17.0, 25.0, 33.0])
def test_an_equality_is_broken_on_both_sides(value):
    """Own arithmetic: x^2 + y^2 = value at (3, 4), where the steepest slope is 8."""
    circle = stack([quadratic(np.eye(2), [0, 0], -value)])
    case = problem(np.ones(2), [-9, -9], [9, 9], curved=circle, curved_equalities=1)
    assert violation(case, np.array([3.0, 4.0])) == pytest.approx(abs(25 - value) / 8)


@pytest.mark.parametrize(
    ("x", "distance"),
    [
        pytest.param([1.0, 1.0], 0.0, id="inside"),
        pytest.param([5.0, 1.0], 1.0, id="bound-broken-by-one"),
        pytest.param([0.0, 0.0], 0.5, id="row-4x+y>=2-broken-by-two-over-its-steepest-slope"),
        pytest.param([2.0, 2.0], 0.25, id="curved-row-broken-by-one-over-its-slope-of-four"),
    ],
)
def test_violation_is_a_distance(x, distance):
    """Own arithmetic: 4x + y >= 2, x <= 4, and 7 - x^2 - y^2 >= 0 with slope 2x."""
    bowl = stack([quadratic(-np.eye(2), [0, 0], 7.0)])
    case = problem(np.ones(2), [-9, -9], [4, 9], [([4, 1], 2, INF)], bowl)
    far = replace(case, curved=None) if x[0] == 5.0 else case
    assert violation(far, np.array(x)) == pytest.approx(distance)
