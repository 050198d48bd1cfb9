"""Rows under doubt: the joint chance of all limits as one smooth row, every step of the cost at its chance.

At a mix the rows of every limit are looked at in common draws of all that is not known, and their departures
from the rows at best values are kept. With these frozen,

    F(r) = mean over draws of the product over rows of K((r + D) / h)

is a smooth function of the rows at best values alone; ``ln F >= ln p`` is one curved row whose slopes are
those of the rows, and every step of the cost (a coat, a turn less, a postage band) is paid with its own
chance of that form. K is the logistic distribution: its tails keep slopes where no draw holds.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.candidate import TRACE, Candidate
from optimizer.engine.cases import cases_under_doubt, cost_steps
from optimizer.engine.row_table import (
    STEEPEST_ROW,
    LinearPart,
    RowTable,
    Slopes,
    cut,
    forward_slopes,
    slope_steps,
)
from optimizer.engine.search_state import Found
from optimizer.formulation import Case
from optimizer.job import Limit
from optimizer.problem import Problem, limit_rows
from optimizer.property_model.predict import PREDICTORS, Cast, cast_of
from optimizer.property_model.samples import Samples

__all__ = ["ChanceQuestion", "ChanceTable", "rows_near"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Mask = NDArray[np.bool_]

_NORMAL = 1.702
"""Scale at which the logistic distribution is nearest to the normal one (within 0.0095, Camilli 1994, from
memory) [-]."""

_FINEST = 0.005
"""Smoothing of rows for rounding, which looks near one mix only [row units]."""

_SPARE = 0.004
"""Chance asked for beyond the stated one, for what the last smoothing hides [-]."""

_NO_WORSE = 9.0


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

    A task is one choice of doses of one question. `frozen` gives tasks of their own to some mixes, with the
    departures of their draws.
    """

    def __init__(self, questions: Sequence[ChanceQuestion]) -> None:
        held = [each.problem.with_limits(_held(each)) for each in questions]
        super().__init__(held, cases_under_doubt)
        self.questions = tuple(questions)
        kinds = dict.fromkeys((x.property, x.sense) for each in questions for x in each.judged)
        self.judged = {kind: np.array([_bound(each.judged, kind) for each in questions]) for kind in kinds}
        self.steps = cost_steps(self.problem) if self._priced() else ()
        self.goal = np.log(np.array([min(q.chance + _SPARE, 0.5 * (1.0 + q.chance)) for q in questions]))
        self.sure = False
        self.samples = self.problem.samples.search
        self.width = _FINEST
        self.departures = np.zeros((0, 0, 0))
        self.origin = self.to_value = self.to_chance = np.zeros((0, self.count + 1))
        self.members = self._members()

    def _priced(self) -> bool:
        return self.money or any(name == "cost" for name, _ in self.judged)

    def _members(self) -> list[slice]:
        """Return which event rows make up the joint chance, and each step of the cost."""
        out, first = [], 0
        for limits in ([*self.judged], *([(s.limit.property, s.limit.sense)] for s in self.steps)):
            rows = sum(2 if kind == ("demold_time", "<=") else 1 for kind in limits)
            out.append(slice(first, first + rows))
            first += rows
        return out

    def event_rows(self, cast: Cast, task: Index) -> Array:
        """Return the rows of all limits and steps that have a chance, shape (..., mixes, rows)."""
        rows: list[Array] = []
        steps = [limit_rows(step.limit, cast) for step in self.steps]
        for (name, sense), bounds in self.judged.items():
            asked = bounds[self.variant[task]]
            if name == "cost":
                rows.append((1.0 if sense == "<=" else -1.0) * self._cost_rows(cast, task, asked, steps))
            else:
                rows.extend(limit_rows(Limit(name, sense, float(asked[0])), cast, asked))
        for each in steps:
            rows.extend(each)
        shape = np.broadcast_shapes(*(row.shape for row in rows)) if rows else cast.mixes.shape[:-1]
        stacked = [np.broadcast_to(row, shape) for row in rows]
        return np.minimum(np.stack(stacked, axis=-1), _NO_WORSE) if rows else np.zeros((*shape, 0))

    def _cost_rows(self, cast: Cast, task: Index, asked: Array, steps: Sequence[tuple[Array, ...]]) -> Array:
        """Return how far the cost lies below its bound, every step paid whole where it is not met [-]."""
        money = (cast.mixes * self.prices[self.variant[task]]).sum(axis=-1)
        cost = self.fixed[task] + self.per_money[task] * money
        if np.any(self.per_day[task] > 0.0):
            cost = cost + self.per_day[task] * PREDICTORS["drying_time"](cast)
        for step, rows in zip(self.steps, steps, strict=True):
            cost = cost + step.money * (np.min(np.broadcast_arrays(*rows), axis=0) < 0.0)
        bound = np.where(np.isfinite(asked), asked, 1.0)
        return np.where(np.isfinite(asked), (bound - cost) / np.maximum(bound, 1e-9), _NO_WORSE)

    def frozen(self, task: Index, mixes: Array, width: float, free: Mask | None = None) -> ChanceTable:
        """Return the table with one task for each mix, its departures those of the draws there.

        Parameters
        ----------
        task, mixes
            Shapes (mixes,) and (mixes, n + 1) [kg/L].
        width
            Smoothing of the rows [row units].
        free
            What may change in each mix, shape (mixes, n + 1): departures change with it, and near the mix
            objective and chance are then right to first order.
        """
        out = copy.copy(self)
        for name in ("variant", "matrix", "lower", "upper", "fixed", "per_money", "per_day"):
            setattr(out, name, getattr(self, name)[task])
        out.cases = tuple(self.cases[t] for t in task)
        out.bounds = {kind: bounds[task] for kind, bounds in self.bounds.items()}
        out.width = width
        own = np.arange(task.size)
        drawn, plain = self.drawn(mixes), cast_of(self.problem.model, self.problem.conditions, mixes)
        with np.errstate(all="ignore"):
            moved, best = out.event_rows(drawn, own), out.event_rows(plain, own)
            out.departures = np.nan_to_num(moved - best).transpose(1, 0, 2)
            if self.money and np.any(out.per_day > 0.0):
                days = np.broadcast_to(PREDICTORS["drying_time"](drawn), moved.shape[:2]).mean(axis=0)
                out.per_day = out.per_day * days / PREDICTORS["drying_time"](plain)
        out.origin, out.to_value, out.to_chance = mixes, np.zeros_like(mixes), np.zeros_like(mixes)
        if free is not None:
            out.to_value, out.to_chance = self._lacking(out, task, mixes, free)
        return out

    def _lacking(self, frozen: ChanceTable, task: Index, mixes: Array, free: Mask) -> tuple[Array, Array]:
        """Return what slopes of objective and chance lack as long as departures stand still."""
        walk, place = np.nonzero(free)
        moved, each = mixes[walk], (np.arange(walk.size), place)
        steps = slope_steps(moved[each])
        moved[each] += steps
        every, own = np.concatenate([mixes, moved]), np.concatenate([np.arange(task.size), walk])
        out = np.zeros((2, *mixes.shape))
        with np.errstate(all="ignore"):
            true, still = self._drawn_rows(every, task[own], frozen.width), frozen.rows(every, own)
        for slopes, drawn, stands in zip(out, true, (still[0], still[1][:, -1]), strict=True):
            apart = drawn - stands
            slopes[walk, place] = cut((apart[task.size :] - apart[walk]) / steps, STEEPEST_ROW)
        return out[0], np.zeros_like(mixes) if self.sure else out[1]

    def _drawn_rows(self, mixes: Array, task: Index, width: float) -> tuple[Array, Array]:
        """Return expected objective and the chance's row, every mix in its own draws."""
        there = self.frozen(task, mixes, width)
        value, rows = ChanceTable.rows(there, mixes, np.arange(len(mixes), dtype=np.intp))
        return value, rows[:, -1]

    def drawn(self, mixes: Array) -> Cast:
        """Return mixes cast in the draws of solvers."""
        return self.samples.cast(self.problem.conditions, mixes)

    def with_samples(self, samples: Samples) -> ChanceTable:
        """Return the table with other draws."""
        out = copy.copy(self)
        out.samples = samples
        return out

    def _raw(self, mixes: Array, task: Index) -> tuple[Array, Array]:
        cast = cast_of(self.problem.model, self.problem.conditions, mixes)
        value, rows = self.rows_of_cast(cast, task)
        return value, np.concatenate([rows, self.event_rows(cast, task)], axis=1)

    def rows(self, mixes: Array, task: Index) -> tuple[Array, Array]:
        """Return the expected objective and the rows, the joint chance as the last of them."""
        value, rows = self._raw(mixes, task)
        zero = np.zeros((*rows.shape, 0)), np.zeros((*value.shape, 0))
        known = self._expected(Slopes(value, zero[1], rows, zero[0]), mixes, task)
        return known.value, known.rows

    def look(self, mixes: Array, columns: Index, task: Index) -> Slopes:
        """Return expected objective and rows with their slopes; those of the chance follow from the rows'."""
        known = self._expected(forward_slopes(self._raw, mixes, columns, task), mixes, task)
        own = task[:, None], columns
        known.gradient[...] += self.to_value[own]
        if not self.sure:
            known.jacobian[:, -1] += self.to_chance[own]
        return known

    def _expected(self, raw: Slopes, mixes: Array, task: Index) -> Slopes:
        away = mixes - self.origin[task]
        more, surer = ((each[task] * away).sum(axis=1) for each in (self.to_value, self.to_chance))
        events = self.departures.shape[2]
        held = raw.rows.shape[1] - events
        log_chance, chance, rises = self._chances(raw.rows[:, held:], task)
        slopes = raw.jacobian[:, held:]
        ln_chance_slopes = np.einsum("we,wem->wm", rises[0], slopes)
        if self.sure:
            return Slopes(more - log_chance, -ln_chance_slopes, raw.rows[:, :held], raw.jacobian[:, :held])
        value, gradient = raw.value + more, raw.gradient
        for step, share, rise in zip(self.steps, chance[1:], rises[1:], strict=True):
            value = value + step.money * (1.0 - share)
            gradient = gradient - step.money * np.einsum("we,wem->wm", rise, slopes)
        missed = np.minimum(log_chance + surer - self.goal[self.variant[task]], _NO_WORSE)
        return Slopes(
            value,
            gradient,
            np.concatenate([raw.rows[:, :held], missed[:, None]], axis=1),
            np.concatenate([raw.jacobian[:, :held], ln_chance_slopes[:, None]], axis=1),
        )

    def _chances(self, rows: Array, task: Index) -> tuple[Array, list[Array], list[Array]]:
        """Return ln F, the chance of each event, and their slopes over the event rows.

        The slope of the first is that of its logarithm.
        """
        scaled = (rows[:, None, :] + self.departures[task]) * (_NORMAL / self.width)
        log_each = np.minimum(scaled, 0.0) - np.log1p(np.exp(-np.abs(scaled)))
        steep = (_NORMAL / self.width) * np.exp(log_each - scaled)
        out: list[Array] = []
        rises: list[Array] = []
        log_chance = np.zeros(len(rows))
        for k, members in enumerate(self.members):
            log_all = log_each[:, :, members].sum(axis=2)
            top = log_all.max(axis=1, keepdims=True)
            weight = np.exp(log_all - top)
            mean = weight.mean(axis=1)
            rise = np.zeros_like(rows)
            rise[:, members] = np.einsum("ws,wse->we", weight, steep[:, :, members]) / len(weight[0])
            if k == 0:
                log_chance = np.log(mean) + top[:, 0]
                rises.append(rise / mean[:, None])
            else:
                rises.append(rise * np.exp(top))
            out.append(mean * np.exp(top[:, 0]))
        return log_chance, out, rises

    def smooth_chance(self, mixes: Array, task: Index, width: float) -> Array:
        """Return the joint chance of mixes, rows of every draw smoothed by `width`, shape (mixes,) [-]."""
        rows = self.event_rows(self.drawn(mixes), task)[:, :, self.members[0]] * (_NORMAL / width)
        each = np.minimum(rows, 0.0) - np.log1p(np.exp(-np.abs(rows)))
        return np.asarray(np.exp(each.sum(axis=2)).mean(axis=0))

    def renewed(self, task: Index, mixes: Array, width: float) -> tuple[Array, Array]:
        """Return expected objective and violation of all rows, with departures of each mix's own.

        A material used at less than its least share breaks a row, too.
        """
        there = self.frozen(task, mixes, width)
        with np.errstate(all="ignore"):
            value, rows = ChanceTable.rows(there, mixes, np.arange(task.size, dtype=np.intp))
        straight = LinearPart(self.matrix[task], self.lower[task], self.upper[task]).missed(mixes)
        powder = (mixes @ self.powder)[:, None]
        scant = np.where(mixes[:, :-1] > TRACE, self.least * powder - mixes[:, :-1], 0.0).max(axis=1)
        missed = np.maximum(np.maximum(-np.nan_to_num(rows, nan=-_NO_WORSE).min(axis=1), straight), scant)
        return value, np.maximum(missed, 0.0)

    def judged_at(self, task: Index, mixes: Array) -> tuple[Array, Array, Array]:
        """Return expected objective, violation of held rows, and joint chance of mixes, in whole draws.

        The rows of mixing and of the shelf are among those held.
        """
        there = self.frozen(task, mixes, self.width)
        own = np.arange(task.size)
        value, raw = there._raw(mixes, own)
        held = raw.shape[1] - there.departures.shape[2]
        met = raw[:, None, held:] + there.departures >= -1e-9
        chance = [met[:, :, members].all(axis=2).mean(axis=1) for members in self.members]
        for step, share in zip(self.steps, chance[1:], strict=True):
            value = value + step.money * (1.0 - share)
        straight = LinearPart(self.matrix[task], self.lower[task], self.upper[task]).missed(mixes)
        return value, np.maximum(np.maximum(-raw[:, :held].min(axis=1), straight), 0.0), chance[0]


def _held(question: ChanceQuestion) -> tuple[Limit, ...]:
    return tuple(limit for limit in question.problem.job.limits if limit not in question.judged)


def _bound(limits: Iterable[Limit], kind: tuple[str, str]) -> float:
    way = 1.0 if kind[1] == "<=" else -1.0
    bounds = [way * x.bound for x in limits if (x.property, x.sense) == kind]
    return way * min(bounds, default=np.inf)


class _DrawnTable(ChanceTable):
    """The same rows, with departures of its own for every mix valued: slower, and right at any distance."""

    def rows(self, mixes: Array, task: Index) -> tuple[Array, Array]:
        """Return what `ChanceTable.rows` does."""
        there = self.frozen(task, mixes, self.width)
        return ChanceTable.rows(there, mixes, np.arange(len(mixes), dtype=np.intp))


def rows_near(question: ChanceQuestion, mix: Array, *, drawn: bool = False) -> RowTable:
    """Return the rows of a question under doubt for mixes near one, as task 0: for rounding to a scale.

    Parameters
    ----------
    question
        Its chance is the last row.
    mix
        Shape (n + 1,) [kg/L], of the first choice of doses that it fits.
    drawn
        True looks at the draws of every mix valued, not of this one alone: where no blend is sure enough,
        the rows alone decide, and small errors of theirs lead far.
    """
    table = (_DrawnTable if drawn else ChanceTable)([question])
    task = next((t for t, case in enumerate(table.cases) if _fits(table, case, mix)), 0)
    return table.frozen(np.array([task], np.intp), mix[None, :], _FINEST)


def _fits(table: RowTable, case: Case, mix: Array) -> bool:
    return all((dose > 0.0) == (mix[k] > TRACE) for k, dose in case.doses.items())
