"""Linear and integer models: published answers, our own check, and no trace left on screen or disk."""

from __future__ import annotations

import itertools
import math
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from linear_problems import INF, SIX, TWO, hard, model, textbook, three_materials
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from optimizer.solvers.linear import TOLERANCE, LinearAnswer, LinearModel, LinearRow, solve_linear
from optimizer.solvers.status import Status


def slope(case, row, step):
    """Return the rise of the cost per unit of a row's limits, to either side."""
    base = solve_linear(case)
    old = next(line for line in case.rows if line.name == row)

    def cost_at(shift):
        new = replace(old, lower=old.lower + shift, upper=old.upper + shift)
        rows = tuple(new if line is old else line for line in case.rows)
        return solve_linear(replace(case, rows=rows)).objective

    return (base.objective - cost_at(-step)) / step, (cost_at(step) - base.objective) / step


def test_textbook_answer():
    """Maximize 3x + 5y over x <= 4, 2y <= 12, 3x + 2y <= 18: 36 at (2, 6); operations research textbooks."""
    answer = solve_linear(textbook())
    assert answer.status is Status.OPTIMAL
    assert -answer.objective == pytest.approx(36.0)
    assert (answer["x"], answer["y"]) == pytest.approx((2.0, 6.0))
    assert answer.bound == answer.objective


@pytest.mark.parametrize(
    ("case", "row", "price"),
    [
        pytest.param(textbook(), "first", 0.0, id="textbook-36-at-2-6-first-row-free"),
        pytest.param(textbook(), "second", -1.5, id="textbook-36-at-2-6-second-row-earns-1.5"),
        pytest.param(textbook(), "third", -1.0, id="textbook-36-at-2-6-third-row-earns-1"),
        pytest.param(TWO, "sum", 0.016333, id="PuLP-documentation-blending-two-ingredients-sum"),
        pytest.param(TWO, "salt", -1.66667, id="PuLP-documentation-blending-two-ingredients-salt"),
        pytest.param(SIX, "sum", 0.001, id="PuLP-documentation-blending-six-ingredients-sum"),
        pytest.param(SIX, "fat", 0.07, id="PuLP-documentation-blending-six-ingredients-fat"),
    ],
)
def test_the_price_of_a_limit_has_the_right_sign_and_size_on_both_sides(case, row, price):
    """PuLP with HiGHS flips the sign of the textbook's prices; solving twice cannot."""
    assert slope(case, row, 1e-3) == pytest.approx((price, price), rel=1e-3, abs=1e-7)


def test_no_dual_value_of_the_library_is_read(monkeypatch):
    import pulp

    def read(self):
        raise AssertionError("a dual value was read")

    for owner, name in ((pulp.LpConstraint, "pi"), (pulp.LpVariable, "dj")):
        monkeypatch.setattr(owner, name, property(read, lambda self, value: None), raising=False)
    assert solve_linear(textbook()).status is Status.OPTIMAL
    assert not {"pi", "duals", "dj"} & {field.name for field in fields(LinearAnswer)}


@pytest.mark.parametrize(
    ("case", "cost", "shares"),
    [
        pytest.param(TWO, 0.9667, {"chicken": 33.33, "beef": 66.67}, id="PuLP-documentation-simple-blending"),
        pytest.param(SIX, 0.52, {"beef": 60.0, "gel": 40.0}, id="PuLP-documentation-full-blending"),
    ],
)
def test_published_blend(case, cost, shares):
    answer = solve_linear(case)
    assert answer.objective == pytest.approx(cost, abs=5e-5)
    for column in case.columns:
        assert answer[column] == pytest.approx(shares.get(column, 0.0), abs=5e-3)


def test_an_infeasible_model_leaves_no_number_behind():
    """PuLP still gives a value of the objective for such a model."""
    case = model("xy", [1, 1], [("most", {"x": 1.0, "y": 1.0}, -INF, 3.0), ("least", {"x": 1.0}, 5.0, INF)])
    answer = solve_linear(case)
    assert answer.status is Status.INFEASIBLE
    assert answer.values.size == 0
    assert math.isnan(answer.objective)
    assert math.isnan(answer.violation)


@pytest.mark.parametrize("integer", [False, True])
def test_a_model_without_a_floor_is_unbounded_not_infeasible(integer):
    """HiGHS answers "unbounded or infeasible" for the whole-number case, PuLP calls that infeasible."""
    case = model("xy", [-1, -1], [("link", {"x": 1.0, "y": -1.0}, -INF, 3.0)], integer=[integer] * 2)
    assert solve_linear(case).status is Status.UNBOUNDED


def test_whole_numbers_that_cannot_be_are_infeasible():
    case = model("x", [1], [("odd", {"x": 2.0}, 3.0, 3.0)], integer=[True])
    assert solve_linear(case).status is Status.INFEASIBLE


def test_crossed_limits_are_infeasible():
    case = model("x", [1], [("crossed", {"x": 1.0}, 2.0, 1.0)], upper=9.0)
    assert solve_linear(case).status is Status.INFEASIBLE


def test_a_column_in_no_row_and_without_cost_still_has_a_value():
    answer = solve_linear(model("xy", [1, 0], [("least", {"x": 1.0}, 2.0, INF)]))
    assert (answer["x"], answer["y"]) == (2.0, 0.0)


@pytest.mark.parametrize("seed", range(20))
def test_random_models_agree_with_another_interface(seed):
    """scipy.optimize.milp; some releases end short of the best, so ours may be better where it holds."""
    random = np.random.default_rng(seed)
    size, lines = int(random.integers(2, 8)), int(random.integers(1, 8))
    matrix = random.integers(-5, 10, (lines, size)).astype(float)
    high = random.integers(5, 40, lines).astype(float)
    low = np.where(random.random(lines) < 0.5, -INF, high - random.integers(1, 30, lines))
    cost, upper = random.normal(size=size), random.integers(1, 9, size).astype(float)
    whole = random.random(size) < 0.5
    rows = tuple(LinearRow(f"r{i}", matrix[i], low[i], high[i]) for i in range(lines))
    names = tuple(f"x{i}" for i in range(size))
    case = LinearModel("random", names, np.zeros(size), upper, cost, rows, whole)
    ours = solve_linear(case)
    reference = milp(
        cost,
        integrality=whole.astype(int),
        bounds=Bounds(0, upper),
        constraints=LinearConstraint(matrix, low, high),
        options={"mip_rel_gap": 0.0},
    )
    assert ours.status.has_answer == (reference.status == 0)
    if ours.status.has_answer:
        level, slack = matrix @ ours.values, 1e-6
        assert (level >= low - slack).all()
        assert (level <= high + slack).all()
        assert (np.abs(ours.values - np.round(ours.values))[whole] < slack).all()
        assert ours.objective == pytest.approx(float(cost @ ours.values), abs=1e-9)
        assert ours.objective <= reference.fun + 1e-6 * abs(reference.fun) + 1e-9
        assert np.array_equal(ours.values[whole], np.round(ours.values[whole]))
        assert ours.violation <= TOLERANCE


@pytest.mark.parametrize("seed", range(5))
def test_whole_numbers_against_counting_all(seed):
    """Whole bags: every combination counted; own arithmetic."""
    random = np.random.default_rng(seed)
    size, need = random.integers(3, 26, 3).astype(float), float(random.integers(30, 90))
    cost = size * random.uniform(0.8, 1.2, 3)
    columns = ("small", "middle", "large")
    rows = [("need", dict(zip(columns, size, strict=True)), need, INF)]
    answer = solve_linear(model(columns, cost, rows, upper=31, integer=[True] * 3))
    fits = (n for n in itertools.product(range(32), repeat=3) if size @ n >= need)
    assert answer.objective == pytest.approx(min(cost @ n for n in fits))
    assert answer.bound <= answer.objective + 1e-9


def test_a_solve_stopped_by_time_is_not_called_optimal():
    """PuLP reports status 1, optimal, for exactly this."""
    answer = solve_linear(hard(120), time_limit=0.3)
    assert answer.status is Status.FEASIBLE
    assert answer.bound < answer.objective
    assert answer.violation <= TOLERANCE


def test_a_solve_stopped_before_any_answer_has_none():
    answer = solve_linear(hard(120), time_limit=1e-4)
    assert answer.status is Status.TIME_LIMIT
    assert answer.values.size == 0


def test_a_solve_stopped_at_the_gap_asked_for_counts_by_its_numbers():
    answer = solve_linear(hard(60), gap=0.2)
    assert answer.status is Status.OPTIMAL
    assert 0.0 < (answer.objective - answer.bound) / abs(answer.objective) <= 0.2


def test_a_small_cost_is_brought_to_the_same_gap():
    """A gap in money would stop HiGHS early where every cost is a fraction of a cent."""
    case = hard(20)
    answer = solve_linear(replace(case, cost=1e-7 * case.cost))
    assert answer.status is Status.OPTIMAL
    assert answer.objective == pytest.approx(1e-7 * solve_linear(case).objective, rel=1e-6)


def test_violation_is_relative_and_sees_rows_and_bounds():
    """Own arithmetic on the textbook model: 3x + 2y <= 18 is 2 over at (4, 4); x >= 0 is broken by 1."""
    assert textbook().violation(np.array([4.0, 4.0])) == pytest.approx(2 / 20)
    assert textbook().violation(np.array([2.0, 6.0])) == 0.0
    assert textbook().violation(np.array([-1.0, 0.0])) == 1.0


def test_an_answer_that_breaks_a_row_is_not_passed_on(monkeypatch):
    from optimizer.solvers import linear

    honest = linear._run
    monkeypatch.setattr(linear, "_run", lambda *args: replace(honest(*args), values=np.array([4.0, 4.0])))
    answer = solve_linear(textbook())
    assert answer.status is Status.FAILED
    assert answer.values.size == 0


def test_whole_columns_come_out_exactly_whole(monkeypatch):
    from optimizer.solvers import linear

    honest = linear._run
    near = np.array([2.0 - 3e-10, 6.0 + 3e-10])
    monkeypatch.setattr(linear, "_run", lambda *args: replace(honest(*args), values=near))
    answer = solve_linear(replace(textbook(), integer=np.array([True, True])))
    assert answer.values.tolist() == [2.0, 6.0]


def test_equal_models_give_equal_answers():
    first, second = solve_linear(three_materials()), solve_linear(three_materials())
    assert first.values.tobytes() == second.values.tobytes()


def random_program(seed):
    random = np.random.default_rng(seed)
    matrix = random.uniform(0.1, 1.0, (6, 8))
    rows = tuple(LinearRow(f"r{i}", matrix[i], lower=float(random.uniform(1, 2))) for i in range(6))
    names = tuple(f"x{i}" for i in range(8))
    return LinearModel("thread", names, np.zeros(8), np.full(8, 5.0), random.uniform(1, 2, 8), rows)


def test_eight_threads_solve_twenty_models_each_without_a_mix_up():
    """Checked against scipy.optimize.linprog."""
    cases = [random_program(seed) for seed in range(20)]
    expected = [
        linprog(case.cost, A_ub=-case.matrix, b_ub=[-row.lower for row in case.rows], bounds=(0, 5)).fun
        for case in cases
    ]
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(solve_linear, cases * 8))
    for number, answer in enumerate(answers):
        assert answer.objective == pytest.approx(expected[number % 20], rel=1e-9)


def test_nothing_is_printed_or_left_on_disk(tmp_path):
    code = (
        "from linear_problems import hard, textbook, three_materials\n"
        "from optimizer.solvers.linear import solve_linear\n"
        "solve_linear(textbook()), solve_linear(hard(25)), solve_linear(three_materials())\n"
        "print('own line')\n"
    )
    search = os.pathsep.join([str(Path(__file__).parent), str(Path(__file__).parents[2])])
    places = dict.fromkeys(("TMPDIR", "TEMP", "TMP"), str(tmp_path))
    environment = {**os.environ, **places, "PYTHONPATH": search}
    run = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout == "own line\n"
    assert run.stderr == ""
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        pytest.param({"name": "no spaces"}, "letters", id="a-name-with-a-space"),
        pytest.param({"columns": ("x", "x")}, "twice", id="a-column-twice"),
        pytest.param({"rows": (LinearRow("a", {"z": 1.0}),)}, "lacks: z", id="an-unknown-column"),
        pytest.param({"rows": (LinearRow("a", np.ones(3)),)}, "row a", id="a-row-too-long"),
        pytest.param({"cost": np.ones(3)}, "one entry", id="a-cost-too-long"),
        pytest.param({"rows": (LinearRow("a", {}), LinearRow("a", {}))}, "twice", id="a-row-twice"),
        pytest.param(
            {"rows": (LinearRow("a", {}, 0, 1), LinearRow("a_max", {}, 0))},
            "twice",
            id="a-side-named-as-a-row",
        ),
    ],
)
def test_a_model_that_does_not_fit_is_refused_by_name(change, words):
    with pytest.raises(ValueError, match=words):
        replace(textbook(), **change)
