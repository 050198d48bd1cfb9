"""Give and take: the frontier of two or three quantities among blends that meet the limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.chain.predict import cast_of, predict
from optimizer.engine.cases import cases_of
from optimizer.engine.polish import Candidate, polish
from optimizer.engine.scan import Scan
from optimizer.engine.search import Search
from optimizer.errors import NoBlend
from optimizer.formulation import Case, RowLabel, backoff_vector, rows_of_cast
from optimizer.money.turns import turns_per_day
from optimizer.nomenclature import QUANTITIES
from optimizer.pareto import Sense, knee, nondominated
from optimizer.problem import Problem
from optimizer.shop import Limit
from optimizer.studies.explain import blend_shares
from optimizer.verdict.judge import cost_parts_of

__all__ = ["Frontier", "FrontierBlend", "frontier", "frontier_faults"]

Array = NDArray[np.float64]

_SUPPORTS, _FRESH = 2, 2
_HOPEFUL = 0.1


@dataclass(frozen=True)
class FrontierBlend:
    """One blend of a frontier.

    Attributes
    ----------
    values : Mapping[str, float]
        Every property, and ``cost`` where materials are priced.
    blend : Mapping[str, float]
        Share of the dry mass by material [-].
    water_ratio : float
        Water per dry mass [-].
    turns, coats : int
        Castings of a mold per day, coats of sealer.
    mix : tuple[float, ...]
        Kilograms per liter in the problem's order, water last.
    """

    values: Mapping[str, float]
    blend: Mapping[str, float]
    water_ratio: float
    turns: int
    coats: int
    mix: tuple[float, ...]


@dataclass(frozen=True)
class Frontier:
    """Blends none of which is beaten in all quantities at once.

    Attributes
    ----------
    over : tuple[str, ...]
        The quantities traded.
    senses : tuple[str, ...]
        ``min`` or ``max`` for each.
    blends : tuple[FrontierBlend, ...]
        In order of the second quantity, then the third.
    knee : int | None
        Place of the blend where giving more buys least; None when there is no bend.
    """

    over: tuple[str, ...]
    senses: tuple[str, ...]
    blends: tuple[FrontierBlend, ...]
    knee: int | None

    def table(self) -> list[dict[str, float]]:
        """Return one row per blend with the traded quantities and the shares."""
        names = sorted({name for b in self.blends for name in b.blend})
        return [
            {
                **{name: b.values[name] for name in self.over},
                **{f"share_{name}": b.blend.get(name, 0.0) for name in names},
                "water_ratio": b.water_ratio,
            }
            for b in self.blends
        ]


def frontier_faults(over: Sequence[str]) -> str | None:
    """Return what is wrong with the quantities asked for, or None.

    Examples
    --------
    >>> frontier_faults(("cost", "demold_time")) is None
    True
    >>> frontier_faults(("cost",))
    'name two or three quantities, read 1'
    """
    if len(over) not in (2, 3):
        return f"name two or three quantities, read {len(over)}"
    for name in over:
        if name not in QUANTITIES:
            return f"no quantity named {name!r}; known: {', '.join(QUANTITIES)}"
        if QUANTITIES[name].better == "neither" or name in ("damp_risk", "sealer_coats"):
            return f"{name} has no better and worse to trade smoothly; choose another"
    return None if len(set(over)) == len(over) else "each quantity once"


def frontier(
    problem: Problem,
    over: Sequence[str],
    points: int = 60,
    shifts: Mapping[RowLabel, float] | None = None,
) -> Frontier:
    """Return the frontier of two or three quantities.

    Parameters
    ----------
    problem
        Limits are held on every blend.
    over
        Names of two or three quantities; the first is made best at each level of the others.
    points
        About how many blends to solve for.
    shifts
        Over-meeting of limit rows for a confidence above one half.

    Raises
    ------
    NoBlend
        If no blend meets the limits at all.
    ValueError
        If `frontier_faults` finds fault.
    """
    fault = frontier_faults(over)
    if fault:
        raise ValueError(fault)
    sweep = _Sweep(problem, tuple(over), dict(shifts or {}))
    found = sweep.ends()
    for level in sweep.levels(points):
        found.extend(sweep.at(level))
    blends = [sweep.blend(candidate) for candidate in found]
    values = np.array([[b.values[name] for name in over] for b in blends])
    kept = nondominated(values, sweep.senses)
    order = sorted(kept, key=lambda k: tuple(values[k][::-1]))
    ordered = values[order]
    bend = knee(ordered, sweep.senses) if len(order) > 2 else None
    return Frontier(tuple(over), sweep.senses, tuple(blends[k] for k in order), bend)


class _Sweep:
    """The walk over the levels; keeps the last mixes of each set of materials as starts."""

    def __init__(self, problem: Problem, over: tuple[str, ...], shifts: dict[RowLabel, float]) -> None:
        self.over, self.shifts = over, shifts
        self.senses: tuple[Sense, ...] = tuple(
            "min" if QUANTITIES[name].better == "lower" else "max" for name in over
        )
        self.problem = self._aimed(problem, 0)
        self.base = problem
        self.scan = Scan(problem)
        self.starts: dict[tuple[int, tuple[int, ...]], Array] = {}
        self.bests: list[Candidate] = []

    def _aimed(self, problem: Problem, k: int) -> Problem:
        job = replace(problem.job, objective=self.over[k], maximize=self.senses[k] == "max")
        return replace(problem, job=job)

    def ends(self) -> list[Candidate]:
        """Return the best mix of each quantity alone."""
        for k in range(len(self.over)):
            found = Search(self._aimed(self.base, k), self.shifts, scan=self.scan).run()
            if found is None or not found.feasible:
                msg = "no blend meets the limits, so there is nothing to trade"
                raise NoBlend(msg)
            self.bests.append(found)
        return list(self.bests)

    def levels(self, points: int) -> list[tuple[float, ...]]:
        """Return levels of the held quantities between their values at the ends, loose to tight."""
        values = np.array([self._values(c.mix) for c in self.bests])
        axes = []
        per_axis = points if len(self.over) == 2 else max(3, round(points**0.5))
        for k in range(1, len(self.over)):
            best = values[k, k]
            worst = np.nanmax(values[:, k]) if self.senses[k] == "min" else np.nanmin(values[:, k])
            inside = np.linspace(worst, best, per_axis + 1)[1:-1] if per_axis > 1 else np.array([best])
            axes.append(inside)
        if len(axes) == 1:
            return [(float(x),) for x in axes[0]]
        return [(float(x), float(y)) for x in axes[0] for y in axes[1]]

    def _values(self, mix: Array) -> list[float]:
        whole = self._all_values(mix)
        return [whole[name] for name in self.over]

    def _all_values(self, mix: Array) -> dict[str, float]:
        cast = cast_of(self.base.model, self.base.bench, mix[None, :])
        values = {name: float(np.ravel(v)[0]) for name, v in predict(cast).items()}
        parts = cost_parts_of(self.base, mix * self.base.liters * 1e3, values)
        return {**values, "cost": float(sum(parts.values())) if parts else float("nan")}

    def at(self, level: tuple[float, ...]) -> list[Candidate]:
        """Return the best candidate with the other quantities held at a level, if any."""
        held = [
            Limit(name, "<=" if sense == "min" else ">=", bound)
            for name, sense, bound in zip(self.over[1:], self.senses[1:], level, strict=True)
        ]
        asked = self.problem.with_limits([*self._others(held), *held])
        best: Candidate | None = None
        for case in cases_of(asked):
            floor = case.fixed if self.over[0] == "cost" else -np.inf
            if best is not None and floor >= best.value:
                continue
            for support, start in self._starts(asked, case):
                backoff = backoff_vector(asked, case, self.shifts)
                again = polish(asked, case, support, start, backoff)
                if again.feasible:
                    self.starts[(case.coats, support)] = again.mix
                    best = again if best is None or again.value < best.value else best
        return [] if best is None else [best]

    def _others(self, held: Sequence[Limit]) -> list[Limit]:
        """Return the job's limits that no level replaces: the tighter of the two rules anyway."""
        kinds = {(x.property, x.sense) for x in held}
        return [x for x in self.base.job.limits if (x.property, x.sense) not in kinds]

    def _starts(self, asked: Problem, case: Case) -> list[tuple[tuple[int, ...], Array]]:
        cast = self.scan.cast(case)
        rows = rows_of_cast(asked, case, cast)
        short = np.maximum(-rows, 0.0).sum(axis=1)
        value = cast.mixes @ np.nan_to_num(asked.prices)
        out: dict[tuple[int, ...], Array] = {}
        known = [(s, m) for (coats, s), m in self.starts.items() if coats == case.coats]
        out.update(known[-_SUPPORTS:])
        for i in np.lexsort((value, np.where(short <= 0.02, 0.0, short)))[:200]:
            if len(out) >= _SUPPORTS + _FRESH or short[i] > _HOPEFUL:
                break
            out.setdefault(self.scan.supports[i], cast.mixes[i])
        return list(out.items())

    def blend(self, candidate: Candidate) -> FrontierBlend:
        """Return the record of a candidate, all properties computed anew."""
        values = self._all_values(candidate.mix)
        shares, water = blend_shares(self.base, candidate.mix)
        coats = values["sealer_coats"]
        return FrontierBlend(
            values,
            shares,
            water,
            turns_per_day(values["demold_time"], self.base.job.shop),
            int(coats) if np.isfinite(coats) else -1,
            tuple(map(float, candidate.mix)),
        )
