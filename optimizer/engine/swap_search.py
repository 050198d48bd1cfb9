"""Find the best mix of each of many questions: which steps, which materials, how much of each.

All questions of one call share materials, vessel and shop; they are searched together, each with its own
bounds, prices and best so far. Deterministic: no random numbers, ties broken by position.

The search of one question. Its cases are taken a few at a time, cheapest fixed cost first. Walks with all
materials from each valley of cost give a floor for the case and slopes on which every set of the promising
materials is judged; the best sets are walked. Then materials are added, dropped and exchanged, a few at a
time, in the best blends of each case and valley. What fell short of arriving is walked on at the end, and
where a curve keeps a walk from its promise, a smooth solve has the last word.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.candidate import TOLERANCE, Candidate
from optimizer.engine.grid_search import GridSearch, with_doses
from optimizer.engine.lockstep import Ends, Pace, Walks, walk
from optimizer.engine.nlp_refinement import polish
from optimizer.engine.row_table import RowTable
from optimizer.engine.search_state import End, Found, Key, Question, State, Support
from optimizer.engine.supports import References, exchanged_sets, packed, reduced_costs, screened, subsets
from optimizer.problem import Problem

__all__ = ["best_mix", "best_mixes"]

Array = NDArray[np.float64]
_MOST_SOLIDS = 6
"""Most solids of a blend where the job names no number: more than bind at any optimum met."""

_LOOSE = Pace(steps=10, least=False)
_FIRST, _EXCHANGED = Pace(steps=8), Pace(steps=6)
_LAST = Pace(steps=20, ring=3, keep_best=True)

_CASES_AT_ONCE = 3
_HOPELESS = 0.12
"""Least violation of a walk with all materials [-] from which a case is given up."""

_MET = 1e-4
_POOL, _SETS, _LARGEST = 8, 14, 5
"""Materials whose sets are all judged, sets walked of each reference, and the largest shares of a loose end
of which every set is walked, too."""

_ROUNDS, _LEADERS, _PAIRS, _EXCHANGES, _WORSE = 4, 2, 4, 8, 0.02
_REVISITED, _FINISHED = 8, 12
_REVISIT_WITHIN, _FINISH_WITHIN = 2e-3, 1.5e-3
_POLISHED, _POLISH_NEAR, _POLISH_GAIN = 2, 0.02, 2e-4


def best_mixes(questions: Sequence[Question], grid: GridSearch | None = None) -> list[Found]:
    """Return the answers to questions of the same materials, model, conditions and objective.

    Parameters
    ----------
    questions
        Searched together.
    grid
        Coarse grid of the same materials, to share between calls.
    """
    if not questions:
        return []
    return _Search(questions, grid or GridSearch(questions[0].problem)).run()


def best_mix(problem: Problem, only: tuple[int, ...] | None = None) -> Candidate | None:
    """Return the best mix of a problem judged at best values, or None when no mix can be started."""
    return best_mixes([Question(problem, only)])[0].best


@dataclass(frozen=True)
class _Loose:
    """Ends of walks with all materials."""

    task: NDArray[np.intp]
    ends: Ends


class _Search:
    """Scratch of one call of `best_mixes`."""

    def __init__(self, questions: Sequence[Question], grid: GridSearch) -> None:
        self.table = table = RowTable([question.problem for question in questions])
        self.grid = grid
        self.allowed = np.zeros((len(questions), table.count + 1), bool)
        self.states = []
        for k, question in enumerate(questions):
            tasks = tuple(int(t) for t in np.flatnonzero(table.variant == k))
            chosen = table.solids if question.only is None else np.array(question.only, np.intp)
            self.allowed[k, np.intersect1d(chosen, table.solids)] = True
            self.states.append(State(question, tasks, list(tasks)))
        most = table.problem.job.at_most_materials or _MOST_SOLIDS
        self.most = min(most, _MOST_SOLIDS, table.solids.size)
        self.floor = table.fixed.copy() if table.money else np.full(len(table.cases), -np.inf)
        self.least = np.full(len(table.cases), np.inf)
        self.solved: list[int] = []
        self.starts: dict[int, list[Array]] = {}
        self.tops: dict[int, dict[Support, Array]] = {}

    def run(self) -> list[Found]:
        """Search all questions."""
        self._walk_known()
        while chunk := self._next_cases():
            self._search_cases(chunk)
        self._exchange_in_rounds()
        self._finish()
        self._polish()
        return [self._found(state) for state in self.states]

    def _found(self, state: State) -> Found:
        ends = sorted(state.known.values(), key=End.rank)
        met = tuple(self._candidate(end) for end in ends)
        best = state.best or (ends[0] if ends else state.loose)
        return Found(None if best is None else self._candidate(best), met)

    def _candidate(self, end: End) -> Candidate:
        return Candidate(self.table.cases[end.key[0]], end.mix, end.value, end.violation)

    def _state(self, task: int) -> State:
        return self.states[int(self.table.variant[task])]

    # Cases ------------------------------------------------------------------------------------------

    def _next_cases(self) -> list[int]:
        """Return the next few cases of each question that may hold something better."""
        out: list[int] = []
        for state in self.states:
            if state.closed:
                continue
            new, state.looked = self.solved[state.looked :], len(self.solved)
            own = [task for task in new if self._state(task) is state]
            for task in state.waiting:
                self._raise_floor(task, own)
            state.waiting = [t for t in state.waiting if np.isfinite(self.floor[t]) or not self.table.money]
            promising = [t for t in state.waiting if state.beats(self.floor[t])]
            promising.sort(key=lambda task: (self.floor[task], task))
            most = len(promising) if not self.table.money else _CASES_AT_ONCE
            chosen = promising[:most]
            if len(state.waiting) == len(state.tasks) > 2 * _CASES_AT_ONCE:
                chosen = list(dict.fromkeys([*chosen, *self._loosest(state.tasks)]))
            state.waiting = [task for task in state.waiting if task not in chosen]
            out += chosen
        return out

    def _raise_floor(self, task: int, solved: Iterable[int]) -> None:
        """Take what a looser case costs at least as this one's floor; infinite where that has no blend."""
        case = self.table.cases[task]
        for other in solved:
            if not case.tighter_than(self.table.cases[other]):
                continue
            if self.least[other] >= _HOPELESS:
                self.floor[task] = np.inf
            elif self.table.money:
                powder = self.floor[other] - self.table.fixed[other]
                self.floor[task] = max(self.floor[task], self.table.fixed[task] + powder)

    def _loosest(self, tasks: Iterable[int]) -> list[int]:
        """Return the loosest case of each choice of doses: its powder is a floor for all the others."""
        heads: dict[tuple[tuple[int, float], ...], int] = {}
        for task in tasks:
            case = self.table.cases[task]
            doses = tuple(sorted(case.doses.items()))
            if doses not in heads or self.table.cases[heads[doses]].tighter_than(case):
                heads[doses] = task
        return list(heads.values())

    def _search_cases(self, chunk: Sequence[int]) -> None:
        """Walk some cases with all materials, then with the most promising sets, the best cases first."""
        loose = self._walk_loosely(chunk)
        queues: dict[int, list[int]] = {}
        for task in sorted(chunk, key=lambda t: (self.floor[t], self.table.fixed[t], t)):
            if self.least[task] < _HOPELESS:
                queues.setdefault(int(self.table.variant[task]), []).append(task)
                self._state(task).todo.append(task)
        for first in range(max(map(len, queues.values()), default=0)):
            places = slice(0, 2) if first == 0 else slice(first + 1, first + 2)
            part = [task for queue in queues.values() for task in queue[places]]
            part = [t for t in part if self._state(t).beats(self.floor[t]) and not self._state(t).closed]
            if part:
                self._walk_sets(part, loose)

    def _walk_loosely(self, chunk: Sequence[int]) -> _Loose:
        """Walk with all materials and no least shares from every valley: a floor for each case."""
        for each in chunk:
            self._rank_grid(each)
        task = np.array([t for t in chunk for _ in self.starts[t]], np.intp)
        mixes = [mix for t in chunk for mix in self.starts[t]]
        starts = np.array(mixes).reshape(-1, self.table.count + 1)
        solids = np.tile(self.table.solids, (task.size, 1))
        columns, used = _all(self.table, solids, self.allowed[self.table.variant[task]])
        ends = walk(self.table, Walks(task, columns, used, starts), _LOOSE)
        for i, t in enumerate(map(int, task)):
            self.least[t] = min(self.least[t], ends.violation[i])
            self._keep_loose(_end_of(ends, i, (t, ())))
        for t in chunk:
            held = ends.value[(task == t) & (ends.violation < _MET)]
            if held.size:
                self.floor[t] = float(held.min())
        self.solved += list(chunk)
        return _Loose(task, ends)

    def _keep_loose(self, end: End) -> None:
        """Keep the end that misses least, for questions of which no set is worth a walk."""
        state = self._state(end.key[0])
        if state.loose is None or end.violation < state.loose.violation:
            state.loose = end

    def _rank_grid(self, task: int) -> None:
        """Find the best blends of the grid for a case: one of each valley, and of the most promising sets."""
        table, state = self.table, self._state(task)
        allowed = self.allowed[table.variant[task], :-1].copy()
        allowed[table.doses] = True
        self.starts[task], self.tops[task] = self.grid.ranked(table, task, allowed, self.most)
        if not self.starts[task] and state.question.known:
            self.starts[task] = [state.question.known[0].mix]
        elif not self.starts[task] and np.any(allowed & table.binder):
            # A grid too coarse for the few materials allowed: all of their binders alike.
            shares = (allowed & table.binder) / np.count_nonzero(allowed & table.binder)
            self.starts[task] = list(with_doses(table.problem, table.cases[task], shares[None, :]))

    # Walks on sets of materials -----------------------------------------------------------------------

    def _walk_known(self) -> None:
        """Walk from the blends that the questions name."""
        starts: dict[tuple[int, Support, int], Array] = {}
        for state in self.states:
            tasks = {self.table.cases[t].steps: t for t in state.tasks}
            for blend in state.question.known:
                own = tuple(k for k in blend.support if k in self.table.solids)
                if blend.case.steps in tasks and own:
                    starts.setdefault((tasks[blend.case.steps], own, 0), blend.mix)
        self._walk(starts, _FIRST)

    def _walk_sets(self, part: Sequence[int], loose: _Loose) -> None:
        """Judge all sets of the most promising materials at each loose end of some cases; walk the best."""
        worth = loose.ends.violation < _HOPELESS
        for k, task in enumerate(loose.task):
            beaten = loose.ends.violation[k] <= _MET and not self._state(task).beats(loose.ends.value[k])
            worth[k] &= task in part and not beaten
        which = np.flatnonzero(worth)
        if which.size == 0:
            return
        refs = References.at(self.table, loose.task[which], loose.ends.mixes[which])
        sets, ref = self._pools(refs)
        score, mixes = screened(self.table, refs, ref, sets, self.most)
        starts: dict[tuple[int, Support, int], Array] = {}
        for j, task in enumerate(refs.task):
            for i in _lowest(score, ref == j, _SETS):
                starts.setdefault((int(task), _in_order(sets[i]), 0), mixes[i])
            for support in self._largest(refs.mixes[j]):
                starts.setdefault((int(task), support, 1 + j), refs.mixes[j])
        for task in part:
            for support, mix in self.tops[task].items():
                starts.setdefault((task, support, 0), mix)
        self._walk(starts, _FIRST)

    def _pools(self, refs: References) -> tuple[list[Support], NDArray[np.intp]]:
        """Return the sets of the materials that each reference uses most or that promise most there."""
        reduced, solids = reduced_costs(self.table, refs), self.table.solids
        sets: list[Support] = []
        ref: list[int] = []
        for j in range(refs.task.size):
            inside = refs.mixes[j, solids]
            order = np.argsort(np.where(inside > 1e-7, -1e3 - inside, reduced[j]), kind="stable")
            allowed = self.allowed[self.table.variant[refs.task[j]], solids[order]]
            pool = solids[order[allowed][:_POOL]]
            for places in subsets(len(pool), self.most):
                support = tuple(int(pool[k]) for k in places)
                if self.table.binder[list(support)].any():
                    sets.append(support)
                    ref.append(j)
        return sets, np.array(ref, np.intp)

    def _largest(self, mix: Array) -> list[Support]:
        """Return the sets of the largest shares of a mix."""
        order = sorted(self.table.solids, key=lambda k: -mix[k])
        used = [int(k) for k in order if mix[k] > 1e-7][: self.most + 1]
        few = subsets(len(used), self.most) if len(used) > self.most else (tuple(range(len(used))),)
        return [
            _in_order(used[k] for k in places) for places in few if len(places) >= min(len(used), self.most)
        ]

    def _walk(self, starts: Mapping[tuple[int, Support, int], Array], pace: Pace) -> None:
        """Walk on sets of materials; those that were left early are taken up again beside later ones."""
        keys = [
            key
            for key in starts
            if key[:2] not in self._state(key[0]).known and self.table.binder[list(key[1])].any()
        ]
        mixes = [starts[key] for key in keys]
        again: list[End] = []
        if pace is not _FIRST:
            for state in self.states:
                if not state.closed:
                    again += state.unfinished(_REVISITED, _REVISIT_WITHIN, 1, twice=False)
        if not keys and not again:
            return
        sets = [(key[0], key[1]) for key in keys] + [end.key for end in again]
        start = np.array(mixes + [end.mix for end in again])
        task = np.array([key[0] for key in sets], np.intp)
        group = 3 * task + self.table.basin(start)
        # What is taken up again is judged by itself.
        group[len(keys) :] = 3 * len(self.table.cases) + np.arange(len(again))
        self._walk_on(sets, start, pace, group)

    def _walk_on(self, keys: Sequence[Key], start: Array, pace: Pace, group: NDArray[np.intp] | None) -> None:
        columns, used = packed(self.table, [support for _, support in keys], self.most)
        task = np.array([task for task, _ in keys], np.intp)
        ends = walk(self.table, Walks(task, columns, used, start), pace, group)
        for i, key in enumerate(keys):
            end = _end_of(ends, i, key)
            self._state(key[0]).keep(end, arrived=bool(ends.arrived[i]))

    # Exchanges ----------------------------------------------------------------------------------------

    def _exchange_in_rounds(self) -> None:
        for _ in range(_ROUNDS):
            leaders = [end for state in self.states if not state.closed for end in self._leaders(state)]
            if not leaders:
                return
            self._exchange(leaders)

    def _leaders(self, state: State) -> Iterator[End]:
        """Yield the best blends of each case and valley not used before, and the best in cheaper steps."""
        for task in state.todo:
            own = state.best is not None and task == state.best.key[0]
            if not own and not state.beats(self.floor[task]):
                continue
            ends = sorted((e for e in state.known.values() if e.key[0] == task), key=End.rank)
            mixes = np.array([end.mix for end in ends]).reshape(-1, self.table.count + 1)
            count = [0, 0, 0]
            for basin, end in zip(self.table.basin(mixes), ends, strict=True):
                count[basin] += 1
                fresh = (*end.key, False) not in state.used
                if count[basin] <= _LEADERS and fresh and end.violation <= _HOPELESS:
                    state.used.add((*end.key, False))
                    yield end
            best = state.best
            cheaper = best is not None and self.table.fixed[task] < self.table.fixed[best.key[0]]
            if best is not None and cheaper and (task, best.key[1], True) not in state.used:
                state.used.add((task, best.key[1], True))
                yield replace(best, key=(task, best.key[1]))

    def _exchange(self, leaders: Sequence[End]) -> None:
        """Judge every exchange in some blends on their own slopes and walk the best few."""
        task = np.array([end.key[0] for end in leaders], np.intp)
        refs = References.at(self.table, task, np.array([end.mix for end in leaders]))
        reduced = reduced_costs(self.table, refs)
        sets: list[Support] = []
        ref: list[int] = []
        for j, end in enumerate(leaders):
            state, support = self._state(end.key[0]), end.key[1]
            order = [int(k) for k in self.table.solids[np.argsort(reduced[j], kind="stable")]]
            order = [k for k in order if k not in support and self.allowed[self.table.variant[task[j]], k]]
            own = exchanged_sets(support, order, self.most, _PAIRS) | {support}
            new = [
                s
                for s in sorted(own)
                if (end.key[0], s) not in state.known and self.table.binder[list(s)].any()
            ]
            sets += new
            ref += [j] * len(new)
        if not sets:
            return
        score, mixes = screened(self.table, refs, np.array(ref, np.intp), sets, self.most)
        starts: dict[tuple[int, Support, int], Array] = {}
        for j, end in enumerate(leaders):
            for i in _lowest(score, np.array(ref) == j, _EXCHANGES):
                if self._state(end.key[0]).beats(score[i], _WORSE):
                    starts.setdefault((end.key[0], sets[i], 0), mixes[i])
        self._walk(starts, _EXCHANGED)

    # The end ------------------------------------------------------------------------------------------

    def _finish(self) -> None:
        """Walk on, from two starts each, what fell short by little of arriving or of the best."""
        last = [
            end
            for state in self.states
            if not state.closed
            for end in state.unfinished(_FINISHED, _FINISH_WITHIN, 2, twice=True)
        ]
        if last:
            self._walk_on([end.key for end in last], np.array([end.mix for end in last]), _LAST, None)

    def _polish(self) -> None:
        """Solve smoothly the few that did not arrive though their promise beats the best."""
        for state in self.states:
            if state.closed:
                continue
            done: dict[int, int] = {}
            for end in sorted(state.pending, key=End.score):
                if not state.beats(end.score(), _REVISIT_WITHIN):
                    break
                task = end.key[0]
                if done.get(task, 0) >= _POLISHED or not self._promises(state, end):
                    continue
                done[task] = done.get(task, 0) + 1
                problem = state.question.problem
                found = polish(problem, self.table.cases[task], end.key[1], end.mix)
                state.keep(
                    replace(end, mix=found.mix, value=found.value, violation=found.violation), arrived=True
                )

    def _promises(self, state: State, end: End) -> bool:
        """Return whether a smooth solve may find something better than the best from an end."""
        value = end.promised if end.violation <= TOLERANCE else end.value
        certain = end.violation <= _MET and not state.beats(value, -_POLISH_GAIN)
        return end.violation <= _POLISH_NEAR and not certain


def _all(
    table: RowTable, solids: NDArray[np.intp], allowed: NDArray[np.bool_]
) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Return columns and use of walks with all materials allowed."""
    rest = np.tile(np.append(table.doses, table.count).astype(np.intp), (len(solids), 1))
    used = np.take_along_axis(allowed, solids, axis=1)
    return np.concatenate([solids, rest], axis=1), np.concatenate([used, np.ones_like(rest, bool)], axis=1)


def _end_of(ends: Ends, i: int, key: Key) -> End:
    return End(key, ends.mixes[i], float(ends.value[i]), float(ends.violation[i]), float(ends.promised[i]))


def _lowest(score: Array, which: NDArray[np.bool_], most: int) -> Iterator[int]:
    """Yield the places of the lowest finite scores."""
    places = np.flatnonzero(which)
    for i in places[np.argsort(score[places], kind="stable")][:most]:
        if np.isfinite(score[i]):
            yield int(i)


def _in_order(support: Iterable[int]) -> Support:
    return tuple(sorted(support))
