"""The cheapest blend to be expected whose limits all hold together with a stated chance.

Minimize the expected cost of a good vessel subject to ``P(all limits hold) >= p`` (joint chance constraint,
Miller and Wagner 1965, from memory), with the rows of `optimizer.engine.chance_rows`. Their departures are
renewed where the walks end, and their smoothing shrinks.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.candidate import TRACE, Candidate
from optimizer.engine.chance_rows import ChanceQuestion, ChanceTable
from optimizer.engine.grid_search import GridSearch, with_doses
from optimizer.engine.lockstep import Pace, Walks, walk
from optimizer.engine.search_state import Found, Question
from optimizer.engine.supports import References, exchanged_sets, packed, reduced_costs, screened
from optimizer.engine.swap_search import best_mixes
from optimizer.job import Limit
from optimizer.problem import Problem
from optimizer.property_model.predict import PREDICTORS, Cast, cast_of
from optimizer.property_model.samples import points_of

__all__ = ["HOLDS", "ChanceBlend", "chance_blends", "surest_blends"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Mask = NDArray[np.bool_]
Support = tuple[int, ...]

_WIDTHS = (0.04, 0.02, 0.005)
"""Smoothing h of the rows' departures, turn by turn [row units]."""

_FIRST, _TURN = (
    Pace(steps=10, ring=3, curved=True, slack=0.01),
    Pace(steps=8, ring=4, curved=True, slack=0.01),
)
_STARTS, _LEADERS, _EXCHANGES, _PAIRS, _KEPT = 12, 4, 5, 3, 7
"""Blends that a question starts from, those whose materials are exchanged, exchanges walked of each,
materials that come in two at a time, and ends walked on [count]: with 18, 5, 6, 3 and 12 sixty made-up jobs
took an eighth longer, four came out better and four worse."""

_GRID, _LOOKED, _NEARLY = 1000, 2, 0.15
"""Blends looked over, those taken of each valley, and what the chance of the cheapest may miss [-]."""

_LAST, _ON, _STILL = 4, 4, 1e-3
"""Blends of each question walked on at the last smoothing, most turns, and the gain that is none [-]."""

_NEAR = 0.15
"""Violation of a nominal end up to which it is a start [-]."""

_TIGHTENED = (0.5, 0.8)
"""Shares of the draws within which each limit is held on its own, to find materials that are sure enough."""

_WAYS = (0.6, 0.3, 0.1, 0.0)
"""Shares of the way from start to end of a walk that are looked at again [-]."""

_SHORT = 0.004
"""Chance that counted draws may miss of what was asked where no end reaches it, two of 512 [-]."""

_MOST_SOLIDS = 6
HOLDS = 2e-3
"""Violation of a row that is left to the last turn's smoothing [-]."""


@dataclass(frozen=True)
class ChanceBlend:
    """A blend with its chance and cost in the solver's draws.

    Attributes
    ----------
    candidate : Candidate
        The mix; its value is the expected objective, its violation that of the rows held at best values.
    chance : float
        Share of the draws in which all judged limits hold [-].
    near : tuple[Candidate, ...]
        Blends of other materials that the search ended with, best first.
    unsure : tuple[Candidate, ...]
        Blends of other materials that do not reach the chance, surest first.
    """

    candidate: Candidate
    chance: float
    near: tuple[Candidate, ...] = ()
    unsure: tuple[Candidate, ...] = ()

    def reaches(self, chance: float) -> bool:
        """Return whether it is as sure as was asked, as far as so few draws tell."""
        return self.chance >= chance - _SHORT


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
        holds = self.violation <= HOLDS
        return not holds, self.value if holds else self.violation


def chance_blends(
    questions: Sequence[ChanceQuestion], *, whole: bool = True, or_surest: bool = False
) -> list[ChanceBlend | None]:
    """Return the best blend of each question whose judged limits hold together with the chance asked for.

    Parameters
    ----------
    questions
        Of the same materials, model, conditions and objective; they are searched together.
    whole
        False judges by the smooth chance and cost: small changes of a question then show as small changes
        of the answer, which counting whole draws would hide.
    or_surest
        True answers with the surest blend met where none reaches the chance; its own chance tells.

    Returns
    -------
    list[ChanceBlend | None]
        None where no blend was found that reaches the chance.
    """
    if not questions:
        return []
    search = _Search(questions, sure=False, whole=whole)
    answers = search.run()
    missing = [k for k, answer in enumerate(answers) if answer is None] if or_surest else []
    for k, answer in search.surest(missing).items():
        answers[k] = answer
    return answers


def surest_blends(questions: Sequence[ChanceQuestion]) -> list[ChanceBlend | None]:
    """Return the blend of each question whose judged limits hold together most surely, whatever it costs."""
    return _Search(questions, sure=True, whole=True).run() if questions else []


class _Search:
    """Scratch of one call: walks from blends that are best at best values and with tightened limits."""

    def __init__(self, questions: Sequence[ChanceQuestion], *, sure: bool, whole: bool) -> None:
        self.questions, self.sure, self.whole = questions, sure, whole
        self.table = ChanceTable(questions)
        self.table.sure = sure
        table = self.table
        self.allowed = np.zeros((len(questions), table.count + 1), bool)
        for k, question in enumerate(questions):
            chosen = table.solids if question.only is None else np.array(question.only, np.intp)
            self.allowed[k, np.intersect1d(chosen, table.solids)] = True
        most = table.problem.job.at_most_materials or _MOST_SOLIDS
        self.most = min(most, _MOST_SOLIDS, table.solids.size)
        self.ended: list[_Ended] = []

    def run(self) -> list[ChanceBlend | None]:
        """Walk, exchange materials, and renew the departures in turns."""
        fresh = [k for k, question in enumerate(self.questions) if not question.near]
        ended = self._first_walks(fresh) if fresh else []
        for k, question in enumerate(self.questions):
            ended += self._spread(k, question.near)
        # a walk may leave a blend that was good enough: where whole draws judge, every turn's ends stand
        met = list(ended) if self.whole else []
        for width in _WIDTHS[2:] if fresh else _WIDTHS[1:]:
            ended = self._walked(self._best(ended, _KEPT), _TURN, width)
            met += ended if self.whole else []
        further = self._walked_on(ended)
        self.ended = [*ended, *further]
        return self._answers([*met, *further] if self.whole else self.ended)

    def _first_walks(self, fresh: Sequence[int]) -> list[_Ended]:
        """Return where walks in few draws lead that start from all over, materials exchanged on the way."""
        last, self.table = self.table, self.table.with_samples(self.table.problem.samples.early)
        ended = self._walked([each for k in fresh for each in self._starts(k)], _FIRST, _WIDTHS[0])
        for width in _WIDTHS[:2]:
            ended = self._walked(self._best(ended, _KEPT), _TURN, width)
            ended += self._exchanged(self._best(ended, _LEADERS), width)
        self.table = last
        return ended

    def _walked_on(self, ended: Sequence[_Ended]) -> list[_Ended]:
        """Return where the best few lead until they stand: the last smoothing leaves narrow ways open."""
        out: list[_Ended] = []
        best = self._best(ended, _LAST)
        for _ in range(_ON):
            ahead = self._walked(best, _TURN, _WIDTHS[-1])
            out += ahead
            best = [new for new, old in zip(ahead, best, strict=True) if _gains(new, old)]
        return out

    def surest(self, places: Sequence[int]) -> dict[int, ChanceBlend | None]:
        """Return the surest blends that walks lead to from where those of some questions ended."""
        if not places:
            return {}
        self.sure = self.table.sure = self.whole = True
        ended = [each for each in self.ended if self.table.variant[each.task] in places]
        for width in _WIDTHS[1:]:
            ended = self._walked(self._best(ended, _KEPT), _TURN, width)
        answers = self._answers(ended)
        return {k: answers[k] for k in places}

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
        return [*self._spread(k, blends), *self._spread(k, self._looked_over(k))]

    def _looked_over(self, k: int) -> list[Candidate]:
        """Return the surest blends of a coarse grid, and the cheapest that are nearly sure enough.

        Blends that are best at best values may all lie in one valley while the sure ones lie in another.
        """
        seen = [each for t in np.flatnonzero(self.table.variant == k) for each in self._grid(k, int(t))]
        enough = self.questions[k].chance - _NEARLY
        out: list[Candidate] = []
        for basin in range(3):
            own = [each for each in seen if self.table.basin(each.candidate.mix[None, :])[0] == basin]
            cheapest = sorted(own, key=lambda each: (each.chance < enough, each.candidate.value))
            surest = sorted(own, key=lambda each: (-each.chance, each.candidate.value))
            out += [each.candidate for each in (*cheapest[:_LOOKED], *surest[:_LOOKED])]
        return out

    def _grid(self, k: int, task: int) -> list[ChanceBlend]:
        """Return a thinned grid of the materials allowed with a task's doses, as few draws see it."""
        problem, case = self.table.problem, self.table.cases[task]
        barred = [j for j in self.table.solids if not self.allowed[k, j]]
        grid = GridSearch(problem).grid
        grid = grid[~(grid[:, barred] > 0.0).any(axis=1)]
        if not len(grid):
            return []
        mixes = with_doses(problem, case, grid[:: max(1, len(grid) // _GRID)])
        with np.errstate(all="ignore"):
            seen = self.table.with_samples(problem.samples.first_look).judged_at(
                np.full(len(mixes), task, np.intp), mixes
            )
        return [
            ChanceBlend(Candidate(case, mix, float(value), float(broken)), float(chance))
            for mix, value, broken, chance in zip(mixes, *seen, strict=True)
            if broken <= _NEAR and np.isfinite(value)
        ]

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
        drawn = self.table.drawn(mix)
        plain = cast_of(question.problem.model, question.problem.conditions, mix)
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
        columns, used = packed(self.table, [each.support for each in starts], self.most)
        own, free = np.arange(task.size), np.zeros(mixes.shape, bool)
        free[own[:, None], columns] = used
        table = self.table.frozen(task, mixes, width, free)
        ends = walk(table, Walks(own, columns, used, mixes), pace)
        return self._renewed(starts, mixes, ends.mixes, width)

    def _renewed(self, starts: Sequence[_Ended], before: Array, after: Array, width: float) -> list[_Ended]:
        """Return the end of each walk as the draws there see it, or a mix on its way where it falls short.

        A walk relies on the departures of its start; where they change on the way it may end too far.
        """
        out = self._seen(starts, after, width)
        short = [i for i, each in enumerate(out) if each.violation > HOLDS]
        if not short:
            return out
        own = [starts[i] for i in short]
        ways = [self._seen(own, before[short] + x * (after - before)[short], width) for x in _WAYS]
        for i, *met in zip(short, *ways, strict=True):
            out[i] = min((out[i], *met), key=_Ended.rank)
        return out

    def _seen(self, starts: Sequence[_Ended], mixes: Array, width: float) -> list[_Ended]:
        """Return mixes of the same tasks and materials as some starts, valued in their own draws."""
        task = np.array([each.task for each in starts], np.intp)
        value, violation = self.table.renewed(task, mixes, width)
        rows = zip(starts, mixes, value, violation, strict=True)
        return [_Ended(each.task, each.support, mix, float(v), float(w)) for each, mix, v, w in rows]

    def _best(self, ended: Sequence[_Ended], most: int) -> list[_Ended]:
        """Return the best ends of each question, of different solids or doses, some of every valley."""
        out: list[_Ended] = []
        for k in range(len(self.questions)):
            own = sorted((e for e in ended if self.table.variant[e.task] == k), key=_Ended.rank)
            out += [own[i] for i in self._distinct(own)[:most]]
        return out

    def _distinct(self, ended: Sequence[_Ended]) -> list[int]:
        """Return the place of the first end of each set of materials, doses and coats."""
        if not ended:
            return []
        mixes = np.array([each.mix for each in ended])
        cast = cast_of(self.table.problem.model, self.table.problem.conditions, mixes)
        coats = np.broadcast_to(PREDICTORS["sealer_coats"](cast), len(ended))
        keys = [(each.task, each.support, count) for each, count in zip(ended, coats.tolist(), strict=True)]
        return [i for i, key in enumerate(keys) if key not in keys[:i]]

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
        """Return the best end of each question, as whole draws or as the smooth chance judge it."""
        if not ended:
            return [None] * len(self.questions)
        task = np.array([each.task for each in ended], np.intp)
        mixes = np.array([each.mix for each in ended])
        mixes[mixes <= TRACE] = 0.0
        value, broken, chance = self.table.judged_at(task, mixes)
        missed = np.array([each.violation for each in ended])
        if not self.whole:
            value, broken = np.array([each.value for each in ended]), missed
        blends = [
            ChanceBlend(Candidate(self.table.cases[t], mix, float(v), float(b)), float(c))
            for t, mix, v, b, c in zip(task, mixes, value, broken, chance, strict=True)
        ]
        held = broken <= HOLDS
        out: list[ChanceBlend | None] = []
        for k, question in enumerate(self.questions):
            own = (self.table.variant[task] == k) & held
            enough = chance >= question.chance
            if not np.any(own & enough):
                enough = chance >= question.chance - _SHORT
            reached = np.full(len(ended), self.sure) | (enough if self.whole else missed <= HOLDS)
            order, unsure = (
                [int(places[i]) for i in self._distinct([ended[j] for j in places])]
                for places in (
                    _ranked(own & reached, -chance if self.sure else value),
                    _ranked(own & ~reached, -chance),
                )
            )
            near, others = (tuple(blends[i].candidate for i in each) for each in (order[1:], unsure))
            out.append(replace(blends[order[0]], near=near, unsure=others) if order else None)
        return out


def _ranked(which: Mask, rank: Array) -> Index:
    """Return the places where `which` is true, the lowest rank first."""
    places = np.flatnonzero(which)
    return places[np.argsort(rank[places], kind="stable")]


def _gains(new: _Ended, old: _Ended) -> bool:
    return new.rank() < (old.violation > HOLDS, old.value - _STILL * abs(old.value))


def _moved(limit: Limit, drawn: Cast, plain: Cast, share: float) -> Limit:
    """Return a limit so tight that a mix just meeting it meets the limit itself in a share of the draws."""
    if limit.property == "cost":
        return limit  # what steps cost on average is known of no mix before it is walked
    now = float(np.ravel(PREDICTORS[limit.property](plain))[0])
    below = limit.sense == "<="
    there = float(points_of(PREDICTORS[limit.property](drawn), share if below else 1.0 - share))
    if not np.isfinite(now) or not np.isfinite(there):
        return limit
    return replace(limit, bound=limit.bound - (there - now))
