"""Put a relaxation together: the linear rows of a case, its limits, its goal."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from optimizer.certificate.build import Builder
from optimizer.certificate.case_constants import EXCESS, laws_of, sums_of
from optimizer.certificate.drying_relaxation import add_days
from optimizer.certificate.layout import FREE, Row
from optimizer.certificate.limits import LOWER, UPPER, absorption_row, lay_limit, line_of
from optimizer.certificate.linear_bounds import Ground, water_rays
from optimizer.certificate.relax import CaseRow, Relaxation, RowNumbers
from optimizer.certificate.terms import Box, sum_of
from optimizer.engine.candidate import TOLERANCE
from optimizer.formulation import Case, RowLabel, linear_rows
from optimizer.job import Limit
from optimizer.problem import Problem, row_count
from optimizer.solvers.relaxation import WarmLP

__all__ = ["has_goal", "relaxation_of", "shared_case", "shifts_of"]

Array = NDArray[np.float64]
Shifts = Callable[[Limit], tuple[float, ...]]

SLACK = 2.0 * TOLERANCE
"""How far rows are loosened, so that the proof covers every mix the engine would call feasible."""

_STEPPED = ("absorption", "dry_mass")
"""Limits of a case that only move a number: cases that differ in these share one relaxation."""


def shared_case(case: Case) -> tuple[object, ...]:
    """Return a key equal for cases that can share one relaxation."""
    others = tuple(limit for limit in case.limits if limit.property not in _STEPPED)
    kinds = tuple(limit.property for limit in case.limits)
    return (tuple(sorted(case.doses.items())), others, kinds)


def shifts_of(shifts: Mapping[RowLabel, float]) -> Shifts:
    """Return the lookup `optimizer.formulation.backoff_vector` makes, less `SLACK`, one limit at a time."""
    by_kind = {(k.limit.property, k.limit.sense, k.part): v for k, v in shifts.items()}

    def shift(limit: Limit, part: int) -> float:
        same_kind = by_kind.get((limit.property, limit.sense, part), 0.0)
        return shifts.get(RowLabel(limit, part), same_kind) - SLACK

    def of(limit: Limit) -> tuple[float, ...]:
        return tuple(shift(limit, part) for part in range(row_count(limit)))

    return of


def has_goal(problem: Problem) -> bool:
    """Return True when the job's objective is a sum a relaxation can minimize."""
    name = problem.job.objective
    return name in LOWER or name == "cost" or (name == "drying_time" and not problem.job.maximize)


def relaxation_of(problem: Problem, case: Case, regime: str, shifts: Shifts) -> Relaxation:
    """Lay out the relaxation of a case in one regime.

    Raises
    ------
    ImpossibleError
        If the linear rows leave no mix in this regime.
    """
    laws = laws_of(problem, case)
    sums = sums_of(problem, regime, laws)
    ground = _ground(problem, case, regime, sums, shifts)
    builder = Builder(problem, regime, laws, sums, ground)
    for weights, low, high in zip(ground.matrix, ground.lower, ground.upper, strict=True):
        row = {int(k): float(weights[k]) for k in np.flatnonzero(weights)}
        builder.layout.row(row, float(low), float(high))
    _sand_row(builder)
    unused = _limits(problem, builder, case, shifts)
    case_rows = _case_rows(builder, case)
    return _assembled(problem, builder, unused, case_rows, _goal(problem, builder, case), shifts)


def _ground(problem: Problem, case: Case, regime: str, sums: Mapping[str, Array], shifts: Shifts) -> Ground:
    """Return the linear rows of a case's doses in one regime, with all limits that are linear there."""
    rows = linear_rows(problem, case)
    sulfate = (0.0, FREE) if regime == EXCESS else (-FREE, 0.0)
    more: list[tuple[Array, float, float]] = [
        (sums["hydrates"], float(problem.model["binder_floor"]) * (1.0 - SLACK), FREE),
        (sums["free_water"] + SLACK * sums["bound"], 0.0, FREE),
        (sums["sulfate"] - 2.0 * sums["yeelimite"], *sulfate),
    ]
    lines = (line_of(problem, sums, limit, shifts(limit)[0]) for limit in problem.job.limits)
    more.extend(line for line in lines if line is not None)
    matrix = np.vstack([rows.matrix, *(weights for weights, _, _ in more)])
    lower = np.concatenate([rows.lower, [low for _, low, _ in more]])
    upper = np.concatenate([rows.upper, [high for _, _, high in more]])
    pour, bleed = (rows.matrix[rows.names.index(name)] for name in ("water_enough_to_pour", "water_too_much"))
    rays = water_rays(np.maximum(-pour[:-1], 0.0), np.maximum(bleed[:-1], -pour[:-1]))
    return Ground(sums["volumes"], matrix, lower, upper, rays)


def _sand_row(builder: Builder) -> None:
    if not builder.any("sand"):
        return
    model = builder.problem.model
    ends = (float(model["sand_ceiling_gypsum"]), float(model["sand_ceiling_csa"]))
    ceiling = builder.by_share("powder beside cement", "powder", ends, low=False)
    slack = {builder.form("powder"): SLACK, builder.form("sand"): -1.0}
    builder.layout.row(sum_of((1.0, ceiling), (1.0, slack)))


def _limits(problem: Problem, builder: Builder, case: Case, shifts: Shifts) -> tuple[Limit, ...]:
    unused = []
    for limit in (*(x for x in case.limits if x.property not in _STEPPED), *problem.job.limits):
        if limit.property == "cost":
            if limit.sense != "<=":
                unused.append(limit)
        elif line_of(problem, builder.sums, limit, 0.0) is None and not lay_limit(
            builder, limit, shifts(limit)
        ):
            unused.append(limit)
    return tuple(unused)


def _case_rows(builder: Builder, case: Case) -> dict[str, CaseRow]:
    out: dict[str, CaseRow] = {}
    for limit in case.limits:
        if limit.property == "absorption":
            out["absorption"] = (builder.layout.row({}, -FREE, FREE), absorption_row(builder))
        if limit.property == "dry_mass":
            out["dry_mass"] = (builder.layout.row({}, -FREE, FREE), _mass_row(builder))
    if any(limit.property == "cost" and limit.sense == "<=" for limit in builder.problem.job.limits):
        out["cost"] = (builder.layout.row({}, -FREE, FREE), _budget_row(builder, case))
    return out


def _budget_row(builder: Builder, case: Case) -> Callable[[float], Row]:
    money = money_of(builder.problem, builder, case)
    return lambda bound: Row({column: -value for column, value in money.items()}, -bound)


def _mass_row(builder: Builder) -> Callable[[float], Row]:
    grams, column = builder.problem.conditions.vessel.cavity_volume, builder.form("dry")
    return lambda bound: Row({column: -grams}, -bound)


def _goal(problem: Problem, builder: Builder, case: Case) -> dict[int, float]:
    """Return the goal over the columns, the case's fixed part left out; empty when there is none."""
    name = problem.job.objective
    if name == "cost":
        return money_of(problem, builder, case)
    if name in LOWER:
        most = problem.job.maximize
        weights = -UPPER[name](problem, builder.sums) if most else LOWER[name](problem, builder.sums)
        return {int(k): float(weights[k]) for k in np.flatnonzero(weights)}
    if name == "drying_time" and not problem.job.maximize:
        return {add_days(builder): 1.0}
    return {}


def money_of(problem: Problem, builder: Builder, case: Case) -> dict[int, float]:
    """Return what a case's powders and shelf days cost, by column."""
    money = case.line.per_powder_money * problem.liters * np.nan_to_num(problem.prices)
    out = {int(k): float(money[k]) for k in np.flatnonzero(money)}
    if case.line.per_shelf_day:
        out[add_days(builder)] = case.line.per_shelf_day
    return out


def _assembled(
    problem: Problem,
    builder: Builder,
    unused: tuple[Limit, ...],
    case_rows: dict[str, CaseRow],
    goal: dict[int, float],
    shifts: Shifts,
) -> Relaxation:
    layout = builder.layout
    powder = builder.form("powder")
    doses = tuple(layout.row({powder: -problem.bounds[k].least, k: 1.0}, -FREE, FREE) for k in problem.solids)
    cap = problem.job.at_most_materials
    cap_row = layout.row({}, -FREE, FREE) if cap is not None and cap < len(problem.solids) else None
    cutoff = layout.row(goal, -FREE, FREE)
    first = len(layout.rows)
    for _ in range(2 * len(layout.ratios)):
        layout.row({}, -FREE, FREE)
    ranges = [builder.ranges[k] for k in range(len(layout.ratios))]
    program = WarmLP(
        layout.dense(goal),
        layout.lower,
        layout.upper,
        np.array([layout.dense(row.coefficients) for row in layout.rows]),
        [row.lower for row in layout.rows],
        [row.upper for row in layout.rows],
    )
    return Relaxation(
        problem,
        builder,
        program,
        Box(np.array([r.low for r in ranges]), np.array([r.high for r in ranges])),
        unused,
        layout.dense(goal),
        RowNumbers(first, doses, cap_row, cutoff, case_rows),
        shifts,
    )
