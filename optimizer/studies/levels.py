"""The walk behind a frontier: the best blend at each level of the quantities that are held.

A few levels are searched in full, the others with the materials met there; beyond large steps between
neighbors, where the materials are likely to change, more are searched.
"""

from __future__ import annotations

import math
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from optimizer.chain.predict import cast_of, predict
from optimizer.engine.descent import descend
from optimizer.engine.nearby import Pool, nearby
from optimizer.engine.polish import Candidate
from optimizer.engine.scan import Scan
from optimizer.engine.search import Search
from optimizer.errors import NoBlend
from optimizer.formulation import RowLabel, backoff_vector
from optimizer.limit_rows import row_count
from optimizer.pareto import Sense
from optimizer.problem import Problem
from optimizer.shop import Limit
from optimizer.studies.proofs import sought
from optimizer.verdict.confidence import Doubt
from optimizer.verdict.judge import cost_parts_of

__all__ = ["LevelWalk", "Placed", "values_of"]

Array = NDArray[np.float64]

_SEARCHED, _APART = 3, 10
"""Levels searched in full at most, and levels to each."""

_STEEP = 0.1
"""Share of the whole range beyond which a step between neighbors has the next level searched, too."""

_GAIN = 1e-6
"""Share of the objective by which a blend must be better to take another's place."""

_RENEWED = 3
"""Times that a blend's own spreads are taken again."""


@dataclass(frozen=True)
class Placed:
    """A blend with the question it answers.

    Attributes
    ----------
    best : Candidate
        The blend.
    asked : Problem
        The problem with its level held as limits, and what was made best.
    shifts : Mapping[RowLabel, float]
        How far the job's limits are over-met for its confidence.
    """

    best: Candidate
    asked: Problem
    shifts: Mapping[RowLabel, float]


def values_of(problem: Problem, mix: Array) -> dict[str, float]:
    """Return every property of a mix of shape (n + 1,) [kg/L], and ``cost`` [currency]; nan: not priced."""
    cast = cast_of(problem.model, problem.bench, mix[None, :])
    values = {name: float(np.ravel(v)[0]) for name, v in predict(cast).items()}
    parts = cost_parts_of(problem, mix * problem.liters * 1e3, values)
    return {**values, "cost": float(sum(parts.values())) if parts else float("nan")}


def _largest_step(best: Sequence[Candidate | None], searched: Container[int]) -> int | None:
    """Return the unsearched place beyond the largest step in value, or None when all steps are small."""
    values = [math.nan if found is None else found.value for found in best]
    reach = np.nanmax(values) - np.nanmin(values) if not all(map(math.isnan, values)) else 0.0
    rises = [
        (math.inf if math.isnan(high) else high - low, k + 1)
        for k, (low, high) in enumerate(pairwise(values))
        if not math.isnan(low) and k + 1 not in searched
    ]
    rise, place = max(rises, default=(0.0, 0))
    return place if rise > _STEEP * reach else None


def _better(found: Candidate, known: Candidate | None) -> bool:
    return known is None or found.value < known.value - _GAIN * abs(known.value)


class LevelWalk:
    """Scratch of one frontier.

    Parameters
    ----------
    problem
        Limits are held on every blend, with the job's confidence.
    over, senses
        The quantities traded, and ``min`` or ``max`` for each.

    `pool` keeps the blends met so far, `hopeless` the levels that none reaches.
    """

    def __init__(self, problem: Problem, over: Sequence[str], senses: Sequence[Sense]) -> None:
        self.base, self.over, self.senses = problem, tuple(over), tuple(senses)
        self.problem = self._aimed(0)
        self.scan = Scan(problem)
        self.doubt = Doubt(problem) if problem.job.confidence > 0.5 else None
        self.shifts: Mapping[RowLabel, float] = {}
        self.pool = Pool()
        self.hopeless: list[tuple[float, ...]] = []

    def _aimed(self, k: int) -> Problem:
        job = replace(self.base.job, objective=self.over[k], maximize=self.senses[k] == "max")
        return replace(self.base, job=job)

    def ends(self) -> list[Placed]:
        """Return the best mix of each quantity alone.

        Raises
        ------
        NoBlend
            If no blend meets the limits.
        """
        out = []
        for k in range(len(self.over)):
            aimed = self._aimed(k)
            search = Search(aimed, scan=self.scan)
            nominal = sought(search)
            self.pool.learn(search)
            placed = None
            if nominal is not None and nominal.feasible:
                self.shifts = self._shifts(nominal)
                found = Search(aimed, self.shifts, scan=self.scan).run() if self.shifts else nominal
                placed = None if found is None or not found.feasible else self._held(aimed, found)
            if placed is None:
                msg = "no blend meets the limits, so there is nothing to trade"
                raise NoBlend(msg)
            out.append(placed)
        self.shifts = out[0].shifts
        return out

    def _shifts(self, found: Candidate) -> Mapping[RowLabel, float]:
        """Return how far the job's limits must be over-met at a mix; its level is held as it is."""
        if self.doubt is None:
            return {}
        return self.doubt.shifts(self.base.job.limits, found.mix, self.base.job.confidence)

    def _backoff(self, asked: Problem, shifts: Mapping[RowLabel, float]) -> Mapping[RowLabel, float]:
        """Return shifts under which a level is held as it is: it is looked at, not promised."""
        if not shifts:
            return shifts
        own = [limit for limit in asked.job.limits if limit not in self.base.job.limits]
        spared = {RowLabel(limit, part): 0.0 for limit in own for part in range(row_count(limit))}
        return {**shifts, **spared}

    def _held(self, asked: Problem, found: Candidate) -> Placed | None:
        """Return a blend with its limits held by its own spreads, which belong to the mix."""
        shifts = self._backoff(asked, self.shifts)
        for _ in range(_RENEWED if self.doubt is not None else 0):
            shifts = self._backoff(asked, self._shifts(found))
            own = [k for k in found.support if k in asked.solids]
            found = descend(asked, found.case, own, found.mix, backoff_vector(asked, found.case, shifts), own)
            if not found.feasible:
                return None
        return Placed(found, asked, shifts)

    def levels(self, points: int, ends: Sequence[Placed]) -> list[tuple[float, ...]]:
        """Return levels of the held quantities between their values at the ends, loose to tight."""
        whole = [values_of(self.base, end.best.mix) for end in ends]
        values = np.array([[row[name] for name in self.over] for row in whole])
        axes = []
        per_axis = points if len(self.over) == 2 else max(3, round(points**0.5))
        for k in range(1, len(self.over)):
            best = values[k, k]
            worst = np.nanmax(values[:, k]) if self.senses[k] == "min" else np.nanmin(values[:, k])
            inside = np.linspace(worst, best, per_axis + 1)[1:-1] if per_axis > 1 else np.array([best])
            axes.append(inside)
        if len(axes) == 1:
            return [(float(x),) for x in axes[0]]
        return [(float(x), float(y)) for x in axes[0] for y in axes[1]]

    def between(self, levels: Sequence[tuple[float, ...]]) -> list[Placed]:
        """Return the best blend at each level that has one."""
        count = max(1, min(_SEARCHED, len(levels) // _APART))
        stride = max(1, math.ceil(len(levels) / count))
        whole = {i: self._searched(levels[i]) for i in range(stride // 2, len(levels), stride)}
        best = [whole.get(i) or self._reached(level) for i, level in enumerate(levels)]
        if len(self.over) == 2:
            self._mend(levels, best, set(whole), count + 1)
        placed = [
            self._held(self._asked(level), found)
            for level, found in zip(levels, best, strict=True)
            if found is not None
        ]
        return [found for found in placed if found is not None]

    def _mend(
        self, levels: Sequence[tuple[float, ...]], best: list[Candidate | None], searched: set[int], most: int
    ) -> None:
        """Search beyond the largest steps between neighbors: there the materials are likely to change."""
        for _ in range(most):
            k = _largest_step(best, searched)
            if k is None:
                return
            searched.add(k)
            found = self._searched(levels[k])
            if found is None or not _better(found, best[k]):
                continue
            best[k] = found
            for way in (range(k + 1, len(levels)), range(k - 1, -1, -1)):
                for j in way:
                    again = self._near(levels[j])
                    if again is None or not _better(again, best[j]):
                        break
                    best[j] = again

    def _asked(self, level: tuple[float, ...]) -> Problem:
        """Return the problem with the other quantities held at a level."""
        held = [
            Limit(name, "<=" if sense == "min" else ">=", bound)
            for name, sense, bound in zip(self.over[1:], self.senses[1:], level, strict=True)
        ]
        return self.problem.with_limits([*self._others(held), *held])

    def _searched(self, level: tuple[float, ...]) -> Candidate | None:
        """Search a level in full and remember the materials met."""
        search = self._search(level)
        found = search.run()
        self.pool.learn(search)
        return found if found is not None and found.feasible else None

    def _reached(self, level: tuple[float, ...]) -> Candidate | None:
        """Return the best blend at a level; searched in full where those met lead nowhere, unless in vain."""
        if any(self._tighter(level, none) for none in self.hopeless):
            return None
        found = self._near(level) or self._searched(level)
        if found is None:
            self.hopeless.append(level)
        return found

    def _tighter(self, level: tuple[float, ...], other: tuple[float, ...]) -> bool:
        """Return True when a level asks for all that another one asks for, or more."""
        pairs = zip(self.senses[1:], level, other, strict=True)
        return all(mine <= their if sense == "min" else mine >= their for sense, mine, their in pairs)

    def _near(self, level: tuple[float, ...]) -> Candidate | None:
        """Return the best blend at a level that those met so far lead to."""
        return nearby(self._search(level), self.pool)

    def _search(self, level: tuple[float, ...]) -> Search:
        asked = self._asked(level)
        return Search(asked, self._backoff(asked, self.shifts), scan=self.scan)

    def _others(self, held: Sequence[Limit]) -> list[Limit]:
        """Return the job's limits that no level replaces: the tighter of the two rules anyway."""
        kinds = {(x.property, x.sense) for x in held}
        return [x for x in self.base.job.limits if (x.property, x.sense) not in kinds]
