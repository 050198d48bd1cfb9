"""Linear and integer models: stated as a frozen record, solved through PuLP, checked by our own code.

Only this module knows PuLP. It reads three things from a solve: how HiGHS stopped (by number), the best
bound it proved, and the values; cost and rows are recomputed from the record. Dual values are never read:
seen through PuLP with HiGHS, those of a maximized problem carry the wrong sign. What a limit costs is found
by solving again with the limit moved to either side.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from optimizer.solvers.status import HIGHS_NO_VERDICT, Status, from_highs, judge, quiet_stdout, relative_gap

if TYPE_CHECKING:
    import pulp

Vector = NDArray[np.float64]

TOLERANCE = 1e-7
"""Largest shortfall of a row, relative to its terms, that still counts as held."""

_GAP = 1e-6
_SOLVER_TOLERANCE = 1e-9  # finer than ours, so that whole numbers stay whole after rounding
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]{0,79}")


@dataclass(frozen=True, eq=False)
class LinearRow:
    """One row: ``lower <= coefficients @ columns <= upper``.

    Attributes
    ----------
    name : str
        What the row stands for, in words joined by underscores; a row with two limits is told as two,
        `name_min` and `name_max`.
    coefficients : numpy.ndarray or mapping of str to float
        One per column, or by column name with the zeros left out.
    lower, upper : float
        Limits; equal ones make an equality, infinite ones are absent.
    """

    name: str
    coefficients: Vector | Mapping[str, float]
    lower: float = -math.inf
    upper: float = math.inf


@dataclass(frozen=True, eq=False)
class LinearModel:
    """Minimize ``cost @ x`` over bounds, rows and, for some columns, whole numbers.

    Attributes
    ----------
    name : str
        What the model decides.
    columns : tuple of str
        Names of the columns.
    lower, upper : numpy.ndarray
        Their bounds.
    cost : numpy.ndarray
        Cost per unit of each column; negate it to maximize.
    rows : tuple of LinearRow
        The rows, uniquely named.
    integer : numpy.ndarray, optional
        True for each column that must be whole; none when left out.

    Raises
    ------
    ValueError
        For a name that cannot stand in a stored model, a repeated name, or a length that does not fit.
    """

    name: str
    columns: tuple[str, ...]
    lower: Vector
    upper: Vector
    cost: Vector
    rows: tuple[LinearRow, ...]
    integer: NDArray[np.bool_] | None = None
    matrix: Vector = field(init=False, repr=False)

    def __post_init__(self) -> None:
        rows = tuple(row.name for row in self.rows)
        sides = tuple(name for row in self.rows for name, _, _ in _sides(row))
        names = (self.name, *self.columns, *rows)
        if bad := [name for name in names if not _NAME.fullmatch(name)]:
            raise ValueError(f"names must be letters, digits and underscores: {', '.join(map(repr, bad))}")
        for kind in (self.columns, rows, sides):
            if len(set(kind)) < len(kind):
                raise ValueError(f"a name is used twice among {', '.join(kind)}")
        shapes = {part.shape for part in (self.lower, self.upper, self.cost, self.whole)}
        if shapes != {(len(self.columns),)}:
            raise ValueError(f"bounds, cost and integer flags must have one entry for each of {self.columns}")
        dense = [_dense(row, self.columns) for row in self.rows]
        object.__setattr__(self, "matrix", np.array(dense, dtype=float).reshape(-1, len(self.columns)))

    @property
    def whole(self) -> NDArray[np.bool_]:
        """Which columns must be whole numbers."""
        return np.zeros(len(self.columns), dtype=bool) if self.integer is None else self.integer

    def violation(self, values: Vector) -> float:
        """Return the largest shortfall of a row or bound, relative to the size of its terms.

        0 when everything holds.

        Parameters
        ----------
        values : numpy.ndarray
            One per column.
        """
        level, handled = self.matrix @ values, np.abs(self.matrix) @ np.abs(values)
        lows = np.array([row.lower for row in self.rows])
        highs = np.array([row.upper for row in self.rows])
        short = [_shortfall(level, lows, highs, handled), _shortfall(values, self.lower, self.upper, 1.0)]
        return float(np.concatenate(short).max(initial=0.0))


@dataclass(frozen=True, eq=False)
class LinearAnswer:
    """What a solve of a `LinearModel` is worth.

    Attributes
    ----------
    status : Status
        `OPTIMAL`, `FEASIBLE`, or why there is no answer.
    columns : tuple of str
        Names of the columns.
    values : numpy.ndarray
        One per column, whole columns exactly whole; empty without an answer.
    objective : float
        Cost recomputed from the values; not a number without an answer.
    bound : float
        Proved lower bound on the cost; minus infinite when none is known.
    violation : float
        Largest relative shortfall of a row or bound; not a number without an answer.
    """

    status: Status
    columns: tuple[str, ...]
    values: Vector
    objective: float
    bound: float
    violation: float

    def __getitem__(self, column: str) -> float:
        """Return the value of a column by its name."""
        return float(self.values[self.columns.index(column)])


def solve_linear(model: LinearModel, *, time_limit: float = 60.0, gap: float = _GAP) -> LinearAnswer:
    """Solve a linear or integer model and check the answer.

    Values that hold every row, or a status that says why there are none.

    Parameters
    ----------
    time_limit : float
        Time allowed [s].
    gap : float
        Relative gap between cost and proved bound at or below which an answer counts as optimal.

    Examples
    --------
    >>> import numpy as np
    >>> bags = LinearModel(
    ...     "bags", ("small", "large"), np.zeros(2), np.full(2, np.inf), np.array([6.0, 20.0]),
    ...     (LinearRow("need", {"small": 5.0, "large": 25.0}, lower=32.0),), np.array([True, True]),
    ... )
    >>> answer = solve_linear(bags)
    >>> answer.status.value, answer["small"], answer["large"], answer.objective
    ('optimal', 2.0, 1.0, 32.0)
    """
    raw = _run(model, time_limit, gap)
    if raw.code == HIGHS_NO_VERDICT:
        return _nothing(model, _without_cost(model, time_limit, gap))
    stopped = from_highs(raw.code)
    if raw.values is None:
        return _nothing(model, judge(stopped, holds=False, gap=math.inf, tolerance=gap))
    values = np.where(model.whole, np.round(raw.values), raw.values) + 0.0
    broken, objective = model.violation(values), float(model.cost @ values)
    bound = raw.bound if model.whole.any() else _linear_bound(stopped, objective)
    status = judge(stopped, broken <= TOLERANCE, relative_gap(objective, bound), gap)
    if not status.has_answer:
        return _nothing(model, status)
    return LinearAnswer(status, model.columns, values, objective, bound, broken)


@dataclass(frozen=True, eq=False)
class _Raw:
    """What HiGHS left behind: its code, its values if it has any, and the bound of an integer solve."""

    code: int
    values: Vector | None
    bound: float


def _run(model: LinearModel, time_limit: float, gap: float) -> _Raw:
    import pulp

    problem, variables = _state(model)
    solver = pulp.HiGHS(
        msg=False,
        timeLimit=time_limit,
        gapRel=gap,
        gapAbs=0.0,
        primal_feasibility_tolerance=_SOLVER_TOLERANCE,
        mip_feasibility_tolerance=_SOLVER_TOLERANCE,
    )
    with quiet_stdout():
        problem.solve(solver)
    highs = problem.solverModel
    values = None
    if highs.getSolution().value_valid:
        values = np.array([variable.varValue for variable in variables], dtype=float)
    return _Raw(int(highs.getModelStatus()), values, float(highs.getInfo().mip_dual_bound))


def _without_cost(model: LinearModel, time_limit: float, gap: float) -> Status:
    """Tell unbounded from infeasible where HiGHS cannot: a model without a cost is never unbounded."""
    feasible = solve_linear(replace(model, cost=np.zeros_like(model.cost)), time_limit=time_limit, gap=gap)
    return Status.UNBOUNDED if feasible.status.has_answer else feasible.status


def _linear_bound(stopped: Status, objective: float) -> float:
    """Return the bound of a continuous model: its own optimum, or nothing when the simplex was stopped."""
    return objective if stopped is Status.OPTIMAL else -math.inf


def _state(model: LinearModel) -> tuple[pulp.LpProblem, list[pulp.LpVariable]]:
    """Write the model in PuLP's objects; a row with two limits becomes two named rows."""
    import pulp

    problem = pulp.LpProblem(model.name, pulp.LpMinimize)
    variables = [
        problem.add_variable(name, _limit(low), _limit(high), pulp.LpInteger if whole else pulp.LpContinuous)
        for name, low, high, whole in zip(
            model.columns, model.lower.tolist(), model.upper.tolist(), model.whole.tolist(), strict=True
        )
    ]
    problem.setObjective(pulp.LpAffineExpression(zip(variables, model.cost.tolist(), strict=True)))
    for row, coefficients in zip(model.rows, model.matrix.tolist(), strict=True):
        terms = [(variable, value) for variable, value in zip(variables, coefficients, strict=True) if value]
        for name, sense, limit in _sides(row):
            problem.addConstraint(pulp.LpConstraint(pulp.LpAffineExpression(terms), sense, name, limit))
    return problem, variables


def _sides(row: LinearRow) -> list[tuple[str, int, float]]:
    """Return a row's limits as (name, PuLP sense, limit)."""
    if row.lower == row.upper:
        return [(row.name, 0, row.lower)]
    sides = [(1, row.lower, "_min"), (-1, row.upper, "_max")]
    present = [side for side in sides if math.isfinite(side[1])]
    return [(row.name + tail * (len(present) > 1), sense, limit) for sense, limit, tail in present]


def _limit(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _dense(row: LinearRow, columns: tuple[str, ...]) -> Vector:
    """Return a row's coefficients in column order."""
    if not isinstance(row.coefficients, Mapping):
        if np.shape(row.coefficients) != (len(columns),):
            raise ValueError(f"row {row.name} must have one coefficient for each of {columns}")
        return row.coefficients
    if unknown := sorted(set(row.coefficients) - set(columns)):
        raise ValueError(f"row {row.name} names columns the model lacks: {', '.join(unknown)}")
    return np.array([row.coefficients.get(column, 0.0) for column in columns])


def _shortfall(level: Vector, low: Vector, high: Vector, handled: Vector | float) -> Vector:
    """Return how far levels fall outside their limits, relative to the larger of limit and terms."""
    short = np.maximum(np.maximum(low - level, level - high), 0.0)
    finite = [np.where(np.isfinite(limit), np.abs(limit), 0.0) for limit in (low, high)]
    return short / np.maximum(np.maximum(*finite), np.maximum(handled, _SOLVER_TOLERANCE))


def _nothing(model: LinearModel, status: Status) -> LinearAnswer:
    return LinearAnswer(status, model.columns, np.zeros(0), math.nan, -math.inf, math.nan)
