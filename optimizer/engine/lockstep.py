"""Walk many mixes downhill together, each step one call of the chain and one batch of linear programs.

The smooth problem of a case has few unknowns and its optimum mostly lies where as many rows bind as there are
unknowns. There a sequence of linear programs, each in a box around the last mix (Griffith and Stewart 1961,
from memory), ends within a few steps. Rows of the chain have kinks; the slopes of a point beyond a kink are
kept for some steps as more rows of the program, for from there a row falls that seems to rise from here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.row_table import RowTable, Slopes
from optimizer.solvers.batch_lp import BatchAnswer, BatchLP, solve_batch

__all__ = ["Ends", "Pace", "Walks", "walk"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Mask = NDArray[np.bool_]

_BOX, _LARGEST_BOX, _SMALLEST_BOX = 0.4, 4.0, 1e-5
"""First, largest and smallest half-width of the box around a mix [kg/L]; a mix weighs about two."""

MOST_MASS, LEAST_WATER = 4.0, 0.02
"""Most of any material, and least water [kg/L]."""

_RELIEF = 20.0
"""Price of breaking all rows by one unit, over the objective at the start: above any limit's worth."""

_WORTH, _LEAST_PRICE = 2.0, 0.01
"""Price of a shortfall in units of what all rows are worth together, and its least share of the relief's."""

_POOR, _FAIR, _GOOD = 0.05, 0.3, 0.7
"""Share of its promise that a step keeps: too little to take it, to keep the box, enough to widen it."""

_SHRINK, _GROW = 0.4, 2.0
_TELLING = 0.1
"""Box from which a promise says something of mixes far away, too [kg/L]."""

_ARRIVED, _STILL, _HELD = 1e-7, 2e-5, 1e-7
"""Promised gain at which a walk has arrived, gain of two steps that ends it (both as a share of the
objective), and violation of a row that counts as none."""

_SPLIT = 40
"""Walks from which those with kept slopes are solved on their own: their programs are larger."""


@dataclass(frozen=True)
class Walks:
    """Where walks start and what they may use.

    Attributes
    ----------
    task : Index
        Task of the row table, shape (walks,).
    columns, used : Index, Mask
        Positions of solids, doses and water, and which of them may be used, shape (walks, m).
    mixes : Array
        Starts, shape (walks, n + 1) [kg/L].
    """

    task: Index
    columns: Index
    used: Mask
    mixes: Array


@dataclass(frozen=True)
class Pace:
    """How walks go on and when they end.

    Attributes
    ----------
    steps : int
        Most steps.
    least : bool
        True holds every material used at its least share or more.
    ring : int
        Points beyond kinks that are kept.
    slack : float
        Share by which a promise may be worse than the best of its group.
    keep_best : bool
        True returns the best feasible mix seen in place of the last.
    curved : bool
        True keeps the slopes of every point, not only beyond kinks: where rows are concave, each is a bound.
    """

    steps: int = 8
    least: bool = True
    ring: int = 2
    slack: float = 1e-3
    keep_best: bool = False
    curved: bool = False


@dataclass(frozen=True)
class Ends:
    """Where walks ended.

    Attributes
    ----------
    mixes, value, violation : Array
        Shapes (walks, n + 1) [kg/L], (walks,) and (walks,).
    arrived : Mask
        True where nothing better was promised.
    promised : Array
        What the last program promised, shape (walks,).
    """

    mixes: Array
    value: Array
    violation: Array
    arrived: Mask
    promised: Array


def walk(table: RowTable, walks: Walks, pace: Pace, group: Index | None = None) -> Ends:
    """Return where walks end that all take a step at a time.

    Parameters
    ----------
    table
        Rows of all tasks.
    walks
        Starts.
    pace
        When to stop.
    group
        Walks of one number compete: one that promises worse than the best of its group is left.
    """
    if walks.task.size == 0:
        empty = np.zeros(0)
        return Ends(walks.mixes, empty, empty, np.zeros(0, bool), empty)
    return _Lockstep(table, walks, pace, group).run()


class _Lockstep:
    """Scratch of one batch of walks; every array has the walk as its first axis."""

    def __init__(self, table: RowTable, walks: Walks, pace: Pace, group: Index | None) -> None:
        self.table, self.walks, self.pace, self.group = table, walks, pace, group
        self.columns = walks.columns
        count, width = walks.columns.shape
        self.own = np.arange(count)[:, None]
        self.linear = table.linear(walks.task, walks.columns, walks.used, least=pace.least)
        self.floor, self.ceiling = np.zeros((count, width)), np.where(walks.used, MOST_MASS, 0.0)
        self.floor[:, -1] = LEAST_WATER
        self.mixes = np.zeros_like(walks.mixes)
        inside = np.clip(walks.mixes[self.own, walks.columns], self.floor, self.ceiling)
        self.mixes[self.own, walks.columns] = inside
        self.at = self._look(self.mixes, np.arange(count))
        self.held = self.linear.missed(inside) <= _HELD
        self.relief = _RELIEF * np.maximum(np.abs(self.at.value), 1e-3)
        self.width, self.cutoff = np.full(count, _BOX), np.full(count, np.inf)
        self.dear, self.small = np.zeros(count, int), np.zeros(count, int)
        self.done, self.arrived = np.zeros(count, bool), np.zeros(count, bool)
        self.promised = np.full(count, -np.inf)
        self.best, self.best_mix = np.full(count, np.inf), self.mixes.copy()
        self._note_best(np.arange(count))
        self.ring = _Ring(count, pace.ring, self.at.rows.shape[1], width)
        self.basis = np.tile(np.arange(width + 1), (count, 1))

    def _look(self, mixes: Array, who: Index) -> Slopes:
        walks = self.walks
        return self.table.look(mixes, walks.columns[who], walks.task[who], walks.used[who])

    def run(self) -> Ends:
        """Step until all are done."""
        for _ in range(self.pace.steps):
            live = np.flatnonzero(~self.done)
            if live.size == 0:
                break
            self._step(live)
        amounts = self.mixes[self.own, self.columns]
        violation = np.maximum(self.linear.missed(amounts), -self.at.rows.min(axis=1))
        mixes, value, arrived = self.mixes, self.at.value, self.arrived
        if self.pace.keep_best:
            seen = np.isfinite(self.best) & ((violation > 1e-6) | (self.best < value - 1e-12))
            mixes = np.where(seen[:, None], self.best_mix, mixes)
            value, violation = np.where(seen, self.best, value), np.where(seen, 0.0, violation)
            arrived = arrived & ~seen
        return Ends(mixes, value, np.maximum(violation, 0.0), arrived, self.promised)

    def _step(self, live: Index) -> None:
        """Solve the programs of walks and go where they lead, as far as their promises are kept."""
        answer = self._solved(live)
        lost = live[~answer.solved]
        self.width[lost] *= _LARGEST_BOX / _BOX
        self.done[lost[self.width[lost] > _LARGEST_BOX]] = True
        live, move, duals = live[answer.solved], answer.x[answer.solved], answer.duals[answer.solved]
        if live.size == 0:
            return
        at = self.at.at(live)
        worth = _WORTH * np.abs(duals).sum(axis=1)
        # Shortfall is judged at about what the rows are worth, not at the forbidding price of the relief: a
        # good step along a curve that ends a hair outside is mended by the next one.
        price = np.minimum(self.relief[live], np.maximum(worth, _LEAST_PRICE * self.relief[live]))
        promised = at.value + (at.gradient * move[:, :-1]).sum(axis=1) + price * move[:, -1]
        short = np.maximum(-at.rows.min(axis=1), 0.0)
        merit = at.value + price * short
        self.promised[live] = promised
        going = self._going(live, merit - promised, promised, short)
        if going.any():
            self._move(live[going], move[going, :-1], price[going], merit[going], promised[going])

    def _going(self, live: Index, gain: Array, promised: Array, short: Array) -> Mask:
        """Return which walks go on; the others have arrived, are beaten, or drop the slopes they kept."""
        scale = np.maximum(np.abs(self.at.value[live]), 1e-3)
        idle = self.held[live] & (gain <= _ARRIVED * scale)
        kept = idle & (self.ring.count[live] > 0)
        self.ring.count[live[kept]] = 0
        self.arrived[live[idle & ~kept]] = True
        over = (promised > self.cutoff[live]) & (self.width[live] >= _TELLING)
        self.dear[live] = np.where(over, self.dear[live] + 1, 0)
        beaten = (self.dear[live] >= 2) | ((self.dear[live] >= 1) & (short <= 1e-9))
        self.done[live[(idle & ~kept) | beaten]] = True
        return ~(idle | beaten)

    def _move(self, live: Index, move: Array, price: Array, merit: Array, promised: Array) -> None:
        own, columns = np.arange(live.size)[:, None], self.columns[live]
        ahead = self.mixes[live]
        amounts = np.clip(ahead[own, columns] + move, self.floor[live], self.ceiling[live])
        ahead[own, columns] = amounts
        there = self._look(ahead, live)
        short = np.maximum(-there.rows.min(axis=1), 0.0)
        gained = merit - (there.value + price * short)
        kept = gained / np.maximum(merit - promised, 1e-12)
        held = self.held[live]
        taken = ~held | (kept >= _POOR)
        self._resize(live, kept, np.abs(move).max(axis=1))
        self._keep_slopes(live, taken, there, amounts)
        new = live[taken]
        self.mixes[new] = ahead[taken]
        for mine, theirs in zip(_arrays(self.at), _arrays(there), strict=True):
            mine[new] = theirs[taken]
        self.held[new] = True
        self._note_best(new)
        slight = gained < _STILL * np.maximum(np.abs(there.value), 1e-3)
        still = taken & slight & (short < _HELD)
        self.small[live] = np.where(still, self.small[live] + 1, 0)
        self.done[live[(self.small[live] >= 2) | (self.width[live] < _SMALLEST_BOX)]] = True
        self._compete(new)

    def _resize(self, live: Index, kept: Array, step: Array) -> None:
        """Widen the box when it held a good step back, narrow it when little of the promise came true."""
        width, held = self.width[live], self.held[live]
        wider = (kept > _GOOD) & (step > 0.99 * width)
        out = np.where(kept < _FAIR, width / _GROW, width)
        out = np.where(wider, np.minimum(_GROW * width, _LARGEST_BOX), out)
        out = np.where(kept < _POOR, np.minimum(width, _SHRINK * step), out)
        self.width[live] = np.where(held, out, width)

    def _keep_slopes(self, live: Index, taken: Mask, there: Slopes, amounts: Array) -> None:
        """Keep the slopes of a point that was refused, and, while any are kept, of the point left."""
        self.ring.keep(live[~taken], amounts[~taken], there.at(~taken))
        left = live[taken & (self.pace.curved | (self.ring.count[live] > 0))]
        self.ring.keep(left, self.mixes[left[:, None], self.columns[left]], self.at.at(left))

    def _note_best(self, which: Index) -> None:
        """Remember feasible mixes that are better than any before."""
        good = which[(self.at.rows[which].min(axis=1) >= -_HELD) & (self.at.value[which] < self.best[which])]
        amounts = self.mixes[good[:, None], self.columns[good]]
        good = good[self.linear.at(good).missed(amounts) <= _HELD] if good.size else good
        self.best[good], self.best_mix[good] = self.at.value[good], self.mixes[good]

    def _compete(self, new: Index) -> None:
        """Let the best of each group set what the others must promise."""
        if self.group is None:
            return
        holds = new[self.at.rows[new].min(axis=1) >= -_HELD]
        if holds.size:
            best = np.full(int(self.group.max()) + 1, np.inf)
            np.minimum.at(best, self.group[holds], self.at.value[holds])
            allowed = best + self.pace.slack * np.abs(best)
            self.cutoff = np.minimum(self.cutoff, allowed[self.group])

    def _solved(self, live: Index) -> BatchAnswer:
        """Return the answers to the programs of walks, those with kept slopes apart where there are many."""
        ringed = self.ring.count[live] > 0
        groups = [ringed, ~ringed] if live.size > _SPLIT else [np.ones(live.size, bool)]
        width, rows = self.columns.shape[1], self.at.rows.shape[1]
        out = BatchAnswer(
            np.zeros((live.size, width + 1)),
            np.zeros((live.size, rows)),
            np.zeros(live.size, bool),
            np.zeros((live.size, width + 1), np.intp),
        )
        for part in groups:
            if not part.any():
                continue
            programs = self._programs(live[part])
            start = self.basis[live[part]]
            outside = (start >= width + 1 + programs.row_lower.shape[1]).any(axis=1)
            start[outside] = np.arange(width + 1)
            answer = solve_batch(programs, start)
            curved = answer.duals[:, self.linear.lower.shape[1] :]
            out.x[part], out.solved[part] = answer.x, answer.solved
            # The worth of all rows counts, kept ones included.
            out.duals[part] = curved[:, :rows]
            out.duals[part, 0] += curved[:, rows:].sum(axis=1)
            self.basis[live[part]] = answer.basis
        return out

    def _programs(self, live: Index) -> BatchLP:
        """Return the program of each walk; the last column is the priced relief of all curved rows."""
        at, width = self.at.at(live), self.width[live][:, None]
        here = self.mixes[live[:, None], self.columns[live]]
        linear = self.linear.at(live)
        level = np.matmul(linear.matrix, here[:, :, None])[:, :, 0]
        slopes, now = self.ring.with_kept(live, at, here)
        rows = np.zeros((live.size, level.shape[1] + now.shape[1], here.shape[1] + 1))
        rows[:, : level.shape[1], :-1] = linear.matrix
        rows[:, level.shape[1] :, :-1], rows[:, level.shape[1] :, -1] = slopes, 1.0
        zero, free = np.zeros((live.size, 1)), np.full((live.size, 1), np.inf)
        return BatchLP(
            np.concatenate([at.gradient, self.relief[live][:, None]], axis=1),
            np.concatenate([np.maximum(self.floor[live] - here, -width), zero], axis=1),
            np.concatenate([np.minimum(self.ceiling[live] - here, width), free], axis=1),
            rows,
            np.concatenate([linear.lower - level, -now], axis=1),
            np.concatenate([linear.upper - level, np.full(now.shape, np.inf)], axis=1),
        )


def _arrays(slopes: Slopes) -> tuple[Array, Array, Array, Array]:
    return slopes.value, slopes.gradient, slopes.rows, slopes.jacobian


class _Ring:
    """Points beyond kinks: the last few of each walk, oldest replaced first."""

    def __init__(self, walks: int, size: int, rows: int, width: int) -> None:
        self.size, self.count = size, np.zeros(walks, int)
        self.rows = np.zeros((walks, size, rows))
        self.jacobian = np.zeros((walks, size, rows, width))
        self.amounts = np.zeros((walks, size, width))

    def keep(self, which: Index, amounts: Array, slopes: Slopes) -> None:
        """Keep one point for each of some walks."""
        if which.size == 0 or self.size == 0:
            return
        place = self.count[which] % self.size
        self.rows[which, place], self.jacobian[which, place] = slopes.rows, slopes.jacobian
        self.amounts[which, place] = amounts
        self.count[which] += 1

    def with_kept(self, live: Index, at: Slopes, here: Array) -> tuple[Array, Array]:
        """Return slopes and levels of the rows at hand and of those kept."""
        depth = int(np.minimum(self.count[live].max(initial=0), self.size))
        if depth == 0:
            return at.jacobian, at.rows
        on = np.arange(depth)[None, :] < self.count[live][:, None]
        slopes = self.jacobian[live, :depth] * on[:, :, None, None]
        away = (here[:, None, :] - self.amounts[live, :depth])[..., None]
        now = self.rows[live, :depth] + np.matmul(slopes, away)[..., 0]
        now = np.where(on[:, :, None], now, np.inf)
        walks, _, rows, width = slopes.shape
        return (
            np.concatenate([at.jacobian, slopes.reshape(walks, depth * rows, width)], axis=1),
            np.concatenate([at.rows, now.reshape(walks, depth * rows)], axis=1),
        )
