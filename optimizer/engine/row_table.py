"""The rows of many questions at once: every case of every variant of a problem, as arrays.

Variants share materials, vessel and shop and differ in limits and prices: the levels of a frontier, the rows
of a sweep, a limit moved by a step. One call of the chain values mixes of any of them, because bounds and
prices are arrays over the mixes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.candidate import property_objective
from optimizer.engine.cases import cases_of
from optimizer.formulation import Case, chain_rows, linear_rows
from optimizer.job import Limit
from optimizer.problem import Problem, limit_rows
from optimizer.property_model.predict import PREDICTORS, Cast, cast_of

__all__ = ["LinearPart", "RowTable", "Slopes"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Mask = NDArray[np.bool_]

_STEP, _STEP_FROM = 1e-6, 0.05
"""Forward step of a slope as a share of the amount, and the amount it is at least taken of [kg/L]."""

_STEEPEST, _STEEPEST_ROW = 1e9, 1e6
"""Slopes beyond which a quotient on the edge of "never" is cut."""

_NO_WORSE = 9.0
"""Margin beyond which a row says nothing more [-]."""

Kind = tuple[str, str]
"""Property and sense of a limit."""


@dataclass(frozen=True)
class Slopes:
    """Objective and curved rows at one mix for each walk, with their slopes.

    Attributes
    ----------
    value, gradient : Array
        Objective, shape (walks,), and its slopes over the walk's columns, shape (walks, m).
    rows, jacobian : Array
        Curved rows, positive when held, shape (walks, rows), and their slopes, (walks, rows, m).
    """

    value: Array
    gradient: Array
    rows: Array
    jacobian: Array

    def at(self, which: Index | Mask) -> Slopes:
        """Return those of some walks."""
        return Slopes(self.value[which], self.gradient[which], self.rows[which], self.jacobian[which])


@dataclass(frozen=True)
class LinearPart:
    """Linear rows over the columns of each walk: ``lower <= matrix @ z <= upper``, shape (walks, rows, m)."""

    matrix: Array
    lower: Array
    upper: Array

    def at(self, which: Index | Mask) -> LinearPart:
        """Return those of some walks."""
        return LinearPart(self.matrix[which], self.lower[which], self.upper[which])

    def missed(self, columns: Array) -> Array:
        """Return the largest violation at amounts of shape (walks, m), negative where all are over-met."""
        level = np.matmul(self.matrix, columns[:, :, None])[:, :, 0]
        return np.asarray(np.maximum(self.lower - level, level - self.upper).max(axis=1))


class RowTable:
    """Rows and objective of all cases of some variants of one problem.

    Parameters
    ----------
    problems
        Variants: the same materials, model, conditions and objective.
    cases
        Lists the cases of a problem.

    `cases[t]` is the case and `variant[t]` the place of the problem of task t; mixes are valued task by task.
    """

    def __init__(
        self, problems: Sequence[Problem], cases: Callable[[Problem], Sequence[Case]] = cases_of
    ) -> None:
        self.problems = tuple(problems)
        self.problem = first = self.problems[0]
        self.count, self.solids = len(first.names), np.array(first.solids, np.intp)
        self.doses = np.array(first.doses, np.intp)
        self._take_cases([(k, case) for k, each in enumerate(self.problems) for case in cases(each)])
        self.binder = np.array([m.role == "binder" for m in first.materials])
        self.gypsum = self.binder & np.array([m.kind == "gypsum" for m in first.materials])
        self.powder = first.model.column("powder")
        self.least = np.array([b.least for b in first.bounds])
        self.most = np.array([b.most for b in first.bounds])
        self.money = first.job.objective == "cost"

    def _take_cases(self, pairs: Sequence[tuple[int, Case]]) -> None:
        self.cases: tuple[Case, ...] = tuple(case for _, case in pairs)
        self.variant = np.array([k for k, _ in pairs], np.intp)
        linear = [linear_rows(self.problems[k], case) for k, case in pairs]
        kept = np.array([not name.startswith("most_") for name in linear[0].names])
        self.matrix = np.array([rows.matrix[kept] for rows in linear])
        self.lower = np.array([rows.lower[kept] for rows in linear])
        self.upper = np.array([rows.upper[kept] for rows in linear])
        self.fixed = np.array([case.fixed for case in self.cases])
        self.per_money = np.array([case.line.per_powder_money for case in self.cases])
        self.per_day = np.array([case.line.per_shelf_day for case in self.cases])
        self.prices = np.array([np.nan_to_num(p.prices) * p.liters for p in self.problems])
        self.bounds = self._bounds(pairs)

    def _bounds(self, pairs: Sequence[tuple[int, Case]]) -> dict[Kind, Array]:
        """Return the tightest bound of each kind of limit by task, infinite where there is none."""
        out: dict[Kind, Array] = {}
        for task, (k, case) in enumerate(pairs):
            for limit in (*self.problems[k].job.limits, *case.limits):
                way = 1.0 if limit.sense == "<=" else -1.0
                bounds = out.setdefault((limit.property, limit.sense), np.full(len(pairs), way * np.inf))
                bounds[task] = way * min(way * bounds[task], way * limit.bound)
        return out

    def rows(self, mixes: Array, task: Index) -> tuple[Array, Array]:
        """Return the objective, shape (mixes,), and the curved rows, (mixes, rows), each mix in its task."""
        return self.rows_of_cast(cast_of(self.problem.model, self.problem.conditions, mixes), task)

    def rows_of_cast(self, cast: Cast, task: Index) -> tuple[Array, Array]:
        """Return what `rows` does, of mixes cast before."""
        rows = chain_rows(cast)
        for (name, sense), bounds in self.bounds.items():
            asked = bounds[task]
            if name == "cost":
                rows.append(self._cost_row(cast, task, asked, 1.0 if sense == ">=" else -1.0))
            else:
                rows.extend(limit_rows(Limit(name, sense, float(asked[0])), cast, asked))
        value = self.cost(cast, task) if self.money else property_objective(self.problem, cast)
        return value, np.minimum(np.stack(rows, axis=-1), _NO_WORSE)

    def cost(self, cast: Cast, task: Index) -> Array:
        """Return the cost of one good vessel of each mix in its task [currency]."""
        money = np.einsum("mk,mk->m", cast.mixes, self.prices[self.variant[task]])
        value = self.fixed[task] + self.per_money[task] * money
        if np.any(self.per_day[task] > 0.0):
            value = value + self.per_day[task] * PREDICTORS["drying_time"](cast)
        return np.asarray(value)

    def _cost_row(self, cast: Cast, task: Index, asked: Array, sign: float) -> Array:
        bound = np.where(np.isfinite(asked), asked, 1.0)
        row = sign * (self.cost(cast, task) - bound) / np.maximum(bound, 1e-9)
        return np.where(np.isfinite(asked), row, _NO_WORSE)

    def look(self, mixes: Array, columns: Index, task: Index, used: Mask | None = None) -> Slopes:
        """Return objective, rows and their slopes at one mix for each walk, all from one call of the chain.

        Parameters
        ----------
        mixes
            Shape (walks, n + 1) [kg/L].
        columns
            Positions that slopes are wanted of, shape (walks, m).
        task
            Shape (walks,).
        used
            Which of the columns slopes are wanted of, shape (walks, m); the others are zero. Default: all.
        """
        if used is None:
            used = np.ones(columns.shape, bool)
        walk, place = np.nonzero(used)
        steps = _slope_steps(mixes[walk, columns[walk, place]])
        moved = mixes[walk]
        moved[np.arange(walk.size), columns[walk, place]] += steps
        # A walk may try mixes that cannot be; their rows come out far below zero, not as warnings.
        with np.errstate(all="ignore"):
            value, rows = self.rows(np.concatenate([mixes, moved]), np.concatenate([task, task[walk]]))
        count = len(mixes)
        gradient = np.zeros(columns.shape)
        jacobian = np.zeros((count, rows.shape[1], columns.shape[1]))
        gradient[walk, place] = _cut((value[count:] - value[walk]) / steps, _STEEPEST)
        jacobian[walk, :, place] = _cut((rows[count:] - rows[walk]) / steps[:, None], _STEEPEST_ROW)
        return Slopes(value[:count], gradient, rows[:count], jacobian)

    def linear(self, task: Index, columns: Index, used: Mask, *, least: bool) -> LinearPart:
        """Return the linear rows of walks over their columns.

        Parameters
        ----------
        task
            Shape (walks,).
        columns, used
            Positions, water last, and which of them may be used, shape (walks, m).
        least
            True holds every material used at its least share or more.
        """
        walks, width = columns.shape
        matrix = np.take_along_axis(self.matrix[task], columns[:, None, :], axis=2)
        parts = [(matrix, self.lower[task], self.upper[task])]
        solid = width - 1 - len(self.doses)
        own, powder = columns[:, :solid], self.powder[columns] * used
        free, place = np.full((walks, solid), np.inf), np.arange(solid)
        most = self.most[own][:, :, None] * powder[:, None, :]
        most[:, place, place] -= 1.0
        capped = used[:, :solid] & (self.most[own] < 1.0)
        some = capped.any(axis=0)
        parts.append((most[:, some], np.where(capped, 0.0, -np.inf)[:, some], free[:, some]))
        if least:
            rows = -self.least[own][:, :, None] * powder[:, None, :]
            rows[:, place, place] += 1.0
            parts.append((rows, np.where(used[:, :solid], 0.0, -np.inf), free))
        return LinearPart(*(np.concatenate(each, axis=1) for each in zip(*parts, strict=True)))

    def basin(self, mixes: Array) -> Index:
        """Return which valley of cost each mix lies in: rich in cement, between, rich in gypsum.

        Walks do not cross from one to the other: strength and set fall between the two kinds of binder.
        """
        powder = mixes[:, :-1]
        share = (powder @ self.gypsum) / np.maximum(powder @ self.binder, 1e-9)
        return np.asarray(np.digitize(share, _VALLEYS), np.intp)


_VALLEYS = (0.3, 0.7)
"""Share of gypsum binders among the binders that parts the valleys [-]."""


def _cut(slopes: Array, most: float) -> Array:
    """Return slopes within the steepest that is believed; what is no number has none."""
    return np.clip(np.nan_to_num(slopes), -most, most)


def _slope_steps(amounts: Array) -> Array:
    """Return by how much amounts are moved to find a slope [kg/L]."""
    return np.asarray(_STEP * np.maximum(np.abs(amounts), _STEP_FROM))
