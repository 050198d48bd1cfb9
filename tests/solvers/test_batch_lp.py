"""Many linear programs at once: the answers of HiGHS and of textbooks, however they are started."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import linprog

from optimizer.solvers.batch_lp import BatchLP, solve_batch

SHAPES = [(5, 3), (25, 7), (30, 14), (60, 6)]


def random_programs(seed: int, count: int, rows: int, columns: int) -> BatchLP:
    """Return programs around a point each, one row an equation, a tenth of them without a feasible point."""
    rng = np.random.default_rng(seed)
    matrix = rng.normal(size=(count, rows, columns)) * (rng.random((count, rows, columns)) < 0.7)
    level = np.einsum("brn,bn->br", matrix, rng.uniform(-0.3, 0.3, (count, columns)))
    low = np.where(rng.random((count, rows)) < 0.6, level - rng.uniform(0.0, 0.3, (count, rows)), -np.inf)
    high = np.where(rng.random((count, rows)) < 0.3, level + rng.uniform(0.0, 0.3, (count, rows)), np.inf)
    low[:, 0] = high[:, 0] = level[:, 0]
    none = rng.random(count) < 0.1
    low[none, 1], high[none, 1] = 50.0, np.inf
    box = np.full((count, columns), 0.4)
    return BatchLP(rng.normal(size=(count, columns)), -box, box, matrix, low, high)


def by_linprog(programs: BatchLP, one: int):
    """Solve one program with HiGHS through SciPy."""
    low, high = programs.row_lower[one], programs.row_upper[one]
    above, below = np.isfinite(high), np.isfinite(low)
    rows = programs.rows[one]
    return linprog(
        programs.cost[one],
        A_ub=np.vstack([rows[above], -rows[below]]),
        b_ub=np.concatenate([high[above], -low[below]]),
        bounds=np.column_stack([programs.lower[one], programs.upper[one]]),
        method="highs",
    )


@pytest.mark.parametrize("shape", SHAPES, ids=str)
def test_each_answer_is_that_of_highs(shape):
    """Against HiGHS (Huangfu and Hall 2018) as scipy.optimize.linprog calls it."""
    programs = random_programs(1, 60, *shape)
    answer = solve_batch(programs)
    for one in range(60):
        other = by_linprog(programs, one)
        assert answer.solved[one] == (other.status == 0)
        if other.status == 0:
            assert programs.cost[one] @ answer.x[one] == pytest.approx(other.fun, abs=1e-9)


@pytest.mark.parametrize("shape", SHAPES, ids=str)
def test_an_answer_holds_its_rows_and_its_multipliers_prove_it(shape):
    """Weak duality: for any multipliers the box minimum of the Lagrangian bounds the cost from below."""
    programs = random_programs(2, 60, *shape)
    answer = solve_batch(programs)
    level = np.einsum("brn,bn->br", programs.rows, answer.x)
    good = answer.solved
    assert np.all(level[good] >= programs.row_lower[good] - 1e-8)
    assert np.all(level[good] <= programs.row_upper[good] + 1e-8)
    duals = answer.duals
    reduced = programs.cost - np.einsum("br,brn->bn", duals, programs.rows)
    box = np.where(reduced > 0.0, programs.lower, programs.upper)
    bound = np.where(duals > 0.0, programs.row_lower, programs.row_upper)
    proved = (reduced * box).sum(1) + np.where(duals == 0.0, 0.0, duals * np.where(duals == 0, 0, bound)).sum(
        1
    )
    assert proved[good] == pytest.approx((programs.cost * answer.x).sum(1)[good], abs=1e-8)


@pytest.mark.parametrize("shape", SHAPES, ids=str)
def test_a_start_from_a_like_program_changes_no_answer(shape):
    programs = random_programs(3, 60, *shape)
    rng = np.random.default_rng(4)
    like = replace(
        programs,
        cost=programs.cost * (1.0 + 0.05 * rng.normal(size=programs.cost.shape)),
        rows=programs.rows * (1.0 + 0.03 * rng.normal(size=programs.rows.shape)),
    )
    cold, warm = solve_batch(like), solve_batch(like, solve_batch(programs).basis)
    assert np.array_equal(cold.solved, warm.solved)
    assert (like.cost * cold.x).sum(1) == pytest.approx((like.cost * warm.x).sum(1), abs=1e-8)


def test_a_start_that_is_no_vertex_is_replaced():
    programs = random_programs(5, 20, 25, 7)
    twice = replace(programs, rows=np.repeat(programs.rows[:, :1], 25, axis=1))
    start = np.tile(np.arange(7, 14), (20, 1))
    wide = replace(twice, row_lower=np.full((20, 25), -9.0), row_upper=np.full((20, 25), 9.0))
    answer = solve_batch(wide, start)
    assert (wide.cost * answer.x).sum(1) == pytest.approx(-0.4 * np.abs(wide.cost).sum(1))


def test_what_stalls_goes_to_highs():
    programs = random_programs(6, 40, 25, 7)
    few, many = solve_batch(programs, most_pivots=2), solve_batch(programs)
    assert np.array_equal(few.solved, many.solved)
    assert (programs.cost * few.x).sum(1) == pytest.approx((programs.cost * many.x).sum(1), abs=1e-8)


def test_a_cost_without_a_bound_to_start_from_goes_to_highs():
    """Min -x with x <= 3 as a row: the column alone is unbounded."""
    one = BatchLP(
        np.array([[-1.0]]),
        np.array([[0.0]]),
        np.array([[np.inf]]),
        np.array([[[1.0]]]),
        np.array([[-np.inf]]),
        np.array([[3.0]]),
    )
    assert solve_batch(one).x.tolist() == [[3.0]]


def test_a_degenerate_program_that_cycles_under_dantzigs_rule():
    """Beale's example (1955) as Chvatal prints it: min -0.75a + 150b - 0.02c + 6d ends at -0.05."""
    rows = np.array([[[0.25, -60.0, -0.04, 9.0], [0.5, -90.0, -0.02, 3.0], [0.0, 0.0, 1.0, 0.0]]])
    beale = BatchLP(
        np.array([[-0.75, 150.0, -0.02, 6.0]]),
        np.zeros((1, 4)),
        np.full((1, 4), 100.0),
        rows,
        np.full((1, 3), -np.inf),
        np.array([[0.0, 0.0, 1.0]]),
    )
    answer = solve_batch(beale)
    assert (beale.cost @ answer.x[0])[0] == pytest.approx(-0.05)


def test_the_same_batch_gives_the_same_bits():
    programs = random_programs(8, 50, 25, 7)
    first, second = solve_batch(programs), solve_batch(programs)
    assert np.array_equal(first.x, second.x)
