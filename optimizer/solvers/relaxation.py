"""One linear program kept open and re-solved warm, for the many small changes of a branch-and-bound search.

HiGHS is used directly here, and only here: rebuilding a model per node through a modeling layer costs ten
to a hundred times what the warm dual simplex needs. What leaves this module is numbers, and the lower bound
that matters is never the solver's word: it is recomputed from the multipliers by weak duality, which holds
for *any* multipliers, so a sloppy solve can only make the bound weaker, never wrong. Infeasibility is
believed only when a Farkas ray proves it the same way.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.solvers.status import Status, from_highs, quiet_stdout

if TYPE_CHECKING:
    import highspy

Vector = NDArray[np.float64]
Index = NDArray[np.integer[Any]] | list[int] | slice

_OPTIONS: dict[str, bool | float | str] = {
    "output_flag": False,
    "solver": "simplex",
    "presolve": "off",
    "parallel": "off",
    "threads": 1,
    "small_matrix_value": 1e-12,
}
_ANY_THREADS = 0
_MINIMIZE = 1
_ROWWISE = 2
_NOISE = 1e-9
_EPSILON = float(np.finfo(float).eps)


@dataclass(frozen=True, eq=False)
class RelaxationAnswer:
    """What one solve of the linear program gave.

    Attributes
    ----------
    status : Status
        `OPTIMAL`; `INFEASIBLE` (proved); `UNBOUNDED`; `FAILED` for no verdict, never to be read as
        infeasible.
    bound : float
        Proved lower bound on the cost of every point of the program: infinite when infeasible, minus infinite
        when nothing is proved.
    value : float
        Cost of `x`; not a number unless optimal.
    x : numpy.ndarray
        The point; empty unless optimal.
    duals : numpy.ndarray
        Rise of the cost per unit of each row's limit; for an infeasible program the ray that proves it.
    reduced_costs : numpy.ndarray
        Rise of the cost per unit of each column pushed off its bound; empty unless optimal.
    """

    status: Status
    bound: float
    value: float
    x: Vector
    duals: Vector
    reduced_costs: Vector


class WarmLP:
    """Minimize ``cost @ x`` with ``row_lower <= matrix @ x <= row_upper`` and ``lower <= x <= upper``.

    Parameters
    ----------
    cost, lower, upper : array_like
        Cost and bounds of the columns; infinite bounds are allowed but weaken `safe_bound`.
    matrix : array_like
        Rows, dense.
    row_lower, row_upper : array_like
        Limits of the rows.

    Attributes
    ----------
    cost, lower, upper, matrix, row_lower, row_upper : numpy.ndarray
        The program as it stands; read them, change them through the methods.

    Examples
    --------
    >>> lp = WarmLP([1.0, 2.0], [0.0, 0.0], [1.0, 1.0], [[1.0, 1.0]], [1.5], [9.0])
    >>> lp.solve().value
    2.0
    >>> lp.set_column_bounds([0], [0.0], [0.5])
    >>> lp.solve().value
    2.5
    """

    def __init__(
        self,
        cost: ArrayLike,
        lower: ArrayLike,
        upper: ArrayLike,
        matrix: ArrayLike,
        row_lower: ArrayLike,
        row_upper: ArrayLike,
    ) -> None:
        self.cost, self.lower, self.upper = _copy(cost), _copy(lower), _copy(upper)
        self.matrix = _copy(matrix).reshape(-1, self.cost.size)
        self.row_lower, self.row_upper = _copy(row_lower), _copy(row_upper)
        self._highs = _open()
        self._pass()

    def replace(
        self,
        cost: ArrayLike,
        lower: ArrayLike,
        upper: ArrayLike,
        matrix: ArrayLike,
        row_lower: ArrayLike,
        row_upper: ArrayLike,
    ) -> None:
        """Put another program in place of this one; solved from scratch."""
        self.cost, self.lower, self.upper = _copy(cost), _copy(lower), _copy(upper)
        self.matrix = _copy(matrix).reshape(-1, self.cost.size)
        self.row_lower, self.row_upper = _copy(row_lower), _copy(row_upper)
        self._pass()

    def set_cost(self, cost: ArrayLike) -> None:
        """Replace the cost of all columns.

        Parameters
        ----------
        cost : array_like
            Cost per unit of each column.
        """
        self.cost = _copy(cost)
        self._refuse(self.cost)
        self._highs.changeColsCost(self.cost.size, _indices(self.cost.size), self.cost)

    def set_column_bounds(self, columns: Index, lower: ArrayLike, upper: ArrayLike) -> None:
        """Change the bounds of some columns.

        Parameters
        ----------
        columns : numpy.ndarray, list or slice
            Numbers of the columns.
        lower, upper : array_like
            Their new bounds; crossed ones make the program infeasible, as a branch may.
        """
        before, above = self.lower.copy(), self.upper.copy()
        self.lower[columns], self.upper[columns] = lower, upper
        # Each column once, or HiGHS refuses the whole call.
        moved = np.flatnonzero((self.lower != before) | (self.upper != above)).astype(np.int32)
        if moved.size:
            self._highs.changeColsBounds(moved.size, moved, self.lower[moved], self.upper[moved])

    def set_row_bounds(self, rows: ArrayLike, lower: ArrayLike, upper: ArrayLike) -> None:
        """Change the limits of some rows.

        Parameters
        ----------
        rows : array_like
            Numbers of the rows.
        """
        which = np.asarray(rows, dtype=np.int32)
        self.row_lower[which], self.row_upper[which] = lower, upper
        for row in which.tolist():
            self._highs.changeRowBounds(row, float(self.row_lower[row]), float(self.row_upper[row]))

    def set_row(self, row: int, coefficients: ArrayLike, lower: float, upper: float) -> None:
        """Replace one row; only the coefficients that differ are touched.

        Parameters
        ----------
        row : int
            Number of the row.
        coefficients : array_like
            Its new coefficients, one per column.
        lower, upper : float
            Its new limits.
        """
        new = np.asarray(coefficients, dtype=float)
        self._refuse(new)
        for column in np.flatnonzero(new != self.matrix[row]).tolist():
            self._highs.changeCoeff(row, column, float(new[column]))
        self.matrix[row] = new
        self.row_lower[row], self.row_upper[row] = lower, upper
        self._highs.changeRowBounds(row, float(lower), float(upper))

    def add_rows(self, matrix: ArrayLike, lower: ArrayLike, upper: ArrayLike) -> None:
        """Append rows; the basis stays warm.

        Parameters
        ----------
        matrix : array_like
            The new rows, dense.
        """
        new = _copy(matrix).reshape(-1, self.cost.size)
        self._refuse(new)
        count, width = new.shape
        low = np.broadcast_to(_copy(lower), count)
        high = np.broadcast_to(_copy(upper), count)
        starts = np.arange(0, count * width, max(width, 1), dtype=np.int32)
        columns = np.tile(_indices(width), count)
        self._highs.addRows(count, low, high, new.size, starts, columns, new.ravel())
        self.matrix = np.concatenate([self.matrix, new])
        self.row_lower = np.concatenate([self.row_lower, low])
        self.row_upper = np.concatenate([self.row_upper, high])

    def keep_rows(self, count: int) -> None:
        """Drop every row after the first `count`."""
        gone = np.arange(count, self.row_lower.size, dtype=np.int32)
        if gone.size:
            self._highs.deleteRows(gone.size, gone)
        self.matrix = self.matrix[:count]
        self.row_lower, self.row_upper = self.row_lower[:count], self.row_upper[:count]

    def solve(self, *, proved: bool = True) -> RelaxationAnswer:
        """Solve from the last basis by the dual simplex.

        Point, multipliers and a proved bound. A solve without a verdict is tried once more from scratch.

        Parameters
        ----------
        proved : bool
            False leaves the bound of an optimum at minus infinity, for those who only want the point.
        """
        if (self.lower > self.upper).any() or (self.row_lower > self.row_upper).any():
            return _nothing(Status.INFEASIBLE, np.inf)
        if self._refused:  # a coefficient that is no number, or too large for HiGHS
            return _nothing(Status.FAILED, -np.inf)
        answer = self._solve_once(proved)
        if answer.status is Status.FAILED:
            self._highs.clearSolver()
            answer = self._solve_once(proved)
        return answer

    def safe_bound(self, duals: ArrayLike) -> float:
        """Return a lower bound on the program's cost that any multipliers prove.

        See `weak_duality_bound`.

        Parameters
        ----------
        duals : array_like
            One multiplier per row (rows added since may be left out), from this program or a sibling of it.
        """
        return weak_duality_bound(self, np.asarray(duals, dtype=float), self.cost)

    def _pass(self) -> None:
        count, width = self.matrix.shape
        starts, columns = _dense(count, width)
        taken = self._highs.passModel(
            width,
            count,
            self.matrix.size,
            _ROWWISE,
            _MINIMIZE,
            0.0,
            self.cost,
            self.lower,
            self.upper,
            self.row_lower,
            self.row_upper,
            starts,
            columns,
            self.matrix.ravel(),
            np.zeros(width, dtype=np.int32),
        )
        self._refused = int(taken) < 0

    def _refuse(self, coefficients: Vector) -> None:
        """Note a coefficient that is no number: HiGHS takes it and then may never end."""
        self._refused = self._refused or not np.isfinite(coefficients).all()

    def _solve_once(self, proved: bool) -> RelaxationAnswer:
        if int(self._highs.run()) < 0:
            # HiGHS refuses a number of threads other than that of the first solve in the process, whoever
            # made it.
            self._highs.setOptionValue("threads", _ANY_THREADS)
            self._highs.run()
        status = from_highs(int(self._highs.getModelStatus()))
        if status is Status.OPTIMAL:
            return self._optimum(proved)
        if status is Status.INFEASIBLE:
            return self._infeasible()
        return _nothing(status if status is Status.UNBOUNDED else Status.FAILED, -np.inf)

    def _optimum(self, proved: bool) -> RelaxationAnswer:
        solution = self._highs.getSolution()
        x, duals = np.array(solution.col_value), np.array(solution.row_dual)
        value = float(self.cost @ x)
        reduced = self.cost - duals @ self.matrix
        bound = self.safe_bound(duals) if proved else -np.inf
        return RelaxationAnswer(Status.OPTIMAL, bound, value, x, duals, reduced)

    def _infeasible(self) -> RelaxationAnswer:
        """Believe infeasibility only with a ray whose bound on a zero cost is above zero."""
        _, exists, ray = self._highs.getDualRay()  # type: ignore[attr-defined]  # absent from highspy's stubs
        nothing = np.zeros(self.cost.size)
        for direction in (ray, -ray) if exists else ():
            if weak_duality_bound(self, direction, nothing) > 0.0:
                return _nothing(Status.INFEASIBLE, np.inf, direction)
        return _nothing(Status.FAILED, -np.inf)


def weak_duality_bound(lp: WarmLP, duals: Vector, cost: Vector) -> float:
    """Return the lower bound on a cost that multipliers prove, whatever their origin.

    The bound, less what rounding may have added; minus infinite when a column without a bound is priced.

    Parameters
    ----------
    lp : WarmLP
        The program, for its rows and bounds.
    duals : numpy.ndarray
        One multiplier per row, rows added since left out; those of the wrong sign for a one-sided row count
        as zero.
    cost : numpy.ndarray
        Cost per unit of each column.

    Notes
    -----
    For every point of the program ``cost @ x = duals @ (matrix @ x) + rest @ x`` with ``rest = cost - duals
    @ matrix``; each term is at least what its own limit allows (weak duality, textbook). The bound is exact
    only where every column has finite bounds: on the open side of a column a rest below 1e-9 of the terms it
    was made of counts as zero.
    """
    count = duals.size
    matrix = lp.matrix[:count]
    pull = np.where(duals > 0.0, lp.row_lower[:count], lp.row_upper[:count])
    if not np.isfinite(pull).all():
        duals = np.where(np.isfinite(pull), duals, 0.0)
        pull = np.where(np.isfinite(pull), pull, 0.0)
    weights = np.abs(duals)
    rest = cost - duals @ matrix
    made_of = np.abs(cost) + weights @ np.abs(matrix)
    reach = np.where(rest > 0.0, lp.lower, lp.upper)
    open_ended = ~np.isfinite(reach)
    if open_ended.any():
        if np.any(np.abs(rest) > _NOISE * made_of, where=open_ended):
            return -np.inf
        reach = np.where(open_ended, 0.0, reach)
    handled = weights @ np.abs(pull) + made_of @ np.abs(reach)
    rounding = _EPSILON * (count + reach.size + 2) * handled
    return float(duals @ pull + rest @ reach - rounding)


def _open() -> highspy.Highs:
    import highspy

    with quiet_stdout():
        highs = highspy.Highs()  # type: ignore[no-untyped-call]  # highspy leaves its constructor unannotated
    for name, value in _OPTIONS.items():
        highs.setOptionValue(name, value)
    return highs


def _nothing(status: Status, bound: float, duals: Vector | None = None) -> RelaxationAnswer:
    empty = np.zeros(0)
    return RelaxationAnswer(status, bound, np.nan, empty, empty if duals is None else duals, empty)


def _copy(values: ArrayLike) -> Vector:
    return np.array(values, dtype=float)


@lru_cache(maxsize=256)
def _dense(count: int, width: int) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Return the starts of the rows of a dense matrix, and the columns of its entries."""
    starts = np.arange(0, count * width + 1, max(width, 1), dtype=np.int32)
    return starts, np.tile(_indices(width), count)


def _indices(count: int) -> NDArray[np.int32]:
    return np.arange(count, dtype=np.int32)
