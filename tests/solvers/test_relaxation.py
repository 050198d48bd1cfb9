"""The warm linear program against scipy.optimize.linprog, through changes in place; and its proofs."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import linprog

from optimizer.solvers.relaxation import WarmLP
from optimizer.solvers.status import Status

INF = np.inf
OPTIMAL, INFEASIBLE, UNBOUNDED = 0, 2, 3


def reference(lp):
    """Solve the program as it stands with another interface.

    Its presolve is off: with it, it has called an unbounded program infeasible.
    """
    equal = lp.row_lower == lp.row_upper
    above, below = np.isfinite(lp.row_lower) & ~equal, np.isfinite(lp.row_upper) & ~equal
    return linprog(
        lp.cost,
        A_ub=np.concatenate([lp.matrix[below], -lp.matrix[above]]),
        b_ub=np.concatenate([lp.row_upper[below], -lp.row_lower[above]]),
        A_eq=lp.matrix[equal],
        b_eq=lp.row_lower[equal],
        bounds=np.stack([lp.lower, lp.upper], axis=1),
        options={"presolve": False},
    )


def agrees(lp, random):
    """Compare one solve with the reference; return its status."""
    ours, theirs = lp.solve(), reference(lp)
    if theirs.status == INFEASIBLE:
        assert ours.status is Status.INFEASIBLE
        assert ours.bound == INF
    elif theirs.status == UNBOUNDED:
        assert ours.status is Status.UNBOUNDED
        assert ours.bound == -INF
    else:
        size = max(1.0, abs(theirs.fun))
        assert ours.status is Status.OPTIMAL
        assert ours.value == pytest.approx(theirs.fun, rel=1e-8, abs=1e-8)
        assert ours.bound <= theirs.fun + 1e-9 * size
        assert ours.bound >= ours.value - 1e-6 * size
        for spread in (0.01, 1.0):
            noise = ours.duals + spread * random.normal(size=ours.duals.size)
            assert lp.safe_bound(noise) <= theirs.fun + 1e-9 * size
    return ours.status


def program(random):
    """Return a random program of up to 30 rows and 25 columns, about a third of them infeasible."""
    lines, size = int(random.integers(1, 30)), int(random.integers(1, 25))
    matrix = random.normal(size=(lines, size)) * (random.random((lines, size)) < 0.6)
    level = matrix @ random.uniform(0, 1, size)
    low, high = level - random.uniform(-0.02, 0.5, lines), level + random.uniform(-0.02, 0.5, lines)
    kind = random.integers(0, 4, lines)
    low, high = np.where(kind == 0, -INF, low), np.where(kind == 1, INF, high)
    equal = (kind == 3) & (np.arange(lines) < size // 3)
    low, high = np.where(equal, level, np.minimum(low, high)), np.where(equal, level, np.maximum(low, high))
    upper = np.where(random.random(size) < 0.9, 1.0, INF)
    return WarmLP(random.normal(size=size), np.zeros(size), upper, matrix, low, high)


@pytest.mark.parametrize("block", range(10))
def test_three_hundred_random_programs_through_changes_in_place(block):
    seen = set()
    for seed in range(30 * block, 30 * block + 30):
        random = np.random.default_rng(seed)
        lp = program(random)
        lines, size = lp.matrix.shape
        seen.add(agrees(lp, random))
        columns = random.integers(0, size, 3)
        lp.set_column_bounds(columns, random.uniform(0, 0.2, 3), random.uniform(0.4, 1, 3))
        row = int(random.integers(0, lines))
        lp.set_row(row, lp.matrix[row] + random.normal(size=size), lp.row_lower[row], lp.row_upper[row])
        lp.add_rows(random.normal(size=(2, size)), [-INF, -2.0], random.uniform(0.5, 2, 2))
        seen.add(agrees(lp, random))
        lp.keep_rows(lines + 1)
        lp.set_cost(random.normal(size=size))
        lp.set_row_bounds([0], [-1.0], [2.0])
        seen.add(agrees(lp, random))
    assert {Status.OPTIMAL, Status.INFEASIBLE} <= seen


def small():
    return WarmLP([1.0, 2.0], [0, 0], [1, 1], [[1.0, 1.0]], [1.5], [9.0])


def test_multipliers_and_reduced_costs_have_the_sign_of_a_rise():
    """Minimize x + 2y with x + y >= 1.5: a unit more costs 2; x is worth 1 more than its price; by hand."""
    answer = small().solve()
    assert answer.duals == pytest.approx([2.0])
    assert answer.reduced_costs == pytest.approx([-1.0, 0.0])
    assert answer.bound == pytest.approx(2.0, abs=1e-12)


@pytest.mark.parametrize(
    ("duals", "bound"),
    [
        pytest.param([2.0], 2.0, id="best"),
        pytest.param([1.0], 1.5, id="weaker"),
        pytest.param([0.0], 0.0, id="none"),
        pytest.param([-1.0], -9.0, id="wrong-way-round-uses-the-other-limit"),
    ],
)
def test_safe_bound_by_hand(duals, bound):
    """Own arithmetic: y times its limit plus the best of each column's rest."""
    assert small().safe_bound(duals) == pytest.approx(bound, abs=1e-12)


def test_a_wrong_sign_on_a_one_sided_row_counts_as_zero():
    lp = WarmLP([1.0, 2.0], [0, 0], [1, 1], [[1.0, 1.0]], [1.5], [INF])
    assert lp.safe_bound([-5.0]) == lp.safe_bound([0.0])


def test_multipliers_from_before_a_row_was_added_still_bound():
    lp = small()
    duals = lp.solve().duals
    lp.add_rows([[1.0, 0.0]], [-INF], [0.5])
    assert lp.safe_bound(duals) == pytest.approx(2.0, abs=1e-12)
    assert lp.solve().value == pytest.approx(2.5)


def test_a_bound_survives_a_tighter_sibling():
    """Multipliers of one node bound another whose columns are held closer, without a solve."""
    lp = small()
    duals = lp.solve().duals
    lp.set_column_bounds([0], [0.0], [0.5])
    assert 2.0 < lp.safe_bound(duals) <= lp.solve().value


def test_crossed_bounds_are_infeasible_and_can_be_undone():
    lp = small()
    lp.set_column_bounds([1], [0.8], [0.2])
    assert lp.solve().status is Status.INFEASIBLE
    lp.set_column_bounds([1], [0.0], [1.0])
    assert lp.solve().value == pytest.approx(2.0)


def test_a_column_named_twice_takes_the_last_bounds():
    lp = small()
    lp.set_column_bounds([0, 0], [0.0, 0.0], [0.9, 0.5])
    assert lp.solve().value == pytest.approx(2.5)


def test_an_infeasible_program_comes_with_its_proof():
    lp = small()
    lp.set_row_bounds([0], [2.5], [9.0])
    answer = lp.solve()
    assert answer.status is Status.INFEASIBLE
    ray = answer.duals
    most = np.maximum(ray @ lp.matrix, 0.0) @ lp.upper
    assert ray @ lp.row_lower > most, "the ray must ask for more than the bounds can give"


@pytest.mark.parametrize(
    ("exists", "ray"),
    [
        pytest.param(False, None, id="no-ray"),
        pytest.param(True, np.zeros(1), id="a-ray-that-proves-nothing"),
    ],
)
def test_infeasible_without_a_proof_is_no_verdict(monkeypatch, exists, ray):
    lp = small()
    lp.set_row_bounds([0], [2.5], [9.0])
    monkeypatch.setattr(type(lp._highs), "getDualRay", lambda self: (None, exists, ray))
    answer = lp.solve()
    assert answer.status is Status.FAILED
    assert answer.bound == -INF


def test_equal_changes_give_equal_answers():
    def walk():
        random = np.random.default_rng(5)
        lp = program(random)
        bounds = []
        for _ in range(20):
            column = int(random.integers(0, lp.cost.size))
            lp.set_column_bounds([column], [0.0], [random.uniform(0.5, 1)])
            bounds.append(lp.solve().bound)
        return bounds

    assert walk() == walk()


@pytest.mark.parametrize(
    "before",
    [
        pytest.param("", id="alone"),
        pytest.param("solve_linear(textbook())\n", id="after-a-solve-with-another-number-of-threads"),
    ],
)
def test_the_first_solve_of_a_process_prints_nothing_and_a_later_one_works(before):
    """HiGHS greets on the screen, and refuses a number of threads other than that of the first solve."""
    code = (
        "from linear_problems import textbook\n"
        "from optimizer.solvers.relaxation import WarmLP\n"
        "from optimizer.solvers.linear import solve_linear\n"
        f"{before}"
        "print(WarmLP([1.0, 2.0], [0, 0], [1, 1], [[1.0, 1.0]], [1.5], [9.0]).solve().value)\n"
    )
    here = Path(__file__)
    run = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(here.parent), str(here.parents[2])])},
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout == "2.0\n"


@pytest.mark.parametrize("change", ["row", "rows", "cost"])
def test_what_is_no_number_ends_without_a_verdict(change):
    """Left to itself, the simplex may go round in circles on a coefficient that is no number."""
    lp = small()
    assert lp.solve().status is Status.OPTIMAL
    if change == "row":
        lp.set_row(0, [np.nan, 1.0], 1.5, 9.0)
    elif change == "rows":
        lp.add_rows([[np.nan, 1.0]], [0.0], [1.0])
    else:
        lp.set_cost([np.nan, 1.0])
    assert lp.solve().status is Status.FAILED
    lp.replace([1.0, 2.0], [0, 0], [1, 1], [[1.0, 1.0]], [1.5], [9.0])
    assert lp.solve().value == pytest.approx(2.0)
