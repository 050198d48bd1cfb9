"""Bounds against grids of all blends of three materials, judged by the property chain alone."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from optimizer.certificate import certify_bound
from optimizer.engine.cases import cases_of
from optimizer.engine.swap_search import best_mix
from optimizer.formulation import cost_of_line, curved_rows, linear_rows
from optimizer.problem import Problem
from optimizer.property_model.microstructure import demand_of, per_liter
from tests.certificate.invented import invented_problem

STEPS, WATERS = 40, 6

LEFT_OUT = 0.02
"""How near a bound comes where a law binds that the proof leaves out, such as surplus sulfate [-]."""


@cache
def _shares() -> np.ndarray:
    cuts = [(a, b, STEPS - a - b) for a in range(STEPS + 1) for b in range(STEPS + 1 - a)]
    return np.array(cuts) / STEPS


def grid_best(problem: Problem) -> float:
    """Return the least cost on the grid over all cases; infinite when no grid mix holds the rows."""
    shares = _shares()
    least = np.array([bounds.least for bounds in problem.bounds])
    shares = shares[np.all((shares == 0.0) | (shares >= least), axis=1)]
    demand = demand_of(problem.model, shares)
    mixes = np.concatenate(
        [per_liter(problem.model, shares, demand * water) for water in np.linspace(1.0, 1.25, WATERS)]
    )
    best = np.inf
    for case in cases_of(problem):
        if case.fixed >= best:
            continue
        rows, cast = curved_rows(problem, case, mixes)
        lines = linear_rows(problem, case)
        level = mixes @ lines.matrix.T
        held = (level >= lines.lower - 1e-9).all(axis=1) & (level <= lines.upper + 1e-9).all(axis=1)
        cost = np.where(held & (rows >= 0.0).all(axis=1), cost_of_line(problem, case, cast), np.inf)
        best = min(best, float(cost.min()))
    return best


def _assert_agreed(catalogue, seed: int) -> None:
    problem = invented_problem(catalogue, 3, seed)
    grid = grid_best(problem)
    found = best_mix(problem)
    proof = certify_bound(problem, found, time_limit=120.0, most_nodes=100)
    assert proof.finished or proof.gap <= LEFT_OUT
    if np.isfinite(grid):
        assert not proof.infeasible
    assert proof.bound <= grid * (1.0 + 1e-9)
    if proof.incumbent is not None:
        assert proof.bound <= proof.incumbent.value
        assert proof.incumbent.value <= grid * (1.0 + 1.001e-3)
    assert not proof.proved or proof.gap <= 1.001e-3 or proof.infeasible


@pytest.mark.parametrize("seed", range(12))
def test_no_grid_mix_beats_the_bound(catalogue, seed):
    _assert_agreed(catalogue, seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(12, 200))
def test_no_grid_mix_beats_the_bound_at_length(catalogue, seed):
    _assert_agreed(catalogue, seed)
