"""A dense search of all blends of a job: random mixes of every set of materials, then finer around the best.

It knows nothing of the engine; what it finds, the engine should have found. What it does not find proves
nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np

from optimizer.problem import Problem
from optimizer.property_model.microstructure import demand_of, per_liter
from tests.trust.second_opinion import Opinion

__all__ = ["Found", "Judge", "dense_search", "dense_search_of"]

Array = np.ndarray
Judge = Callable[[Array], tuple[Array, Array]]


@dataclass(frozen=True)
class Found:
    """The mixes looked at last, best first.

    Attributes
    ----------
    mixes : Array
        kg/L, shape (mixes, n + 1).
    missed : Array
        Sum of all limits missed and rules broken; 0 for a mix that does.
    objective : Array
        Made small [its unit].
    """

    mixes: Array
    missed: Array
    objective: Array

    @property
    def feasible(self) -> bool:
        """True when a mix does."""
        return bool(self.missed[0] <= 0.0)


def dense_search(
    problem: Problem, opinion: Opinion, blends: int = 24_000, rounds: int = 9, seed: int = 5
) -> Found:
    """Return what a search of about `blends` blends, and `rounds` of finer ones, finds."""

    def judged(mixes: Array) -> tuple[Array, Array]:
        values = opinion.values(mixes)
        missed = sum(opinion.missed(values).values(), np.zeros(len(mixes)))
        missed = missed + sum(opinion.broken(mixes, values).values())
        sign = -1.0 if problem.job.maximize else 1.0
        return missed, np.nan_to_num(sign * values[problem.job.objective], nan=np.inf)

    return dense_search_of(problem, judged, blends, rounds, seed)


def dense_search_of(
    problem: Problem, judged: Judge, blends: int = 24_000, rounds: int = 9, seed: int = 5
) -> Found:
    """Return what such a search finds where `judged` says of mixes by how much they miss, and what they cost.

    `judged` takes mixes [kg/L] of shape (mixes, n + 1) and returns two arrays of shape (mixes,):
    `Found.missed` and `Found.objective`.
    """
    chance = np.random.default_rng(seed)
    shares, waters = _everywhere(problem, blends, chance)
    found = _judged(problem, judged, shares, waters)
    width = 0.2
    for _ in range(rounds):
        best = _leaders(found, 40)
        near_shares, near_waters = _near(problem, best, width, blends // 10, chance)
        found = _merged(best, _judged(problem, judged, near_shares, near_waters))
        width *= 0.45
    return found


def _everywhere(problem: Problem, blends: int, chance: np.random.Generator) -> tuple[Array, Array]:
    cap = problem.job.at_most_materials or len(problem.solids)
    supports = [
        support
        for size in range(1, min(cap, 5, len(problem.solids)) + 1)
        for support in combinations(problem.solids, size)
        if any(problem.materials[k].role == "binder" for k in support)
    ]
    each = max(blends // len(supports), 12)
    rows = [_of_support(problem, support, each if len(support) > 1 else 12, chance) for support in supports]
    shares = np.concatenate(rows)
    return _dosed(problem, shares, chance), _water_factors(problem, len(shares), chance)


def _of_support(problem: Problem, support: tuple[int, ...], count: int, chance: np.random.Generator) -> Array:
    least = np.array([problem.bounds[k].least for k in support])
    most = np.array([problem.bounds[k].most for k in support])
    room = 1.0 - least.sum()
    out = np.zeros((count, len(problem.names)))
    if room < 0.0:
        return out[:0]
    raw = chance.dirichlet(np.full(len(support), 0.8), count) * np.minimum(most, 1.0)
    raw /= np.maximum(raw.sum(axis=1, keepdims=True), 1e-12)
    out[:, list(support)] = least + room * raw
    return out[np.all(out[:, list(support)] <= most + 1e-12, axis=1)]


def _dosed(problem: Problem, shares: Array, chance: np.random.Generator) -> Array:
    """Return the shares with admixtures at one of their doses."""
    if not problem.doses:
        return shares
    out = shares.copy()
    levels = [_levels(problem, k) for k in problem.doses]
    choices = np.array(list(product(*levels)))
    picked = choices[chance.integers(len(choices), size=len(out))]
    return _with_doses(problem, out, picked)


def _with_doses(problem: Problem, shares: Array, doses: Array) -> Array:
    """Return shares that sum to 1 with retarder by the binder and plasticizer by the whole powder."""
    out = shares.copy()
    out[:, list(problem.doses)] = 0.0
    out /= out.sum(axis=1, keepdims=True)
    binder = out @ problem.model.column("binder")[:-1]
    fluid = np.zeros(len(out))
    for j, k in enumerate(problem.doses):
        if problem.materials[k].kind == "plasticizer":
            fluid += doses[:, j]
        else:
            out[:, k] = doses[:, j] * binder
    out *= ((1.0 - fluid) / out.sum(axis=1))[:, None]
    for j, k in enumerate(problem.doses):
        if problem.materials[k].kind == "plasticizer":
            out[:, k] = doses[:, j]
    return out


def _levels(problem: Problem, k: int) -> list[float]:
    material = problem.materials[k]
    gypsum = any(m.kind == "gypsum" for m in problem.materials)
    ceiling = material.figure("max_dose_gypsum" if gypsum else "max_dose_csa", 100.0)
    return [0.0, *(x / 100.0 for x in material.dose_levels if x <= ceiling)]


def _water_factors(problem: Problem, count: int, chance: np.random.Generator) -> Array:
    most = float(problem.model["water_ceiling"])
    factors = chance.uniform(1.0, most, count)
    factors[chance.random(count) < 0.5] = 1.0
    return factors


def _judged(problem: Problem, judged: Judge, shares: Array, waters: Array) -> Found:
    demand = demand_of(problem.model, shares)
    mixes = per_liter(problem.model, shares, demand * waters * (1.0 + 1e-9))
    return _sorted(mixes, *judged(mixes))


def _sorted(mixes: Array, missed: Array, objective: Array) -> Found:
    order = np.lexsort((objective, missed))
    return Found(mixes[order], missed[order], objective[order])


def _leaders(found: Found, count: int) -> Found:
    """Return the best mixes, at most six of each set of materials."""
    seen: dict[bytes, int] = {}
    kept = []
    for i in range(min(len(found.mixes), 4000)):
        key = (found.mixes[i, :-1] > 1e-9).tobytes()
        if seen.setdefault(key, 0) < 6:
            seen[key] += 1
            kept.append(i)
        if len(kept) == count:
            break
    return Found(found.mixes[kept], found.missed[kept], found.objective[kept])


def _near(
    problem: Problem, best: Found, width: float, count: int, chance: np.random.Generator
) -> tuple[Array, Array]:
    """Return shares and water factors around the best mixes, the same materials in use and the same doses."""
    again = np.repeat(best.mixes, max(count // len(best.mixes), 1), axis=0)
    powder = again[:, :-1].sum(axis=1, keepdims=True)
    shares = again[:, :-1] / powder
    factor = again[:, -1] / powder[:, 0] / demand_of(problem.model, shares)
    binder = shares @ problem.model.column("binder")[:-1]
    doses = np.array(
        [
            shares[:, k] / (1.0 if problem.materials[k].kind == "plasticizer" else binder)
            for k in problem.doses
        ]
    ).T
    moved = shares * np.exp(width * 3.0 * chance.standard_normal(shares.shape))
    moved += width * 0.3 * chance.standard_normal(shares.shape)
    least = np.array([bounds.least for bounds in problem.bounds])
    most = np.array([bounds.most for bounds in problem.bounds])
    moved = np.where(shares > 1e-9, np.clip(moved, least, most), 0.0)
    moved /= moved.sum(axis=1, keepdims=True)
    if problem.doses:
        moved = _with_doses(problem, moved, doses)
    waters = np.maximum(factor + width * 0.5 * chance.standard_normal(len(factor)), 1.0)
    waters[chance.random(len(waters)) < 0.3] = 1.0
    return moved, waters


def _merged(first: Found, second: Found) -> Found:
    return _sorted(
        np.concatenate([first.mixes, second.mixes]),
        np.concatenate([first.missed, second.missed]),
        np.concatenate([first.objective, second.objective]),
    )
