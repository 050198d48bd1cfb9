"""Round a mix to what the scale shows and keep it within its limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.candidate import TOLERANCE, Candidate
from optimizer.engine.row_table import RowTable
from optimizer.formulation import linear_rows
from optimizer.problem import Problem
from optimizer.property_model.microstructure import water_cut

__all__ = ["NEAREST", "REACH", "Weighed", "weigh"]

Array = NDArray[np.float64]

NEAREST, REACH = (1,), (1, 2, 4)
"""Steps of the scale tried to each side: once more after the first that holds all limits, for a small vessel
on a coarse scale may be better weighed two steps away."""

_MOST_CHOICES = 20_000
_FILL = (0.9985, 1.02)
"""Share of the cavity that the rounded masses may fill before waste [-]."""

_LOOKED_AT = 100
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
    held : bool
        True when the rules of mixing, the shelf and all rows but the last, the joint chance, hold.
    """

    grams: Array
    candidate: Candidate
    fills: bool = True
    held: bool = True


def weigh(table: RowTable, task: int, found: Candidate, reach: Sequence[int] = REACH) -> Weighed:
    """Return the best rounding of a mix: all rows held if any rounding nearby holds them.

    Powders and water go to the weighing step, pigments and admixtures to the finer dose step; water is
    chosen anew for every rounding of the powders.

    Parameters
    ----------
    table, task
        Rows and objective of mixes near the one found; the last row is the joint chance.
    found
        What to round.
    reach
        `REACH`; or `NEAREST`, for a mix that no rounding makes hold.
    """
    problem = table.problem
    grams = found.mix * problem.liters * 1e3
    steps = _steps(problem)
    best: Weighed | None = None
    for each in reach:
        rounded = _best(table, task, found, _choices(grams, steps, each))
        if rounded is None:
            continue
        if best is not None and best.candidate.feasible:
            return min(best, rounded, key=lambda one: one.candidate.rank())
        best = rounded
    # A small vessel on a coarse scale: no weighing nearby fills it, so the nearest one is told as it is.
    return best or _best(table, task, found, _choices(grams, steps, 1), _ANY_FILL) or Weighed(grams, found)


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
    table: RowTable,
    task: int,
    found: Candidate,
    choices: Array,
    filled: tuple[float, float] = _FILL,
) -> Weighed | None:
    problem = table.problem
    volume = choices @ problem.model.column("volume") / (1.0 - float(problem.model["air"]))
    fill = volume / (problem.liters * 1e3)
    choices, volume = (x[(fill >= filled[0]) & (fill <= filled[1])] for x in (choices, volume))
    if len(choices) == 0:
        return None
    mixes = choices / volume[:, None]
    straight = np.maximum(_linear_broken(problem, found, mixes), _beyond_shelf(problem, choices))
    straight = np.maximum(straight, _overdosed(problem, mixes))
    if len(mixes) > _LOOKED_AT:
        likely = _likely(table, task, found, mixes, straight)
        choices, volume, mixes, straight = (x[likely] for x in (choices, volume, mixes, straight))
    with np.errstate(all="ignore"):
        value, rows = table.rows(mixes, np.full(len(mixes), task, np.intp))
    missed = np.maximum(-np.nan_to_num(rows), 0.0)
    straight = np.maximum(straight, missed[:, :-1].max(axis=1))
    broken = np.maximum(straight, missed[:, -1])
    amiss = np.abs(volume - problem.liters * 1e3)
    # Where no rounding is sure enough, what holds whatever the chance still does: it comes first.
    ruled, short = (np.where(x <= TOLERANCE, 0.0, x) for x in (straight, broken))
    order = np.lexsort((value, short, amiss) if filled is _ANY_FILL else (amiss, value, short, ruled))
    i = int(order[0])
    rounded = Candidate(found.case, mixes[i], float(value[i]), float(broken[i]))
    return Weighed(choices[i], rounded, filled is not _ANY_FILL, bool(ruled[i] <= 0.0))


def _likely(table: RowTable, task: int, found: Candidate, mixes: Array, straight: Array) -> NDArray[np.intp]:
    """Return the places of the best roundings by the slopes at the mix: the scale's steps are small.

    Half of them are the best of those that seem to hold all rows, the others those with the most in reserve.
    """
    free = np.append(np.flatnonzero(found.mix[:-1] > 0.0), len(found.mix) - 1).astype(np.intp)
    at = table.look(found.mix[None, :], free[None, :], np.array([task], np.intp))
    moves = (mixes - found.mix)[:, free]
    broken = np.maximum(straight, -(at.rows[0] + moves @ at.jacobian[0].T).min(axis=1))
    values = at.value[0] + moves @ at.gradient[0]
    ruled, short = (np.where(x <= TOLERANCE, 0.0, x) for x in (straight, broken))
    by_value, by_reserve = np.lexsort((values, short, ruled)), np.lexsort((broken, ruled))
    return np.unique(np.concatenate([order[: _LOOKED_AT // 2] for order in (by_value, by_reserve)]))


def _beyond_shelf(problem: Problem, grams: Array) -> Array:
    """Return by how much masses exceed the shelf [kg/L]: what runs over the rim is taken from it, too."""
    most = np.array([problem.job.shelf.get(name, np.inf) for name in problem.names])
    return np.asarray((grams[:, :-1] * 1e-3 - most).max(axis=1) / problem.liters)


def _overdosed(problem: Problem, mixes: Array) -> Array:
    """Return by how much a dose exceeds the most that binder or powder bears [share of it, -]."""
    if not problem.doses:
        return np.zeros(len(mixes))
    gypsum = mixes[:, [k for k, m in enumerate(problem.materials) if m.kind == "gypsum"]].any(axis=1)
    binder = np.maximum(mixes @ problem.model.column("binder"), 1e-9)
    powder = mixes[:, :-1].sum(axis=1)
    over = [mixes[:, k] / powder - problem.bounds[k].most for k in problem.doses] + [
        mixes[:, k] / binder
        - np.where(gypsum, problem.most_dose(k, gypsum=True), problem.most_dose(k, gypsum=False))
        for k in problem.doses
    ]
    return np.asarray(np.max(over, axis=0))


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
