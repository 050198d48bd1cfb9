"""What the engine is measured beside: bare numpy, a linear program, differential evolution."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.optimize import OptimizeResult, differential_evolution, linprog

from optimizer.chain.body import demand_of, per_liter
from optimizer.engine.cases import cases_of
from optimizer.formulation import linear_rows
from optimizer.problem import Problem
from tests.trust.second_opinion import Opinion

__all__ = ["bare_strength", "evolution", "linear_program"]


def bare_strength(mixes: np.ndarray, b: float = 4.0) -> Callable[[], np.ndarray]:
    """Return the bare law on the same mixes: two sums over the materials and ``S = S0 exp(-b porosity)``."""
    chance = np.random.default_rng(0)
    intrinsic, solids = chance.uniform(80.0, 120.0, mixes.shape[1]), chance.uniform(0.3, 0.5, mixes.shape[1])

    def law() -> np.ndarray:
        strength = (mixes @ intrinsic) / mixes.sum(axis=1)
        return strength * np.exp(-b * (1.0 - mixes @ solids))

    return law


def linear_program(problem: Problem) -> Callable[[], OptimizeResult]:
    """Return the powder cost over the linear rows alone, solved by HiGHS: what no strength law costs."""
    case = cases_of(problem)[0]
    rows = linear_rows(problem, case)
    held, free = rows.lower == rows.upper, rows.lower != rows.upper
    above, below = free & np.isfinite(rows.lower), free & np.isfinite(rows.upper)
    uneven = np.vstack([-rows.matrix[above], rows.matrix[below]])
    bounds = np.concatenate([-rows.lower[above], rows.upper[below]])
    prices = np.nan_to_num(problem.prices) * problem.liters

    def solve() -> OptimizeResult:
        return linprog(prices, uneven, bounds, rows.matrix[held], rows.lower[held], method="highs")

    return solve


def evolution(problem: Problem, seed: int, most: int = 150) -> tuple[float, float, int]:
    """Return cost, sum of all that is missed, and evaluations of SciPy's differential evolution.

    The same job, judged by the second opinion of the tests: shares of the dry materials (below a least
    share: none) and a factor on the water demand; what is missed is priced at 20 times the cost.
    """
    opinion, count = Opinion(problem), len(problem.names)
    least = np.array([bounds.least for bounds in problem.bounds])
    evaluations = 0

    def judged(points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        raw = np.where(points[:count].T > 0.02, points[:count].T, 0.0)
        shares = raw / np.maximum(raw.sum(axis=1, keepdims=True), 1e-9)
        shares = np.where(shares >= least, shares, 0.0)
        shares[shares.sum(axis=1) <= 0.0, problem.solids[0]] = 1.0
        shares /= shares.sum(axis=1, keepdims=True)
        mixes = per_liter(problem.model, shares, demand_of(problem.model, shares) * points[count])
        values = opinion.values(mixes)
        missed = sum(opinion.missed(values).values(), np.zeros(len(mixes)))
        missed = missed + sum(opinion.broken(mixes, values).values())
        return np.nan_to_num(values["cost"], nan=1e3, posinf=1e3), missed

    def merit(points: np.ndarray) -> np.ndarray:
        nonlocal evaluations
        cost, missed = judged(np.atleast_2d(points.T).T)
        evaluations += len(cost)
        return cost + 20.0 * np.abs(cost) * missed

    found = differential_evolution(
        merit,
        [(0.0, 1.0)] * count + [(1.0, float(problem.model["water_ceiling"]))],
        rng=seed,
        maxiter=most,
        popsize=15,
        polish=False,
        vectorized=True,
        updating="deferred",
    )
    cost, missed = judged(found.x[:, None])
    return float(cost[0]), float(missed[0]), evaluations
