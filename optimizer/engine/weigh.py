"""Round a mix to what the scale shows and keep it within its limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.chain.body import water_cut
from optimizer.engine.polish import TOLERANCE, Candidate, Evaluator, objective_of
from optimizer.formulation import curved_rows, linear_rows
from optimizer.problem import Problem

__all__ = ["Weighed", "weigh"]

Array = NDArray[np.float64]

_REACH = (1, 2, 4)
"""Steps of the scale tried to each side, wider only where nothing closer holds all limits."""

_MOST_CHOICES = 20_000
_FILL = (0.9985, 1.02)
"""Share of the cavity that the rounded masses may fill before waste [-]."""

_LOOKED_AT = 600
"""Roundings judged by the chain; of more, the most promising."""

_ANY_FILL = (0.0, np.inf)


@dataclass(frozen=True)
class Weighed:
    """Masses for one filled cavity.

    Attributes
    ----------
    grams : Array
        By material and, last, water, shape (n + 1,) [g].
    candidate : Candidate
        The rounded mix per liter, judged again from the chain.
    fills : bool
        True when the masses fill the cavity, give or take what a rim forgives.
    """

    grams: Array
    candidate: Candidate
    fills: bool = True


def weigh(problem: Problem, found: Candidate, backoff: Array | None = None) -> Weighed:
    """Return the best rounding of a mix: all limits held if any rounding nearby holds them.

    Powders and water go to the weighing step, pigments and admixtures to the finer dose step; water is
    chosen anew for every rounding of the powders.
    """
    grams = found.mix * problem.liters * 1e3
    steps = _steps(problem)
    best: Weighed | None = None
    for reach in _REACH:
        best = _best(problem, found, _choices(grams, steps, reach), backoff)
        if best is not None and best.candidate.feasible:
            return best
    # A small vessel on a coarse scale: no weighing nearby fills it, so the nearest one is told as it is.
    return (
        best or _best(problem, found, _choices(grams, steps, 1), backoff, _ANY_FILL) or Weighed(grams, found)
    )


def _steps(problem: Problem) -> Array:
    shop = problem.job.shop
    fine = ("pigment", "admixture")
    powders = [shop.dose_step if m.role in fine else shop.weigh_step for m in problem.materials]
    return np.array([*powders, shop.weigh_step])


def _choices(grams: Array, steps: Array, reach: int) -> Array:
    """Return rounded masses around `grams`, unused materials at 0, shape (choices, n + 1)."""
    used = np.flatnonzero(grams > 1e-6)
    span = np.arange(-reach, reach + 1)
    while len(span) ** len(used) > _MOST_CHOICES and len(span) > 2:
        span = span[1:]
    near = np.round(grams / steps)
    axes = np.array([np.maximum(near[k] + span, 1.0) * steps[k] for k in used])
    places = np.indices((len(span),) * len(used)).reshape(len(used), -1)
    out = np.zeros((places.shape[1], len(grams)))
    out[:, used] = np.take_along_axis(axes, places, axis=1).T
    return out


def _best(
    problem: Problem,
    found: Candidate,
    choices: Array,
    backoff: Array | None,
    filled: tuple[float, float] = _FILL,
) -> Weighed | None:
    volume = choices @ problem.model.column("volume") / (1.0 - float(problem.model["air"]))
    fill = volume / (problem.liters * 1e3)
    choices, volume = (x[(fill >= filled[0]) & (fill <= filled[1])] for x in (choices, volume))
    if len(choices) == 0:
        return None
    mixes = choices / volume[:, None]
    straight = _linear_broken(problem, found, mixes)
    if len(mixes) > _LOOKED_AT:
        likely = _likely(problem, found, mixes, straight, backoff)
        choices, volume, mixes, straight = (x[likely] for x in (choices, volume, mixes, straight))
    rows, cast = curved_rows(problem, found.case, mixes)
    held = rows if backoff is None else rows - backoff
    broken = np.maximum(np.maximum(straight, (-held).max(axis=1)), 0.0)
    value = objective_of(problem, found.case, cast)
    amiss = np.abs(volume - problem.liters * 1e3)
    short = np.where(broken <= TOLERANCE, 0.0, broken)
    order = np.lexsort((value, short, amiss) if filled is _ANY_FILL else (amiss, value, short))
    i = int(order[0])
    rounded = Candidate(found.case, mixes[i], float(value[i]), float(broken[i]))
    return Weighed(choices[i], rounded, filled is not _ANY_FILL)


def _likely(
    problem: Problem, found: Candidate, mixes: Array, straight: Array, backoff: Array | None
) -> NDArray[np.intp]:
    """Return the places of the best roundings by the slopes at the mix: the scale's steps are small.

    Half of them are the best of those that seem to hold all rows, the others those with the most in reserve.
    """
    free = np.append(np.flatnonzero(found.mix[:-1] > 0.0), len(found.mix) - 1).astype(np.intp)
    value, gradient, rows, jacobian = Evaluator(problem, found.case, free, backoff).evaluate(found.mix)
    moves = mixes - found.mix
    broken = np.maximum(straight, -(rows + moves @ jacobian.T).min(axis=1))
    values = value + moves @ gradient
    by_value = np.lexsort((values, np.where(broken <= TOLERANCE, 0.0, broken)))
    by_reserve = np.argsort(broken, kind="stable")
    return np.unique(np.concatenate([order[: _LOOKED_AT // 2] for order in (by_value, by_reserve)]))


def _linear_broken(problem: Problem, found: Candidate, mixes: Array) -> Array:
    """Violation of the linear rows; doses may miss by the scale's step, so their rows are left out.

    A dose rounded down saves less water, so the water to pour is asked of the doses as weighed.
    """
    rows = linear_rows(problem, found.case)
    keep = np.array([not name.startswith(("dose_", "water_enough")) for name in rows.names])
    level = mixes @ rows.matrix[keep].T
    demand = (1.0 - water_cut(problem.model, mixes)) * (mixes @ problem.model.column("demand"))
    dry = demand - mixes @ problem.model.column("water")
    least = mixes[:, :-1] - np.array([b.least for b in problem.bounds]) * mixes[:, :-1].sum(1)[:, None]
    short = np.where(mixes[:, :-1] > 0.0, -least, 0.0)
    below, above = rows.lower[keep] - level, level - rows.upper[keep]
    broken = np.maximum(np.maximum(below, above).max(axis=1), short.max(axis=1))
    return np.asarray(np.maximum(broken, dry))
