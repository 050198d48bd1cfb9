"""When no blend meets the limits: which stand against each other, and the smallest changes that would do.

Every change shown is confirmed by solving again with it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from optimizer.chain.predict import PREDICTORS, cast_of
from optimizer.engine.candidate import Candidate
from optimizer.engine.grid_search import GridSearch
from optimizer.engine.search_state import Question
from optimizer.engine.swap_search import best_mixes
from optimizer.problem import Problem
from optimizer.shop import Limit
from optimizer.solution import Relaxation
from optimizer.studies.explain import moved, step_of

__all__ = ["conflict_of", "joint_relaxation", "single_relaxations"]

_STEPS = {"whiteness": 0.1, "heat_margin": 0.1, "damp_risk": 1.0, "sealer_coats": 1.0}
_ROUND_TRIES = 4
_MOST_STEPS, _HALVINGS = 24.0, 7


def single_relaxations(
    problem: Problem,
    limits: Iterable[Limit],
    grid: GridSearch | None = None,
) -> tuple[Relaxation, ...]:
    """Return for each of `limits` the smallest change that alone makes a blend possible, smallest first.

    Limits outside a conflict cannot resolve it, so those of `conflict_of` are all that need be asked.

    The limit is taken out and its property made as good as the others allow; that value, rounded outward
    to what a caster would type, is put back as the new bound and solved again. Limits that cannot save
    the job alone are left out.
    """
    found = []
    for limit in limits:
        relaxed = _relaxed(problem, limit, grid)
        if relaxed is not None:
            found.append(relaxed)
    return tuple(sorted(found, key=lambda r: _size(problem, r)))


def _size(problem: Problem, relaxation: Relaxation) -> float:
    new = relaxation.limits[0]
    old = next(x for x in problem.job.limits if (x.property, x.sense) == (new.property, new.sense))
    return abs(new.bound - old.bound) / max(abs(old.bound), 1.0)


def _relaxed(problem: Problem, limit: Limit, grid: GridSearch | None) -> Relaxation | None:
    rest = [x for x in problem.job.limits if x != limit]
    best = _best_value(problem, limit, rest, grid)
    if best is None:
        return None
    for tries in range(_ROUND_TRIES):
        new = replace(limit, bound=_outward(limit, best, tries))
        if not (new.bound > limit.bound if limit.sense == "<=" else new.bound < limit.bound):
            return None  # what stands in the way is not this limit
        again = _found(problem.with_limits([*rest, new]), grid)
        if again is not None and again.feasible:
            sign = -1.0 if problem.job.maximize else 1.0
            return Relaxation((new,), sign * again.value)
    return None


def _best_value(problem: Problem, limit: Limit, rest: list[Limit], grid: GridSearch | None) -> float | None:
    """Return the best value of the limit's property that the other limits allow."""
    asked = problem.with_limits(rest)
    if limit.property != "cost":
        job = replace(asked.job, objective=limit.property, maximize=limit.sense == ">=")
        asked = replace(asked, job=job)
    found = _found(asked, grid)
    if found is None or not found.feasible:
        return None
    if limit.property == "cost":
        return found.value
    value = PREDICTORS[limit.property](cast_of(problem.model, problem.bench, found.mix[None, :]))
    number = float(np.ravel(value)[0])
    return number if math.isfinite(number) else None


def _outward(limit: Limit, best: float, tries: int) -> float:
    """Round `best` to a bound a caster would type, never tighter, a little looser with each try."""
    slack = 0.002 * (tries + 1) * max(abs(best), 1e-6) * tries
    digit = _STEPS.get(limit.property, 10.0 ** (math.floor(math.log10(max(abs(best), 1e-9))) - 1))
    if limit.sense == "<=":
        return round(math.ceil((best + slack) / digit - 1e-9) * digit, 10)
    return round(math.floor((best - slack) / digit + 1e-9) * digit, 10)


def joint_relaxation(
    problem: Problem,
    limits: tuple[Limit, ...],
    grid: GridSearch | None = None,
) -> Relaxation | None:
    """Return the smallest equal loosening of `limits` together, in steps of each, that allows a blend.

    Found by halving between none and `_MOST_STEPS` steps; each trial is a whole search, and so is the last.
    """
    if len(limits) < 2:
        return None
    low, high, enough = 0.0, _MOST_STEPS, None
    for _ in range(_HALVINGS):
        steps = 0.5 * (low + high)
        changed = {limit: _typed(limit, moved(limit, steps)) for limit in limits}
        asked = problem.with_limits([changed.get(x, x) for x in problem.job.limits])
        again = _found(asked, grid, first=True)
        if again is not None and again.feasible:
            high, enough = steps, (tuple(changed.values()), asked)
        else:
            low = steps
    return None if enough is None else _confirmed(*enough, grid)


def _confirmed(changed: tuple[Limit, ...], asked: Problem, grid: GridSearch | None) -> Relaxation | None:
    """Return the relaxation with the best value under it, solved once more in full."""
    found = _found(asked, grid)
    if found is None or not found.feasible:
        return None
    return Relaxation(changed, -found.value if asked.job.maximize else found.value)


def _typed(old: Limit, new: Limit) -> Limit:
    """Round a loosened bound outward to a tenth of its step, as a caster would type it."""
    digit = 0.1 * step_of(old)
    if new.sense == "<=":
        return replace(new, bound=round(math.ceil(new.bound / digit - 1e-9) * digit, 10))
    return replace(new, bound=round(math.floor(new.bound / digit + 1e-9) * digit, 10))


def conflict_of(problem: Problem, grid: GridSearch | None = None) -> tuple[Limit, ...]:
    """Return limits that no blend meets together though any of them left out would help (deletion filter)."""
    kept = list(problem.job.limits)
    for limit in problem.job.limits:
        rest = [x for x in kept if x != limit]
        found = _found(problem.with_limits(rest), grid, first=True)
        if found is None or not found.feasible:
            kept = rest
    return tuple(kept)


def _found(problem: Problem, grid: GridSearch | None, *, first: bool = False) -> Candidate | None:
    """Return the best blend at best values, or the first one that holds."""
    return best_mixes([Question(problem, first=first)], grid)[0].best
