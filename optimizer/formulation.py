"""The problem as rows: what must hold for any mix at all, what the limits ask, and what it costs.

Linear rows are matrices over ``z = (kg of each dry material, kg of water)`` per liter of slurry; curved
rows are functions of the chain with Jacobians by central differences of one vectorized evaluation. Pure
data and functions: no solver object appears here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from optimizer.job import Limit
from optimizer.money.vessel_cost import CostLine
from optimizer.problem import Problem, limit_rows, row_count
from optimizer.property_model.coefficients import SAND_DENSITY
from optimizer.property_model.microstructure import water_cut
from optimizer.property_model.predict import PREDICTORS, Cast, cast_of

Array = NDArray[np.float64]

Steps: TypeAlias = tuple[int, int, float, tuple[tuple[int, float], ...]]
"""Turns, coats, postage, and the doses by material position."""

CHAIN_ROWS = 3
"""Curved rows of the chain itself: water to hydrate, binder floor, sand ceiling."""


@dataclass(frozen=True)
class Case:
    """One choice of everything that comes in steps: turns, coats, admixture doses, mailing band.

    Attributes
    ----------
    line : CostLine
        Cost of a good vessel for these turns and coats.
    shipping : float
        Postage of the band [currency].
    limits : tuple[Limit, ...]
        Limits that hold the case: latest demold time, absorption edge, heaviest dry vessel.
    doses : Mapping[int, float]
        Share of the powder (plasticizer) or of the binder (retarder) by material position [-].
    turns, coats : int
        Castings of a mold per day, coats of sealer [count].
    """

    line: CostLine
    shipping: float = 0.0
    limits: tuple[Limit, ...] = ()
    doses: Mapping[int, float] = field(default_factory=dict)
    turns: int = 1
    coats: int = 0

    @property
    def fixed(self) -> float:
        """Cost before any powder and drying [currency]."""
        return self.line.fixed + self.shipping

    @property
    def steps(self) -> Steps:
        """What tells the cases of one problem apart, whatever its limits."""
        return self.turns, self.coats, self.shipping, tuple(sorted(self.doses.items()))

    def tighter_than(self, other: Case) -> bool:
        """Return True when every mix of this case is one of `other` too (same doses, tighter limits)."""
        if dict(self.doses) != dict(other.doses):
            return False
        mine = {x.property: x.bound for x in self.limits}
        return all(mine.get(x.property, np.inf) <= x.bound for x in other.limits)

    def __hash__(self) -> int:
        """Hash by what can differ between the cases of one problem."""
        return hash((self.turns, self.coats, self.shipping, self.limits, tuple(sorted(self.doses.items()))))


@dataclass(frozen=True)
class RowLabel:
    """Names one curved row of a limit; some limits take more than one row (`part`)."""

    limit: Limit
    part: int = 0


@dataclass(frozen=True)
class LinearRows:
    """Rows ``lower <= matrix @ z <= upper`` with their names."""

    names: tuple[str, ...]
    matrix: Array
    lower: Array
    upper: Array


def linear_rows(problem: Problem, case: Case) -> LinearRows:
    """Return the rows every mix of the case must hold, whatever the limits.

    Shares of single materials are bounded here from above; a least share binds only where a material is
    used at all and is set by the solver that chooses the materials.
    """
    model = problem.model
    column = model.column
    free = np.inf
    cut = _case_cut(problem, case)
    pour = column("water") - (1.0 - cut) * column("demand")
    bleed = _figure(problem, "water_ceiling") * (1.0 - cut) * column("demand") - column("water")
    grains = column("heavy") + column("light")
    paste = column("volume") - grains - _figure(problem, "paste_to_sand") * column("sand") / SAND_DENSITY
    pigment = _figure(problem, "pigment_ceiling")
    rows: list[tuple[str, Array, float, float]] = [
        ("liter", column("volume"), 1.0 - float(model["air"]), 1.0 - float(model["air"])),
        ("water_enough_to_pour", pour, 0.0, free),
        ("water_too_much", bleed, 0.0, free),
        ("grain_ceiling", grains, -free, _figure(problem, "grain_ceiling")),
        ("paste_over_sand", paste, 0.0, free),
        ("pigment_ceiling", pigment * column("binder") - column("pigment"), 0.0, free),
    ]
    rows.extend(_share_rows(problem, case))
    rows.extend(_shelf_rows(problem))
    names, matrix, lower, upper = zip(*rows, strict=True)
    return LinearRows(names, np.array(matrix), np.array(lower), np.array(upper))


def _figure(problem: Problem, name: str) -> float:
    return float(problem.model[name])


def _share_rows(problem: Problem, case: Case) -> list[tuple[str, Array, float, float]]:
    rows: list[tuple[str, Array, float, float]] = []
    powder, binder = problem.model.column("powder"), problem.model.column("binder")
    for k, (name, bounds) in enumerate(zip(problem.names, problem.bounds, strict=True)):
        unit = np.zeros(len(problem.names) + 1)
        unit[k] = 1.0
        if k in problem.doses:
            base = powder if problem.materials[k].kind == "plasticizer" else binder
            rows.append((f"dose_{name}", unit - case.doses.get(k, 0.0) * base, 0.0, 0.0))
        elif bounds.most < 1.0:
            rows.append((f"most_{name}", bounds.most * powder - unit, 0.0, np.inf))
    return rows


def _shelf_rows(problem: Problem) -> Iterator[tuple[str, Array, float, float]]:
    """Yield how much of a material the shelf has for one cavity; a mix is kilograms in a liter of slurry.

    A shelf with more than any liter of the material weighs is no limit.
    """
    for k, name in enumerate(problem.names):
        most = problem.job.shelf.get(name, np.inf) / problem.liters
        if most * problem.model.column("volume")[k] < 1.0:
            unit = np.zeros(len(problem.names) + 1)
            unit[k] = 1.0
            yield f"shelf_{name}", unit, -np.inf, most


def _case_cut(problem: Problem, case: Case) -> float:
    """Share of the water demand that the case's plasticizer saves [-]."""
    mix = np.zeros(len(problem.names) + 1)
    mix[:-1] = 1e-9
    total = 1.0
    for k, dose in case.doses.items():
        if problem.materials[k].kind == "plasticizer":
            mix[k] = dose
            total -= dose
    first = problem.solids[0]
    mix[first] = total
    return float(water_cut(problem.model, mix[None, :])[0])


def curved_rows(problem: Problem, case: Case, mixes: Array) -> tuple[Array, Cast]:
    """Return all curved rows of mixes, shape (mixes, rows), positive when held, and the casts."""
    cast = cast_of(problem.model, problem.conditions, mixes)
    return rows_of_cast(problem, case, cast), cast


def rows_of_cast(problem: Problem, case: Case, cast: Cast) -> Array:
    """Return all curved rows of a cast, shape (mixes, rows), positive when held.

    First the rows of the chain itself (water to hydrate, binder floor, sand ceiling by hydrate type), then
    those of the case, then those of the job's limits in order.
    """
    rows = chain_rows(cast)
    for limit in (*case.limits, *problem.job.limits):
        rows.extend(_rows_of(problem, case, limit, cast))
    return np.stack(rows, axis=-1)


def chain_rows(cast: Cast) -> list[Array]:
    """Return the rows of the chain itself: water to hydrate, binder floor, sand ceiling by hydrate type."""
    body, model = cast.body, cast.model
    sand = body.gypsum_share * model["sand_ceiling_gypsum"] + body.csa_share * model["sand_ceiling_csa"]
    bound = np.maximum(body["bound"] / np.maximum(body.degree, 1e-3), 1e-9)
    return [
        (body["water"] - bound) / bound,
        body.hydrates / model["binder_floor"] - 1.0,
        sand - body["sand"] / np.maximum(body["powder"], 1e-9),
    ]


def row_labels(problem: Problem, case: Case) -> tuple[RowLabel | None, ...]:
    """Return the label of each curved row in the order of `curved_rows`; None for rows of the chain."""
    labels: list[RowLabel | None] = [None] * CHAIN_ROWS
    for limit in (*case.limits, *problem.job.limits):
        labels.extend(RowLabel(limit, part) for part in range(row_count(limit)))
    return tuple(labels)


def backoff_vector(problem: Problem, case: Case, shifts: Mapping[RowLabel, float]) -> Array | None:
    """Return how far each curved row must be over-met, or None when nothing is asked.

    A case limit shares the shift of the job's limit on the same property and sense.
    """
    if not shifts:
        return None
    by_kind = {(k.limit.property, k.limit.sense, k.part): v for k, v in shifts.items()}
    return np.array(
        [
            0.0
            if label is None
            else shifts.get(label, by_kind.get((label.limit.property, label.limit.sense, label.part), 0.0))
            for label in row_labels(problem, case)
        ]
    )


def _rows_of(problem: Problem, case: Case, limit: Limit, cast: Cast) -> Sequence[Array]:
    if limit.property == "cost":
        sign = 1.0 if limit.sense == ">=" else -1.0
        return [sign * (cost_of_line(problem, case, cast) - limit.bound) / max(limit.bound, 1e-9)]
    return limit_rows(limit, cast)


def cost_of_line(problem: Problem, case: Case, cast: Cast) -> Array:
    """Return the cost of one good vessel of the case's turns and coats [currency]."""
    money = cast.mixes @ np.nan_to_num(problem.prices) * problem.liters
    days = PREDICTORS["drying_time"](cast) if case.line.per_shelf_day else 0.0
    return np.asarray(
        case.line.fixed + case.shipping + case.line.per_powder_money * money + case.line.per_shelf_day * days
    )
