"""Give and take: the frontier of two or three quantities among blends that meet the limits."""

from __future__ import annotations

import math
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from optimizer.chain.predict import cast_of, predict
from optimizer.engine.cases import cases_of
from optimizer.engine.descent import descend
from optimizer.engine.polish import Candidate
from optimizer.engine.scan import Scan
from optimizer.engine.search import Search
from optimizer.errors import NoBlend
from optimizer.formulation import Case, RowLabel, backoff_vector
from optimizer.money.turns import turns_per_day
from optimizer.nomenclature import QUANTITIES
from optimizer.pareto import Sense, knee, nondominated
from optimizer.problem import Problem
from optimizer.shop import Limit
from optimizer.studies.explain import blend_shares
from optimizer.verdict.judge import cost_parts_of

__all__ = ["Frontier", "FrontierBlend", "frontier", "frontier_faults"]

Array = NDArray[np.float64]

_SEARCHED = 6
"""Levels searched in full."""

_MENDED, _STEEP = 6, 0.1
"""Further levels searched, beyond steps of more than this share of the whole range."""

_SUPPORTS = 4
"""Sets of materials tried at every level."""


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
    found = [*sweep.ends(), *sweep.between(sweep.levels(points))]
    blends = [sweep.blend(candidate) for candidate in found]
    values = np.array([[b.values[name] for name in over] for b in blends])
    kept = nondominated(values, sweep.senses)
    order = sorted(kept, key=lambda k: tuple(values[k][::-1]))
    ordered = values[order]
    bend = knee(ordered, sweep.senses) if len(order) > 2 else None
    return Frontier(tuple(over), sweep.senses, tuple(blends[k] for k in order), bend)


def _largest_step(best: Sequence[Candidate | None], searched: Container[int]) -> int | None:
    """Return the unsearched place beyond the largest step in value, or None when all steps are small."""
    values = [math.nan if found is None else found.value for found in best]
    reach = np.nanmax(values) - np.nanmin(values) if not all(map(math.isnan, values)) else 0.0
    rises = [
        (math.inf if math.isnan(high) else high - low, k + 1)
        for k, (low, high) in enumerate(pairwise(values))
        if not math.isnan(low) and k + 1 not in searched
    ]
    rise, place = max(rises, default=(0.0, 0))
    return place if rise > _STEEP * reach else None


_Steps = tuple[int, int, float, tuple[tuple[int, float], ...]]


def _steps(case: Case) -> _Steps:
    """Return what tells the cases of one problem apart, whatever its limits."""
    return case.turns, case.coats, case.shipping, tuple(sorted(case.doses.items()))


class _Sweep:
    """The walk over the levels: a few are searched in full, the others with the materials met there.

    `pool` keeps the last mix of every choice of steps and materials that was the best somewhere, latest last.
    """

    def __init__(self, problem: Problem, over: tuple[str, ...], shifts: dict[RowLabel, float]) -> None:
        self.over, self.shifts = over, shifts
        self.senses: tuple[Sense, ...] = tuple(
            "min" if QUANTITIES[name].better == "lower" else "max" for name in over
        )
        self.problem = self._aimed(problem, 0)
        self.base = problem
        self.scan = Scan(problem)
        self.pool: dict[tuple[_Steps, tuple[int, ...]], Array] = {}
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

    def between(self, levels: Sequence[tuple[float, ...]]) -> list[Candidate]:
        """Return the best candidate at each level that has one."""
        stride = max(1, math.ceil(len(levels) / _SEARCHED))
        whole = {i: self._searched(levels[i]) for i in range(stride // 2, len(levels), stride)}
        best: list[Candidate | None] = []
        for i, level in enumerate(levels):
            near = min(whole, key=lambda k: abs(k - i))
            best.append(self._walked(level, whole.get(i), whole[near]))
        if len(self.over) == 2:
            self._mend(levels, best, set(whole))
        return [found for found in best if found is not None]

    def _mend(
        self, levels: Sequence[tuple[float, ...]], best: list[Candidate | None], searched: set[int]
    ) -> None:
        """Search beyond the largest steps between neighbors: there the materials are likely to change."""
        for _ in range(_MENDED):
            k = _largest_step(best, searched)
            if k is None:
                return
            searched.add(k)
            found = self._searched(levels[k])
            for j in (*range(k, len(levels)), *range(k - 1, -1, -1)):
                again = self._walked(levels[j], best[j], found)
                if again is best[j] and abs(j - k) > 1:
                    if j < k:
                        break
                    continue
                best[j] = again

    def _asked(self, level: tuple[float, ...]) -> Problem:
        """Return the problem with the other quantities held at a level."""
        held = [
            Limit(name, "<=" if sense == "min" else ">=", bound)
            for name, sense, bound in zip(self.over[1:], self.senses[1:], level, strict=True)
        ]
        return self.problem.with_limits([*self._others(held), *held])

    def _searched(self, level: tuple[float, ...]) -> Candidate | None:
        """Search a level in full and remember the materials met."""
        search = Search(self._asked(level), self.shifts, scan=self.scan)
        found = search.run()
        for met in sorted(search.polished.values(), key=Candidate.rank, reverse=True)[-_SUPPORTS:]:
            if met.feasible:
                self._remember(met)
        return found if found is not None and found.feasible else None

    def _remember(self, found: Candidate) -> None:
        key = (_steps(found.case), found.support)
        self.pool.pop(key, None)
        self.pool[key] = found.mix

    def _walked(
        self, level: tuple[float, ...], best: Candidate | None, near: Candidate | None
    ) -> Candidate | None:
        """Return the best at a level of the materials met so far, the nearest search's first."""
        asked = self._asked(level)
        cases = {_steps(case): case for case in cases_of(asked)}
        known = list(self.pool.items())[::-1][:_SUPPORTS]
        if near is not None:
            known.insert(0, ((_steps(near.case), near.support), near.mix))
        for (steps, support), start in known:
            case = cases.get(steps)
            if case is None or (best is not None and self.over[0] == "cost" and case.fixed >= best.value):
                continue
            own = [k for k in support if k in asked.solids]
            cutoff = np.inf if best is None else best.value
            backoff = backoff_vector(asked, case, self.shifts)
            again = descend(asked, case, own, start, backoff, own, cutoff)
            if again.feasible and (best is None or again.value < best.value):
                best = again
        if best is not None:
            self._remember(best)
        return best

    def _others(self, held: Sequence[Limit]) -> list[Limit]:
        """Return the job's limits that no level replaces: the tighter of the two rules anyway."""
        kinds = {(x.property, x.sense) for x in held}
        return [x for x in self.base.job.limits if (x.property, x.sense) not in kinds]

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
