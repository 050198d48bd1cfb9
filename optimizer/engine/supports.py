"""Which materials: sets of them judged on the slopes at one mix, before any is walked.

The slopes at a mix tell what each material would do. A linear program on them, with the least shares of a set
held, says in microseconds what a walk on that set may hope for; only the most promising sets are walked.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.lockstep import LEAST_WATER, MOST_MASS
from optimizer.engine.row_table import RowTable, Slopes
from optimizer.solvers.batch_lp import BatchLP, solve_batch

__all__ = ["References", "exchanged_sets", "packed", "reduced_costs", "screened", "subsets"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Mask = NDArray[np.bool_]
Support = tuple[int, ...]

_RELIEF = 20.0
"""Price of breaking all rows by one unit, over the objective at the reference."""

_FIRST_BOX, _SECOND_BOX = 1.0, 0.3
"""Half-widths of the boxes of the two programs of a set [kg/L]."""

_LOOKED_AGAIN = 40
"""Sets of a reference, most promising first, whose rows are valued before the second program."""

_MOST_SHORTFALL = 5.0
_REDUCED_BOX = 0.4


@dataclass(frozen=True)
class References:
    """Mixes with the slopes of all materials, from which sets are judged.

    Attributes
    ----------
    task : Index
        Task of each, shape (references,).
    mixes : Array
        Shape (references, n + 1) [kg/L].
    slopes : Slopes
        Over the solids, doses and water.
    """

    task: Index
    mixes: Array
    slopes: Slopes

    @classmethod
    def at(cls, table: RowTable, task: Index, mixes: Array) -> References:
        """Look at mixes with all materials."""
        columns = np.tile(_all_columns(table), (task.size, 1))
        return cls(task, mixes, table.look(mixes, columns, task))


def _all_columns(table: RowTable) -> Index:
    return np.concatenate([table.solids, table.doses, [table.count]]).astype(np.intp)


def packed(table: RowTable, supports: Sequence[Support], most: int) -> tuple[Index, Mask]:
    """Return the columns of sets of up to `most` solids, with doses and water, and which may be used.

    Sets of fewer are filled up with solids they do not hold, which stay unused.
    """
    columns = np.zeros((len(supports), most), np.intp)
    used = np.zeros((len(supports), most), bool)
    for row, support in enumerate(supports):
        others = (int(k) for k in table.solids if k not in support)
        filled = [*support, *(next(others) for _ in range(most - len(support)))]
        columns[row], used[row, : len(support)] = filled, True
    return _with_rest(table, columns, used)


def _with_rest(table: RowTable, columns: Index, used: Mask) -> tuple[Index, Mask]:
    rest = np.tile(np.append(table.doses, table.count).astype(np.intp), (len(columns), 1))
    return np.concatenate([columns, rest], axis=1), np.concatenate([used, np.ones_like(rest, bool)], axis=1)


@lru_cache(maxsize=64)
def subsets(count: int, most: int) -> tuple[tuple[int, ...], ...]:
    """Return all sets of 1 to `most` of `count` things, by their places."""
    return tuple(places for size in range(1, most + 1) for places in combinations(range(count), size))


def reduced_costs(table: RowTable, references: References) -> Array:
    """Return what each solid promises at each reference: its reduced cost, lower is better.

    Shape (references, solids). One program per reference, with all materials and no least shares.
    """
    count, columns = references.task.size, _all_columns(table)
    wide = np.tile(columns, (count, 1))
    linear = table.linear(references.task, wide, np.ones_like(wide, bool), least=False)
    here = references.mixes[:, columns]
    level = np.matmul(linear.matrix, here[:, :, None])[:, :, 0]
    rows, price = _stacked(linear.matrix, references.slopes), _RELIEF * np.abs(references.slopes.value)
    now = references.slopes.rows
    zero, free = np.zeros((count, 1)), np.full((count, 1), np.inf)
    cost = np.concatenate([references.slopes.gradient, price[:, None]], axis=1)
    answer = solve_batch(
        BatchLP(
            cost,
            np.concatenate([np.maximum(-here, -_REDUCED_BOX), zero], axis=1),
            np.concatenate([np.full(here.shape, _REDUCED_BOX), free], axis=1),
            rows,
            np.concatenate([linear.lower - level, -now], axis=1),
            np.concatenate([linear.upper - level, np.full(now.shape, np.inf)], axis=1),
        )
    )
    reduced = cost - np.matmul(answer.duals[:, None, :], rows)[:, 0]
    solids = slice(0, table.solids.size)
    return np.asarray(reduced[:, solids] - 1e-3 * answer.x[:, solids] * price[:, None])


def _stacked(matrix: Array, slopes: Slopes) -> Array:
    """Return linear rows over curved ones, the relief as the last column."""
    count, flat, width = matrix.shape
    out = np.zeros((count, flat + slopes.rows.shape[1], width + 1))
    out[:, :flat, :-1] = matrix
    out[:, flat:, :-1], out[:, flat:, -1] = slopes.jacobian, 1.0
    return out


def screened(
    table: RowTable, references: References, ref: Index, supports: Sequence[Support], most: int
) -> tuple[Array, Array]:
    """Return the score of each set on the slopes of its reference, and the mix it would start from.

    Parameters
    ----------
    table, references
        Rows, and where slopes were looked at.
    ref, supports
        Reference and solids of each set to judge.
    most
        Most solids of a set.

    Returns
    -------
    tuple[Array, Array]
        Promised objective with its shortfall as a surcharge, shape (sets,), infinite where the set cannot
        be mixed at all; mixes, shape (sets, n + 1).

    Notes
    -----
    A first program in a wide box on the reference's slopes, one look at the true rows of what it says, and
    for the most promising sets a second program with those rows and the same slopes.
    """
    columns, used = packed(table, supports, most)
    programs = _Screening(table, references, ref, columns, used)
    programs.solve(np.arange(ref.size), _FIRST_BOX)
    again = programs.most_promising()
    programs.value_anew(again)
    programs.solve(again, _SECOND_BOX)
    return programs.score, programs.mixes


class _Screening:
    """Scratch of one screening: chord steps of every set from its reference."""

    def __init__(
        self, table: RowTable, references: References, ref: Index, columns: Index, used: Mask
    ) -> None:
        self.table, self.ref, self.columns, self.used = table, ref, columns, used
        self.task = references.task[ref]
        everything = _all_columns(table)
        place = np.full(table.count + 1, -1)
        place[everything] = np.arange(everything.size)
        local, slopes = place[columns], references.slopes
        self.jacobian = np.take_along_axis(slopes.jacobian[ref], local[:, None, :], axis=2) * used[:, None]
        self.gradient = np.take_along_axis(slopes.gradient[ref], local, axis=1) * used
        here = references.mixes[:, everything]
        self.level = (slopes.rows - np.matmul(slopes.jacobian, here[:, :, None])[:, :, 0])[ref]
        self.offset = (slopes.value - (slopes.gradient * here).sum(axis=1))[ref]
        self.worth = np.abs(slopes.value)[ref]
        linear = table.linear(self.task, columns, used, least=True)
        self.lower, self.upper = linear.lower, linear.upper
        flat, rows = linear.lower.shape[1], self.level.shape[1]
        self.rows = np.zeros((ref.size, flat + rows, columns.shape[1] + 1))
        self.rows[:, :flat, :-1] = linear.matrix * used[:, None]
        self.rows[:, flat:, :-1], self.rows[:, flat:, -1] = self.jacobian, 1.0
        self.floor, self.ceiling = np.zeros(columns.shape), np.where(used, MOST_MASS, 0.0)
        self.floor[:, -1] = LEAST_WATER
        own = np.arange(ref.size)[:, None]
        self.amounts = np.where(used, references.mixes[ref[:, None], columns], 0.0)
        self.score = np.full(ref.size, np.inf)
        self.mixes = np.zeros((ref.size, table.count + 1))
        self.own = own

    def solve(self, which: Index, box: float) -> None:
        """Solve the programs of some sets in a box around where they are, and score them."""
        now, rows = self.amounts[which], self.level[which]
        zero, free = np.zeros((which.size, 1)), np.full((which.size, 1), np.inf)
        floor, ceiling = self.floor[which], self.ceiling[which]
        low = np.maximum(floor, np.minimum(now - box, ceiling))
        high = np.minimum(ceiling, np.maximum(now + box, floor))
        price = _RELIEF * self.worth[which][:, None]
        answer = solve_batch(
            BatchLP(
                np.concatenate([self.gradient[which], price], axis=1),
                np.concatenate([low, zero], axis=1),
                np.concatenate([high, free], axis=1),
                self.rows[which],
                np.concatenate([self.lower[which], -rows], axis=1),
                np.concatenate([self.upper[which], np.full(rows.shape, np.inf)], axis=1),
            )
        )
        good, amounts = which[answer.solved], answer.x[answer.solved]
        short = np.minimum(amounts[:, -1], _MOST_SHORTFALL)
        promised = self.offset[good] + (self.gradient[good] * amounts[:, :-1]).sum(axis=1)
        self.amounts[good] = amounts[:, :-1]
        self.score[good] = promised + self.worth[good] * short
        self.mixes[good] = 0.0
        self.mixes[good[:, None], self.columns[good]] = amounts[:, :-1] * self.used[good]

    def most_promising(self) -> Index:
        """Return the best sets of each reference; the score of the others is put behind them."""
        order = np.lexsort((self.score, self.ref))
        first = np.searchsorted(self.ref[order], self.ref[order])
        behind = order[np.arange(order.size) - first >= _LOOKED_AGAIN]
        self.score[behind] += 1e3 * self.worth[behind]
        chosen = np.setdiff1d(order, behind)
        return np.asarray(chosen[np.isfinite(self.score[chosen])], np.intp)

    def value_anew(self, which: Index) -> None:
        """Take rows and objective as they truly are where some sets are, with the slopes as they were."""
        if which.size == 0:
            return
        with np.errstate(all="ignore"):
            value, rows = self.table.rows(self.mixes[which], self.task[which])
        now = self.amounts[which]
        chord = np.matmul(self.jacobian[which], now[:, :, None])[:, :, 0]
        self.level[which] = np.nan_to_num(rows) - chord
        self.offset[which] = value - (self.gradient[which] * now).sum(axis=1)


def exchanged_sets(support: Support, order: Sequence[int], most: int, pairs: int) -> set[Support]:
    """Return the sets that differ from one by a material more, fewer or other, or by two of the cheapest.

    Parameters
    ----------
    support
        Solids in use.
    order
        Other solids, the most promising first.
    most
        Most solids of a set.
    pairs
        How many of `order` may come in two at a time.
    """
    out = {_sorted((*support, k)) for k in order} if len(support) < most else set()
    for gone in support:
        kept = tuple(k for k in support if k != gone)
        out |= {_sorted((*kept, k)) for k in order} | ({kept} if kept else set())
    few = order[:pairs]
    for two in combinations(support, 2):
        kept = tuple(k for k in support if k not in two)
        out |= {_sorted((*kept, *new)) for size in (0, 1, 2) for new in combinations(few, size)}
    return {each for each in out if each and len(each) <= most}


def _sorted(support: Iterable[int]) -> Support:
    return tuple(sorted(support))
