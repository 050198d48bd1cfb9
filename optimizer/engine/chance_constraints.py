"""The cheapest blend to be expected whose limits all hold together with a stated chance.

Minimize the expected cost of a good vessel subject to ``P(all limits hold) >= p`` (joint chance constraint,
Miller and Wagner 1965, from memory). At a mix the rows of every limit are looked at in common draws of all
that is not known, and their departures from the rows at best values are kept. With these frozen,

    F(r) = mean over draws of the product over rows of K((r + D) / h)

is a smooth function of the rows at best values alone; ``ln F >= ln p`` is one curved row whose slopes are
those of the rows, and every step of the cost (a coat, a turn less, a postage band) is paid with its own
chance of that form. K is the logistic distribution: its tails keep slopes where no draw holds. Departures
are renewed where the walks end, and h shrinks.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.chain.predict import PREDICTORS, Cast, cast_of
from optimizer.engine.candidate import TRACE, Candidate
from optimizer.engine.cases import cases_under_doubt, cost_steps
from optimizer.engine.lockstep import Ends, Pace, Walks, walk
from optimizer.engine.row_table import RowTable, Slopes, forward_slopes
from optimizer.engine.supports import References, exchanged_sets, packed, reduced_costs, screened
from optimizer.engine.swap_search import Found, Question, best_mixes
from optimizer.limit_rows import limit_rows
from optimizer.problem import Problem
from optimizer.shop import Limit

__all__ = ["ChanceBlend", "ChanceQuestion", "chance_blends", "surest_blends"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Support = tuple[int, ...]

_NORMAL = 1.702
"""Scale at which the logistic distribution is nearest to the normal one (within 0.0095, Camilli 1994, from
memory) [-]."""

_WIDTHS = (0.04, 0.02, 0.01, 0.005)
"""Smoothing h of the rows' departures, turn by turn [row units]."""

_FIRST, _TURN = (
    Pace(steps=10, ring=3, curved=True, slack=0.01),
    Pace(steps=8, ring=4, curved=True, slack=0.01),
)
_STARTS, _LEADERS, _EXCHANGES, _PAIRS, _KEPT = 18, 5, 6, 3, 12
_NEAR = 0.15
"""Violation of a nominal end up to which it is a start [-]."""

_TIGHTENED = (0.5, 0.8)
"""Shares of the draws within which each limit is held on its own, to find materials that are sure enough."""

_MOST_SOLIDS = 6
_SPARE = 0.004
"""Chance asked for beyond the stated one, for what the last smoothing hides [-]."""

_HOLDS = 2e-3
"""Violation of a row that is left to the last turn's smoothing [-]."""

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
    """

    problem: Problem
    judged: tuple[Limit, ...]
    chance: float
    nominal: Found | None = None
    only: tuple[int, ...] | None = None


@dataclass(frozen=True)
class ChanceBlend:
    """A blend with its chance and cost in the solver's draws.

    Attributes
    ----------
    candidate : Candidate
        The mix; its value is the expected objective, its violation that of the rows held at best values.
    chance : float
        Share of the draws in which all judged limits hold [-].
    """

    candidate: Candidate
    chance: float


class _ChanceTable(RowTable):
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
        self.width = _WIDTHS[0]
        self.departures = np.zeros((0, 0, 0))
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

    def frozen(self, task: Index, mixes: Array, width: float) -> _ChanceTable:
        """Return the table with one task for each mix, its departures those of the draws there."""
        out = copy.copy(self)
        for name in ("variant", "matrix", "lower", "upper", "fixed", "per_money", "per_day"):
            setattr(out, name, getattr(self, name)[task])
        out.cases = tuple(self.cases[t] for t in task)
        out.bounds = {kind: bounds[task] for kind, bounds in self.bounds.items()}
        out.width = width
        own = np.arange(task.size)
        drawn, plain = self._drawn(mixes), cast_of(self.problem.model, self.problem.bench, mixes)
        with np.errstate(all="ignore"):
            moved, best = out.event_rows(drawn, own), out.event_rows(plain, own)
            out.departures = np.nan_to_num(moved - best).transpose(1, 0, 2)
            if self.money and np.any(out.per_day > 0.0):
                days = np.broadcast_to(PREDICTORS["drying_time"](drawn), moved.shape[:2]).mean(axis=0)
                out.per_day = out.per_day * days / PREDICTORS["drying_time"](plain)
        return out

    def _drawn(self, mixes: Array) -> Cast:
        return self.problem.samples.search.cast(self.problem.bench, mixes)

    def _raw(self, mixes: Array, task: Index) -> tuple[Array, Array]:
        cast = cast_of(self.problem.model, self.problem.bench, mixes)
        value, rows = self.rows_of_cast(cast, task)
        return value, np.concatenate([rows, self.event_rows(cast, task)], axis=1)

    def rows(self, mixes: Array, task: Index) -> tuple[Array, Array]:
        """Return the expected objective and the rows, the joint chance as the last of them."""
        value, rows = self._raw(mixes, task)
        zero = np.zeros((*rows.shape, 0)), np.zeros((*value.shape, 0))
        known = self._expected(Slopes(value, zero[1], rows, zero[0]), task)
        return known.value, known.rows

    def look(self, mixes: Array, columns: Index, task: Index) -> Slopes:
        """Return expected objective and rows with their slopes; those of the chance follow from the rows'."""
        return self._expected(forward_slopes(self._raw, mixes, columns, task), task)

    def _expected(self, raw: Slopes, task: Index) -> Slopes:
        events = self.departures.shape[2]
        held = raw.rows.shape[1] - events
        log_chance, chance, rises = self._chances(raw.rows[:, held:], task)
        slopes = raw.jacobian[:, held:]
        ln_chance_slopes = np.einsum("we,wem->wm", rises[0], slopes)
        if self.sure:
            return Slopes(-log_chance, -ln_chance_slopes, raw.rows[:, :held], raw.jacobian[:, :held])
        value, gradient = raw.value, raw.gradient
        for step, share, rise in zip(self.steps, chance[1:], rises[1:], strict=True):
            value = value + step.money * (1.0 - share)
            gradient = gradient - step.money * np.einsum("we,wem->wm", rise, slopes)
        missed = np.minimum(log_chance - self.goal[self.variant[task]], _NO_WORSE)
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

    def judged_at(self, task: Index, mixes: Array) -> tuple[Array, Array, Array]:
        """Return expected objective, violation of held rows, and joint chance of mixes, in whole draws."""
        there = self.frozen(task, mixes, self.width)
        own = np.arange(task.size)
        value, raw = there._raw(mixes, own)
        held = raw.shape[1] - there.departures.shape[2]
        met = raw[:, None, held:] + there.departures >= -1e-9
        chance = [met[:, :, members].all(axis=2).mean(axis=1) for members in self.members]
        for step, share in zip(self.steps, chance[1:], strict=True):
            value = value + step.money * (1.0 - share)
        return value, np.maximum(-raw[:, :held].min(axis=1), 0.0), chance[0]


def _held(question: ChanceQuestion) -> tuple[Limit, ...]:
    return tuple(limit for limit in question.problem.job.limits if limit not in question.judged)


def _bound(limits: Iterable[Limit], kind: tuple[str, str]) -> float:
    way = 1.0 if kind[1] == "<=" else -1.0
    bounds = [way * x.bound for x in limits if (x.property, x.sense) == kind]
    return way * min(bounds, default=np.inf)


@dataclass
class _Ended:
    """Where a walk under doubt ended: task, solids, mix, expected objective, violation."""

    task: int
    support: Support
    mix: Array
    value: float
    violation: float

    def rank(self) -> tuple[bool, float]:
        """Sort key: those that hold by value, the others by what they fall short."""
        holds = self.violation <= _HOLDS
        return not holds, self.value if holds else self.violation


def chance_blends(questions: Sequence[ChanceQuestion]) -> list[ChanceBlend | None]:
    """Return the best blend of each question whose judged limits hold together with the chance asked for.

    Parameters
    ----------
    questions
        Of the same materials, chain, bench and objective; they are searched together.

    Returns
    -------
    list[ChanceBlend | None]
        None where no blend was found that reaches the chance.
    """
    return _Search(questions, sure=False).run() if questions else []


def surest_blends(questions: Sequence[ChanceQuestion]) -> list[ChanceBlend | None]:
    """Return the blend of each question whose judged limits hold together most surely, whatever it costs."""
    return _Search(questions, sure=True).run() if questions else []


class _Search:
    """Scratch of one call: walks from blends that are best at best values and with tightened limits."""

    def __init__(self, questions: Sequence[ChanceQuestion], *, sure: bool) -> None:
        self.questions, self.sure = questions, sure
        self.table = _ChanceTable(questions)
        self.table.sure = sure
        table = self.table
        self.allowed = np.zeros((len(questions), table.count + 1), bool)
        for k, question in enumerate(questions):
            chosen = table.solids if question.only is None else np.array(question.only, np.intp)
            self.allowed[k, np.intersect1d(chosen, table.solids)] = True
        most = table.problem.job.at_most_materials or _MOST_SOLIDS
        self.most = min(most, _MOST_SOLIDS, table.solids.size)

    def run(self) -> list[ChanceBlend | None]:
        """Walk, exchange materials, and renew the departures in turns."""
        starts = [each for k in range(len(self.questions)) for each in self._starts(k)]
        ended = self._walked(starts, _FIRST, _WIDTHS[0])
        for width in _WIDTHS[:2]:
            ended = self._walked(self._best(ended, _KEPT), _TURN, width)
            ended += self._exchanged(self._best(ended, _LEADERS), width)
        for width in _WIDTHS[2:]:
            ended = self._walked(self._best(ended, _KEPT), _TURN, width)
        return self._answers(ended)

    def _starts(self, k: int) -> list[_Ended]:
        """Return blends to start a question from: the best of each choice of doses, coats and valley."""
        question = self.questions[k]
        nominal = question.nominal or best_mixes([Question(question.problem, question.only)])[0]
        asked = [Question(p, question.only, nominal.met[:4]) for p in self._tightened(question, nominal)]
        groups: dict[tuple[object, ...], list[Candidate]] = {}
        for turn, found in enumerate((*best_mixes(asked), nominal)):
            for blend in found.met:
                basin = int(self.table.basin(blend.mix[None, :])[0])
                group = (turn, blend.case.steps, basin)
                if blend.violation <= _NEAR and len(groups.setdefault(group, [])) < 2:
                    groups[group].append(blend)
        blends = sorted((blend for group in groups.values() for blend in group), key=Candidate.rank)
        if not blends and nominal.best is not None:
            blends = [nominal.best]
        return self._spread(k, blends)

    def _spread(self, k: int, blends: Iterable[Candidate]) -> list[_Ended]:
        """Return starts of different solids and valleys, in the order given."""
        tasks = {
            tuple(sorted(case.doses.items())): t
            for t, case in enumerate(self.table.cases)
            if self.table.variant[t] == k
        }
        out: dict[tuple[object, ...], _Ended] = {}
        for blend in blends:
            task = tasks[tuple(sorted(blend.case.doses.items()))]
            own = tuple(j for j in blend.support if j in self.table.solids)[: self.most]
            key = (task, own, blend.case.coats)
            out.setdefault(key, _Ended(task, own, blend.mix, blend.value, blend.violation))
        return list(out.values())[:_STARTS]

    def _tightened(self, question: ChanceQuestion, nominal: Found) -> list[Problem]:
        """Return the problem with each limit held in most draws of the best nominal blend."""
        if nominal.best is None:
            return []
        mix = nominal.best.mix[None, :]
        drawn = self.table._drawn(mix)
        plain = cast_of(question.problem.model, question.problem.bench, mix)
        out = []
        for share in _TIGHTENED:
            new = {limit: _moved(limit, drawn, plain, share) for limit in question.judged}
            limits = [new.get(limit, limit) for limit in question.problem.job.limits]
            out.append(question.problem.with_limits(limits))
        return out

    def _walked(self, starts: Sequence[_Ended], pace: Pace, width: float) -> list[_Ended]:
        """Walk from some blends, each with the departures of its own draws."""
        if not starts:
            return []
        task = np.array([each.task for each in starts], np.intp)
        mixes = np.array([each.mix for each in starts])
        table = self.table.frozen(task, mixes, width)
        columns, used = packed(table, [each.support for each in starts], self.most)
        own = np.arange(task.size)
        ends = walk(table, Walks(own, columns, used, mixes), pace)
        return [self._ended(each, ends, i) for i, each in enumerate(starts)]

    def _ended(self, start: _Ended, ends: Ends, i: int) -> _Ended:
        return _Ended(
            start.task, start.support, ends.mixes[i], float(ends.value[i]), float(ends.violation[i])
        )

    def _best(self, ended: Sequence[_Ended], most: int) -> list[_Ended]:
        """Return the best ends of each question, of different solids or doses, some of every valley."""
        out: list[_Ended] = []
        for k in range(len(self.questions)):
            own = sorted((e for e in ended if self.table.variant[e.task] == k), key=_Ended.rank)
            kept: dict[tuple[object, ...], _Ended] = {}
            for each in own:
                coats = self._coats(each.mix)
                kept.setdefault((each.task, each.support, coats), each)
            out += list(kept.values())[:most]
        return out

    def _coats(self, mix: Array) -> float:
        cast = cast_of(self.table.problem.model, self.table.problem.bench, mix[None, :])
        return float(np.ravel(PREDICTORS["sealer_coats"](cast))[0])

    def _exchanged(self, leaders: Sequence[_Ended], width: float) -> list[_Ended]:
        """Return where the best exchanges of materials in some blends lead."""
        if not leaders:
            return []
        task = np.array([each.task for each in leaders], np.intp)
        mixes = np.array([each.mix for each in leaders])
        table = self.table.frozen(task, mixes, width)
        refs = References.at(table, np.arange(task.size), mixes)
        reduced = reduced_costs(table, refs)
        sets: list[Support] = []
        ref: list[int] = []
        for j, each in enumerate(leaders):
            order = [int(k) for k in table.solids[np.argsort(reduced[j], kind="stable")]]
            allowed = self.allowed[self.table.variant[each.task]]
            order = [k for k in order if k not in each.support and allowed[k]]
            own = exchanged_sets(each.support, order, self.most, _PAIRS)
            new = [s for s in sorted(own) if table.binder[list(s)].any()]
            sets, ref = sets + new, ref + [j] * len(new)
        if not sets:
            return []
        which = np.array(ref, np.intp)
        score, starts = screened(table, refs, which, sets, self.most)
        chosen: list[_Ended] = []
        for j, each in enumerate(leaders):
            places = np.flatnonzero((which == j) & np.isfinite(score))
            lowest = places[np.argsort(score[places], kind="stable")][:_EXCHANGES]
            chosen += [_Ended(each.task, sets[i], starts[i], float(score[i]), 0.0) for i in lowest]
        return self._walked(chosen, _TURN, width)

    def _answers(self, ended: Sequence[_Ended]) -> list[ChanceBlend | None]:
        """Return the best end of each question as whole draws judge it."""
        out: list[ChanceBlend | None] = [None] * len(self.questions)
        if not ended:
            return out
        task = np.array([each.task for each in ended], np.intp)
        mixes = np.where(np.array([each.mix for each in ended]) > TRACE, [each.mix for each in ended], 0.0)
        value, broken, chance = self.table.judged_at(task, mixes)
        for k, question in enumerate(self.questions):
            held = (self.table.variant[task] == k) & (broken <= _HOLDS)
            linear = np.array([each.violation for each in ended]) <= _HOLDS
            reached = held & (chance >= question.chance) & (linear if not self.sure else True)
            key = -chance if self.sure else value
            places = np.flatnonzero(held if self.sure else reached)
            if places.size:
                i = int(places[np.argmin(key[places])])
                found = Candidate(self.table.cases[task[i]], mixes[i], float(value[i]), float(broken[i]))
                out[k] = ChanceBlend(found, float(chance[i]))
        return out


def _moved(limit: Limit, drawn: Cast, plain: Cast, share: float) -> Limit:
    """Return a limit so tight that a mix just meeting it meets the limit itself in a share of the draws."""
    if limit.property == "cost":
        return limit  # what steps cost on average is known of no mix before it is walked
    now = float(np.ravel(PREDICTORS[limit.property](plain))[0])
    below = limit.sense == "<="
    there = float(np.quantile(np.ravel(PREDICTORS[limit.property](drawn)), share if below else 1.0 - share))
    if not np.isfinite(now) or not np.isfinite(there):
        return limit
    return replace(limit, bound=limit.bound - (there - now))
