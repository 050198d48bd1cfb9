"""What the engine is measured beside: bare numpy, a linear program, evolution of one or many objectives."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy.optimize import OptimizeResult, differential_evolution, linprog

from optimizer.engine.cases import cases_of
from optimizer.formulation import linear_rows
from optimizer.problem import Problem
from optimizer.property_model.microstructure import demand_of, per_liter
from tests.trust.second_opinion import Opinion

__all__ = ["bare_strength", "evolution", "linear_program", "many_objective_evolution"]


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
    judged, bounds = _judge(problem, ("cost",)), _bounds(problem)
    evaluations = 0

    def merit(points: np.ndarray) -> np.ndarray:
        nonlocal evaluations
        values, missed = judged(np.atleast_2d(points.T))
        evaluations += len(missed)
        return values[:, 0] + 20.0 * np.abs(values[:, 0]) * missed

    found = differential_evolution(
        merit,
        list(zip(*bounds, strict=True)),
        rng=seed,
        maxiter=most,
        popsize=15,
        polish=False,
        vectorized=True,
        updating="deferred",
    )
    values, missed = judged(found.x[None, :])
    return float(values[0, 0]), float(missed[0]), evaluations


def many_objective_evolution(problem: Problem, over: Sequence[str], seconds: float, seed: int) -> np.ndarray:
    """Return the values of the blends that NSGA-II finds in a time, shape (blends, quantities).

    Deb et al. 2002, IEEE Trans. Evol. Comput. 6:182 (from memory), as pymoo has it; same mixes, same
    judge as `evolution`.

    Raises
    ------
    ModuleNotFoundError
        If pymoo is not installed; it is no part of the extras.
    """
    from pymoo.algorithms.moo.nsga2 import NSGA2
    from pymoo.core.problem import Problem as Vectorized
    from pymoo.optimize import minimize
    from pymoo.termination.max_time import TimeBasedTermination

    judged, (low, high) = _judge(problem, over), _bounds(problem)

    class Mixes(Vectorized):  # type: ignore[misc]
        def __init__(self) -> None:
            super().__init__(n_var=len(low), n_obj=len(over), n_ieq_constr=1, xl=low, xu=high)

        def _evaluate(self, points: np.ndarray, out: dict[str, np.ndarray], *_: object, **__: object) -> None:
            out["F"], missed = judged(points)
            out["G"] = missed[:, None] - 1e-9

    found = minimize(Mixes(), NSGA2(pop_size=60), TimeBasedTermination(seconds), seed=seed)
    return np.empty((0, len(over))) if found.F is None else np.atleast_2d(found.F)


def _bounds(problem: Problem) -> tuple[np.ndarray, np.ndarray]:
    count = len(problem.names)
    most = np.ones(count + 1)
    most[-1] = float(problem.model["water_ceiling"])
    return np.append(np.zeros(count), 1.0), most


def _judge(problem: Problem, over: Sequence[str]) -> Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]:
    """Return what gives quantities, shape (points, quantities), and what is missed, shape (points,)."""
    opinion, count = Opinion(problem), len(problem.names)
    least = np.array([bounds.least for bounds in problem.bounds])

    def judged(points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        raw = np.where(points[:, :count] > 0.02, points[:, :count], 0.0)
        shares = raw / np.maximum(raw.sum(axis=1, keepdims=True), 1e-9)
        shares = np.where(shares >= least, shares, 0.0)
        shares[shares.sum(axis=1) <= 0.0, problem.solids[0]] = 1.0
        shares /= shares.sum(axis=1, keepdims=True)
        mixes = per_liter(problem.model, shares, demand_of(problem.model, shares) * points[:, count])
        values = opinion.values(mixes)
        missed = sum(opinion.missed(values).values(), np.zeros(len(mixes)))
        missed = missed + sum(opinion.broken(mixes, values).values())
        wanted = np.stack([values[name] for name in over], axis=1)
        return np.nan_to_num(wanted, nan=1e3, posinf=1e3), missed

    return judged
