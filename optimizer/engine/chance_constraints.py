"""The cheapest blend to be expected whose limits all hold together with a stated chance.

Minimize the expected cost of a good vessel subject to ``P(all limits hold) >= p`` (joint chance constraint,
Miller and Wagner 1965, from memory), with the rows of `optimizer.engine.chance_rows`, whose smoothing shrinks
from turn to turn.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.candidate import TRACE, Candidate
from optimizer.engine.chance_rows import FAINT, FINEST, ChanceQuestion, ChanceTable
from optimizer.engine.grid_search import GridSearch, with_doses
from optimizer.engine.lockstep import Pace, Walks, walk
from optimizer.engine.search_state import Question
from optimizer.engine.supports import References, exchanged_sets, packed, reduced_costs, screened
from optimizer.engine.swap_search import best_mixes
from optimizer.property_model.predict import PREDICTORS, cast_of

__all__ = ["HOLDS", "ChanceBlend", "chance_blends", "surest_blends"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Mask = NDArray[np.bool_]
Support = tuple[int, ...]

_WIDE, _NARROW = 0.02, 0.01
"""Smoothing of the rows, turn by turn [row units]: wide smoothing hides a chance that lies just beyond a step
of the cost, and 0.04 lost the demo's best blend."""

_FIRST, _TURN = (
    Pace(steps=10, ring=3, curved=True, slack=0.03),
    Pace(steps=8, ring=4, curved=True, slack=0.03),
)
_STARTS, _LEADERS, _EXCHANGES, _PAIRS, _KEPT = 12, 4, 6, 3, 6
"""Blends that a question starts from, those whose materials are exchanged, exchanges walked of each,
materials that come in two at a time, and ends walked on [count]: another round of exchanges, or seven ends,
took a tenth longer and changed the answers of 42 made-up jobs by less than 0.01 % on average."""

_GRID, _LEAST_GRID, _LOOKED = 1000, 200, 2
"""Blends looked over, the fewest per choice of doses, and those taken of each valley."""

_DOSED = 1
"""Blends of each question that are tried with all other doses [count]."""

_NEARLY = 0.15
"""What the chance, or its logarithm, of a blend that is nearly sure enough may miss [-]."""

_LAST, _ON, _STILL = 2, 4, 1e-3
"""Blends of each question walked on at the last smoothing, most turns, and the gain that is none [-]."""

_NEAR = 0.15
"""Violation of a nominal end up to which it is a start [-]."""

_SURCHARGE = 1.0
"""Share of its value put on an end for each unit that a row falls short by."""

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


@dataclass(eq=False)
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

    def score(self) -> float:
        """Value with what it falls short by as a surcharge."""
        short = self.violation if self.violation > HOLDS else 0.0
        return self.value + _SURCHARGE * short * max(abs(self.value), 1e-3)


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
    """Scratch of one call: walks from blends that are best at best values, and from a grid in a few draws."""

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
        """Walk, exchange materials, and walk on with more draws and less smoothing."""
        fresh = [k for k, question in enumerate(self.questions) if not question.near]
        ended = self._first_walks(fresh) if fresh else []
        near = [each for k, question in enumerate(self.questions) for each in self._spread(k, question.near)]
        ended += self._seen(near)
        if self.sure:
            self.ended = ended
            return list(self.surest(range(len(self.questions))).values())
        # a walk may leave a blend that was good enough: where whole draws judge, every turn's ends stand
        met = list(ended) if self.whole else []
        ended = self._walked(self._best(ended, _KEPT), _TURN, FINEST)
        self.ended = ended + self._walked_on(ended)
        return self._answers(met + self.ended)

    def _first_walks(self, fresh: Sequence[int]) -> list[_Ended]:
        """Return where walks in few draws lead that start from all over, materials exchanged on the way."""
        last, self.table = self.table, self.table.seen_by(self.table.problem.samples.early, FINEST)
        ended = self._walked([each for k in fresh for each in self._starts(k)], _FIRST, _WIDE)
        ended += self._exchanged(self._best(ended, _LEADERS), _NARROW)
        ended += self._walked(self._dosed_anew(self._best(ended, _DOSED)), _TURN, _NARROW)
        ended = self._walked(self._best(ended, _KEPT), _TURN, _NARROW)
        self.table = last
        return ended

    def _walked_on(self, ended: Sequence[_Ended]) -> list[_Ended]:
        """Return where the best few lead until they stand: the last smoothing leaves narrow ways open.

        It also leaves hollows, as deep as a few draws are, in which walks stop: more smoothing leads out of
        them.
        """
        best = self._best(ended, _LAST)
        best = [each for each in best if each.violation <= _NEARLY]
        best = self._walked(best, _TURN, _WIDE)
        out: list[_Ended] = []
        for _ in range(_ON):
            ahead = self._walked(best, _TURN, FINEST)
            out += ahead
            best = [new for new, old in zip(ahead, best, strict=True) if _gains(new, old)]
        return out

    def surest(self, places: Sequence[int]) -> dict[int, ChanceBlend | None]:
        """Return the surest blends that walks lead to from where those of some questions ended.

        With much smoothing and draws of their own: at the flat top of a chance a few draws decide.
        """
        if not places:
            return {}
        self.sure = self.table.sure = self.whole = True
        ended = [each for each in self.ended if self.table.variant[each.task] in places]
        ended = self._walked(self._best(ended, _KEPT), _TURN, _WIDE)
        fresh = [each for each in ended if not self.questions[self.table.variant[each.task]].near]
        ended += self._exchanged(self._best(fresh, 1), _WIDE)
        self.table = self.table.seen_by(self.table.problem.samples.surest, FINEST)
        answers = self._answers(self._walked(self._best(ended, _LAST), _TURN, _WIDE))
        return {k: answers[k] for k in places}

    def _starts(self, k: int) -> list[_Ended]:
        """Return blends to start a question from: the best of each choice of doses, coats and valley."""
        question = self.questions[k]
        nominal = question.nominal or best_mixes([Question(question.problem, question.only)])[0]
        groups: dict[tuple[object, ...], list[Candidate]] = {}
        for blend in nominal.met:
            group = (blend.case.steps, int(self.table.basin(blend.mix[None, :])[0]))
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
        task, mixes = self._grid(k)
        if not task.size:
            return []
        with np.errstate(all="ignore"):
            few = self.table.seen_by(self.table.problem.samples.first_look, FINEST)
            value, broken, chance = few.judged_at(task, mixes)
        basin, out = self.table.basin(mixes), list[int]()
        for valley in range(3):
            own = (basin == valley) & (broken <= _NEAR) & np.isfinite(value)
            unsure = chance < self.questions[k].chance - _NEARLY
            for rank in ((value, unsure), (value, -chance)):
                order = np.lexsort((*rank, ~own))
                out += order[own[order]][:_LOOKED].tolist()
        cases = [self.table.cases[task[i]] for i in out]
        return [
            Candidate(case, mixes[i], float(value[i]), float(broken[i]))
            for case, i in zip(cases, out, strict=True)
        ]

    def _grid(self, k: int) -> tuple[Index, Array]:
        """Return a thinned grid of the materials allowed with each choice of doses: tasks and mixes."""
        problem = self.table.problem
        barred = [j for j in self.table.solids if not self.allowed[k, j]]
        grid = GridSearch(problem).grid
        grid = grid[~(grid[:, barred] > 0.0).any(axis=1)]
        tasks = np.flatnonzero(self.table.variant == k)
        grid = grid[:: max(1, len(grid) // max(_GRID // len(tasks), _LEAST_GRID))]
        mixes = [with_doses(problem, self.table.cases[t], grid) for t in tasks]
        return np.repeat(tasks, len(grid)), np.concatenate(mixes)

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

    def _walked(self, starts: Sequence[_Ended], pace: Pace, width: float) -> list[_Ended]:
        """Return where walks from some blends end that see their rows smoothed by `width`."""
        if not starts:
            return []
        task = np.array([each.task for each in starts], np.intp)
        mixes = np.array([each.mix for each in starts])
        columns, used = packed(self.table, [each.support for each in starts], self.most)
        table = self.table.seen_by(self.table.samples, width)
        group = None if self.sure else table.variant[task]
        ends = walk(table, Walks(task, columns, used, mixes), pace, group)
        value, missed = (
            (ends.violation / FAINT, 0.0 * ends.value) if self.sure else (ends.value, ends.violation)
        )
        rows = zip(starts, ends.mixes, value, missed, strict=True)
        return [_Ended(each.task, each.support, mix, float(v), float(w)) for each, mix, v, w in rows]

    def _seen(self, starts: Sequence[_Ended]) -> list[_Ended]:
        """Return blends of like questions as their own one sees them."""
        if not starts:
            return []
        task, mixes = np.array([each.task for each in starts], np.intp), np.array([e.mix for e in starts])
        value, rows = self.table.rows(mixes, task)
        short = np.maximum(-rows.min(axis=1), 0.0)
        if self.sure:
            value, short = short / FAINT, np.zeros(len(task))
        return [
            replace(each, value=float(v), violation=float(s))
            for each, v, s in zip(starts, value, short, strict=True)
        ]

    def _best(self, ended: Sequence[_Ended], most: int) -> list[_Ended]:
        """Return the best ends of each question, of different solids, doses or coats.

        By turns those that hold, and those that would be best if they held: they may be nearly there.
        """
        out: list[_Ended] = []
        for k in range(len(self.questions)):
            own = [e for e in ended if self.table.variant[e.task] == k]
            turns = zip(sorted(own, key=_Ended.rank), sorted(own, key=_Ended.score), strict=True)
            order = [each for turn in turns for each in turn]
            out += [order[i] for i in self._distinct(order)[:most]]
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
        table = self.table.seen_by(self.table.samples, width)
        refs = References.at(table, task, mixes)
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

    def _dosed_anew(self, leaders: Sequence[_Ended]) -> list[_Ended]:
        """Return some blends with every other choice of doses of their question."""
        variant = self.table.variant
        return [
            replace(each, task=int(task))
            for each in leaders
            for task in np.flatnonzero(variant == variant[each.task])
            if task != each.task
        ]

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
    missed, before = old.rank()
    return new.rank() < (missed, before - _STILL * abs(before))
