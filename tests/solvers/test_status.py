"""How solves end: every code has one meaning, and no code alone makes an answer good."""

from __future__ import annotations

import math

import pytest

from optimizer.solvers.status import Status, from_highs, from_slsqp, judge, relative_gap


def test_every_code_of_the_installed_highs_has_the_meaning_of_its_name():
    highspy = pytest.importorskip("highspy")
    meaning = {
        "kOptimal": Status.OPTIMAL,
        "kModelEmpty": Status.OPTIMAL,
        "kInfeasible": Status.INFEASIBLE,
        "kUnbounded": Status.UNBOUNDED,
        "kTimeLimit": Status.TIME_LIMIT,
        "kIterationLimit": Status.TIME_LIMIT,
        "kInterrupt": Status.INTERRUPTED,
        "kHighsInterrupt": Status.INTERRUPTED,
    }
    for name, code in highspy.HighsModelStatus.__members__.items():
        assert from_highs(int(code)) is meaning.get(name, Status.FAILED), name


@pytest.mark.parametrize("mode", [-1, 1, 2, 3, 4, 5, 6, 7, 8])
def test_no_error_mode_of_slsqp_is_a_verdict(mode):
    assert from_slsqp(mode) is Status.FAILED


@pytest.mark.parametrize("stopped", list(Status))
def test_an_answer_that_breaks_a_row_is_never_one(stopped):
    assert not judge(stopped, holds=False, gap=0.0, tolerance=1e-6).has_answer


@pytest.mark.parametrize("stopped", [Status.OPTIMAL, Status.TIME_LIMIT, Status.INTERRUPTED, Status.FAILED])
def test_a_stopped_solve_counts_by_its_numbers(stopped):
    assert judge(stopped, holds=True, gap=1e-7, tolerance=1e-6) is Status.OPTIMAL
    assert judge(stopped, holds=True, gap=1e-3, tolerance=1e-6) is Status.FEASIBLE
    assert judge(stopped, holds=True, gap=math.inf, tolerance=1e-6) is Status.FEASIBLE


@pytest.mark.parametrize("stopped", [Status.INFEASIBLE, Status.UNBOUNDED])
def test_a_proof_stands_whatever_values_were_left_behind(stopped):
    assert judge(stopped, holds=True, gap=0.0, tolerance=1e-6) is stopped


def test_a_gap_without_a_bound_is_infinite_and_never_negative():
    assert relative_gap(2.0, -math.inf) == math.inf
    assert relative_gap(math.nan, 1.0) == math.inf
    assert relative_gap(1.0, 1.0 + 1e-12) == 0.0
    assert relative_gap(-4.0, -5.0) == 0.25
