"""Rows under doubt: the joint chance of all limits as one smooth row, every step of the cost at its chance.

A mix is cast in common draws of all that is not known, and

    F(mix) = mean over draws of the product over rows of K(row / h)

is a smooth function of the mix. ``ln F >= ln p`` is one curved row, and every step of the cost (a coat, a
turn less, a postage band) is paid with its own chance of that form. K is the logistic distribution: its tails
keep slopes where no draw holds.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.candidate import TRACE, Candidate
from optimizer.engine.cases import cases_under_doubt, cost_steps, sold_limits
from optimizer.engine.row_table import LinearPart, RowTable
from optimizer.engine.search_state import Found
from optimizer.formulation import Case
from optimizer.job import Limit
from optimizer.problem import Problem, limit_rows
from optimizer.property_model.predict import PREDICTORS, Cast, cast_of
from optimizer.property_model.samples import Samples

__all__ = ["FAINT", "FINEST", "ChanceQuestion", "ChanceTable", "rows_near"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_NORMAL = 1.702
"""Scale at which the logistic distribution is nearest to the normal one (within 0.0095, Camilli 1994, from
memory) [-]."""

FAINT = 1e-3
"""Weight of ln F beside rows that are held, where it is made as large as it can be [-]."""

FINEST = 0.005
"""Smoothing of the rows with which searches end [row units]."""

_SPARE = 0.004
"""Chance asked for beyond the stated one, for what the last smoothing hides [-]."""

_NO_WORSE = 9.0

_MET, _SURELY, _LEAST_LN = 1e-9, 40.0, -1e6
"""What a row met may miss, the row over its smoothing from which K is one within the rounding of a double,
and the least logarithm told apart from that of zero."""

_LEAST_SOLD, _UNSOLD = 1e-6, 50.0
"""Share of vessels that can be sold below which none can [-], and bounds that what cannot be sold costs."""

_AT_ONCE = 32_768
"""Draws of mixes cast at a time: what fits in the cache of a core [count]."""


@dataclass(frozen=True)
class ChanceQuestion:
    """A question under doubt.

    Attributes
    ----------
    problem : Problem
        Materials, prices, and the limits that hold at best values whatever the chance.
    judged : tuple[Limit, ...]
        Limits that are to hold together.
    chance : float
        How surely [-].
    nominal : Found | None
        The answer at best values, where it is known.
    only : tuple[int, ...] | None
        Positions of the only materials allowed; None: all.
    near : tuple[Candidate, ...]
        Blends of a like question: where there are any, walks from them are all that is made.
    """

    problem: Problem
    judged: tuple[Limit, ...]
    chance: float
    nominal: Found | None = None
    only: tuple[int, ...] | None = None
    near: tuple[Candidate, ...] = ()


class ChanceTable(RowTable):
    """Rows of questions under doubt: those held at best values, and last the logarithm of the joint chance.

    A task is one choice of doses of one question. Every mix is cast in all draws of `samples`,
    and `width` smooths its rows; with `sure` the chance is the objective.
    """

    def __init__(self, questions: Sequence[ChanceQuestion]) -> None:
        held = [each.problem.with_limits(_held(each)) for each in questions]
        super().__init__(held, cases_under_doubt)
        kinds = dict.fromkeys((x.property, x.sense) for each in questions for x in each.judged)
        self.judged = {kind: np.array([_bound(each.judged, kind) for each in questions]) for kind in kinds}
        priced = self.money or any(name == "cost" for name, _ in self.judged)
        steps = cost_steps(self.problem) if priced else ()
        self.sold = sold_limits(self.problem) if priced else ()
        self.nested = [tuple(kind) for _, kind in groupby(steps, lambda step: step.limit.property)]
        self.goal = np.log(np.array([min(q.chance + _SPARE, 0.5 * (1.0 + q.chance)) for q in questions]))
        self.sure = False
        self.samples, self.width = self.problem.samples.search, FINEST

    def seen_by(self, samples: Samples, width: float) -> ChanceTable:
        """Return the table with some draws, their rows smoothed by `width` [row units]."""
        out = copy.copy(self)
        out.samples, out.width = samples, width
        return out

    def rows(self, mixes: Array, task: Index) -> tuple[Array, Array]:
        """Return the expected objective and the rows, the joint chance as the last of them.

        Where the surest blend is asked for, the objective is one for all, and so is the chance asked for:
        walks end where a row that cannot be held is missed least.
        """
        plain = cast_of(self.problem.model, self.problem.conditions, mixes)
        value, held = self.rows_of_cast(plain, task)
        log_chance, cost = self._expected(plain, task, self.width)
        if self.sure:
            return np.ones(len(task)), np.concatenate([held, FAINT * log_chance[:, None]], axis=1)
        missed = np.minimum(log_chance - self.goal[self.variant[task]], _NO_WORSE)
        return cost if self.money else value, np.concatenate([held, missed[:, None]], axis=1)

    def judged_at(self, task: Index, mixes: Array) -> tuple[Array, Array, Array]:
        """Return expected objective, violation of held rows, and joint chance of mixes, in whole draws.

        The rows of mixing and of the shelf are among those held.
        """
        plain = cast_of(self.problem.model, self.problem.conditions, mixes)
        value, held = self.rows_of_cast(plain, task)
        log_chance, cost = self._expected(plain, task, 0.0)
        straight = LinearPart(self.matrix[task], self.lower[task], self.upper[task]).missed(mixes)
        broken = np.maximum(np.maximum(-held.min(axis=1), straight), 0.0)
        return cost if self.money else value, broken, np.exp(log_chance)

    def _expected(self, plain: Cast, task: Index, width: float) -> tuple[Array, Array]:
        """Return ln F and the expected cost where that is the objective, each of shape (mixes,).

        With a width of zero draws count whole.
        """
        log_chance, value = np.zeros(len(task)), np.zeros(len(task))
        most = max(1, _AT_ONCE // len(self.samples))
        for first in range(0, len(task), most):
            part = slice(first, first + most)
            drawn, own = self.samples.cast(self.problem.conditions, plain.mixes[part]), task[part]
            log_chance[part] = _ln_mean(_ln_met(self._judged_rows(drawn, own), width))
            if self.money and not self.sure:
                value[part] = self._expected_cost(drawn, own, width)
        return log_chance, value

    def _expected_cost(self, drawn: Cast, task: Index, width: float) -> Array:
        """Return the cost of a good vessel over the draws, shape (mixes,) [currency].

        What cannot be sold at any cost is paid for by what can.
        """
        sold = self._sold(drawn, width)
        share = np.maximum(sold.mean(axis=0), _LEAST_SOLD)
        dearer = (sold * self._dearer(drawn, task, width)).mean(axis=0) / share
        money = np.einsum("mk,mk->m", drawn.intended, self.prices[self.variant[task]])
        return np.asarray((self.fixed[task] + self.per_money[task] * money + dearer) / share)

    def _sold(self, drawn: Cast, width: float) -> Array:
        """Return how far a vessel can be sold in each draw, shape (draws, mixes) [-]."""
        return np.exp(_ln_met([row for limit in self.sold for row in limit_rows(limit, drawn)], width))

    def _dearer(self, drawn: Cast, task: Index, width: float) -> Array:
        """Return what comes on top of the cheapest steps and the powder, shape (draws, mixes) [currency]."""
        out: Array = np.zeros(drawn.fresh_density.shape)
        if np.any(self.per_day[task] > 0.0):
            days = PREDICTORS["drying_time"](drawn)
            out += self.per_day[task] * np.where(np.isfinite(days), days, 0.0)
        for steps in self.nested:
            for step in steps:
                ln_met = _ln_met(limit_rows(step.limit, drawn), width)
                if not ln_met.any():
                    break  # what meets the tightest step of a kind meets all of them
                out -= step.money * np.expm1(ln_met)
        return out

    def _judged_rows(self, drawn: Cast, task: Index) -> list[Array]:
        """Return the rows of all limits that have a chance, each of shape (draws, mixes)."""
        rows: list[Array] = []
        for (name, sense), bounds in self.judged.items():
            asked = bounds[self.variant[task]]
            if name == "cost":
                rows.append((1.0 if sense == "<=" else -1.0) * self._cost_rows(drawn, task, asked))
            else:
                rows.extend(limit_rows(Limit(name, sense, float(asked[0])), drawn, asked))
        return rows or [np.full((len(self.samples), len(task)), _NO_WORSE)]

    def _cost_rows(self, cast: Cast, task: Index, asked: Array) -> Array:
        """Return how far the cost lies below its bound, every step paid whole where it is not met [-]."""
        money = (cast.mixes * self.prices[self.variant[task]]).sum(axis=-1)
        cost = self.fixed[task] + self.per_money[task] * money
        bound = np.where(np.isfinite(asked), asked, 1.0)
        cost = np.where(self._sold(cast, 0.0) > 0.0, cost + self._dearer(cast, task, 0.0), _UNSOLD * bound)
        return np.where(np.isfinite(asked), (bound - cost) / np.maximum(bound, 1e-9), _NO_WORSE)


def _ln_met(rows: Sequence[Array], width: float) -> Array:
    """Return how far rows are met together, shape (draws, mixes): ln of the product of K, of 0 or 1."""
    out: Array = np.zeros(np.broadcast_shapes(*(row.shape for row in rows)))
    for row in rows:
        if width == 0.0:
            out = np.where(row >= -_MET, out, -np.inf)
            continue
        scaled = (_NORMAL / width) * row
        if scaled.min() < _SURELY:
            out = out + (np.minimum(scaled, 0.0) - np.log(1.0 + np.exp(-np.abs(scaled))))
    return out


def _ln_mean(logs: Array) -> Array:
    """Return ln of the mean over draws of what has these logarithms, shape (mixes,)."""
    top = np.maximum(logs.max(axis=0), _LEAST_LN)
    with np.errstate(divide="ignore"):  # no draw at all
        return np.asarray(top + np.log(np.exp(logs - top).mean(axis=0)))


def _held(question: ChanceQuestion) -> tuple[Limit, ...]:
    return tuple(limit for limit in question.problem.job.limits if limit not in question.judged)


def _bound(limits: Iterable[Limit], kind: tuple[str, str]) -> float:
    way = 1.0 if kind[1] == "<=" else -1.0
    bounds = [way * x.bound for x in limits if (x.property, x.sense) == kind]
    return way * min(bounds, default=np.inf)


def rows_near(question: ChanceQuestion, mix: Array) -> tuple[ChanceTable, int]:
    """Return the rows of a question and the task of the first choice of doses that a mix of it fits.

    For rounding to a scale; the chance is the last row.

    Parameters
    ----------
    mix
        Shape (n + 1,) [kg/L].
    """
    table = ChanceTable([question])
    return table, next((t for t, case in enumerate(table.cases) if _fits(case, mix)), 0)


def _fits(case: Case, mix: Array) -> bool:
    return all((dose > 0.0) == (mix[k] > TRACE) for k, dose in case.doses.items())
