"""Why this answer: what each limit costs on both sides, second choices, single binders, drivers of cost."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.candidate import Candidate
from optimizer.engine.chance_constraints import ChanceBlend, chance_blends
from optimizer.engine.chance_rows import ChanceQuestion
from optimizer.engine.grid_search import GridSearch
from optimizer.engine.search_state import Question
from optimizer.engine.swap_search import best_mixes
from optimizer.job import Limit
from optimizer.materials import Catalogue
from optimizer.problem import Problem, problem_of
from optimizer.solution import SECOND_CHOICE, Alternative, LimitPrice, Solution
from optimizer.studies.under_doubt import judged_limits
from optimizer.verdict.assess import assess
from optimizer.verdict.judge import cost_parts_of

Array = NDArray[np.float64]

STEPS: Mapping[str, float] = {
    "demold_time": 5.0,
    "working_window": 1.0,
    "dry_strength": 1.0,
    "wet_strength": 1.0,
    "flexural_strength": 0.5,
    "dry_mass": 5.0,
    "demolded_mass": 5.0,
    "whiteness": 1.0,
    "heat_margin": 1.0,
    "drying_time": 0.25,
    "casting_peak": 1.0,
    "outer_wall_temperature": 1.0,
    "inner_wall_temperature": 1.0,
    "absorption": 0.01,
    "porosity": 0.01,
    "crystalline_silica": 0.05,
    "sealer_coats": 1.0,
    "damp_risk": 1.0,
}
"""One step of a limit, as a caster would move it [the property's unit]; others move by 1 %."""

_RIVALS = 5
_MOST_RIVALS = 12
_MOST_BINDERS = 8
_CONFIRMATIONS = 4
_LESS = 0.98
"""Share of its present amount below which a material counts as displaced [-]."""

_TIE = 0.02

_DRIVERS: Final = ("sealer_coats", "drying_time", "dry_mass", "demold_time")
"""Predicted properties that money hangs on: coats, shelf days, postage, turns of a mold."""

_ENDS: Final = ("low", "high")


def step_of(limit: Limit) -> float:
    """Return one step of a limit [its unit]."""
    return STEPS.get(limit.property, 0.01 * max(abs(limit.bound), 1e-6))


def moved(limit: Limit, steps: float) -> Limit:
    """Return the limit loosened by `steps` steps (tightened when negative)."""
    way = 1.0 if limit.sense == "<=" else -1.0
    return replace(limit, bound=limit.bound + way * steps * step_of(limit))


def limit_prices(problem: Problem, blend: ChanceBlend) -> dict[Limit, LimitPrice]:
    """Return what one step of each limit does to the objective, each side solved again.

    The re-solves start from the answer and its nearest rivals, so a better set of materials beyond them may
    be missed: the change shown is then larger than the true one, never smaller in cost.
    """
    limits = problem.job.limits
    changed = [_with_limit(problem, x, moved(x, steps)) for x in limits for steps in (1.0, -1.0)]
    here, *sides = _resolved([problem, *changed], blend)
    if here is None:
        return {}
    out = {}
    for k, limit in enumerate(limits):
        looser, tighter = sides[2 * k], sides[2 * k + 1]
        loosen = 0.0 if looser is None else min(looser - here, 0.0)
        tighten = None if tighter is None else max(tighter - here, 0.0)
        sign = _sign(problem)
        out[limit] = LimitPrice(step_of(limit), sign * loosen, None if tighten is None else sign * tighten)
    return out


def _sign(problem: Problem) -> float:
    return -1.0 if problem.job.maximize else 1.0


def _with_limit(problem: Problem, old: Limit, new: Limit) -> Problem:
    return problem.with_limits([new if limit == old else limit for limit in problem.job.limits])


def _resolved(problems: Sequence[Problem], blend: ChanceBlend) -> list[float | None]:
    """Return the objective of each problem solved again from one answer and its rivals, None for no blend."""
    found = chance_blends([_again(problem, blend) for problem in problems], whole=False)
    return [None if each is None else each.candidate.value for each in found]


def _again(problem: Problem, blend: ChanceBlend) -> ChanceQuestion:
    starts = {
        (c.support, c.case.doses.values()): c for c in reversed((blend.candidate, *blend.near[:_RIVALS]))
    }
    near = tuple(reversed(starts.values()))
    return ChanceQuestion(problem, judged_limits(problem), problem.job.confidence, near=near)


def blend_shares(problem: Problem, mix: Array) -> tuple[dict[str, float], float]:
    """Return the share of the dry mass by material, and the water ratio, of a mix per liter."""
    dry = float(mix[:-1].sum())
    shares = {
        name: float(mass / dry) for name, mass in zip(problem.names, mix[:-1], strict=True) if mass > 1e-9
    }
    return shares, float(mix[-1] / dry)


def alternatives(problem: Problem, blend: ChanceBlend, most: int = 3) -> tuple[Alternative, ...]:
    """Return blends of other materials within 2 % of the best, cheapest first, named by what they spare."""
    out: list[Alternative] = []
    best = blend.candidate
    seen = {best.support}
    for rival in blend.near:
        near = abs(rival.value - best.value) <= _TIE * max(abs(best.value), 1e-9)
        if near and rival.support not in seen:
            seen.add(rival.support)
            shares, water = blend_shares(problem, rival.mix)
            out.append(
                Alternative(_spares(problem, best, rival), shares, water, _sign(problem) * rival.value)
            )
        if len(out) == most:
            break
    return tuple(out)


def _spares(problem: Problem, best: Candidate, rival: Candidate) -> str:
    """Name what a second choice spares the shop: a bag to keep, the silica, or nothing in particular."""
    silica = problem.model.column("silica")
    words = []
    if len(rival.support) < len(best.support):
        words.append("fewer bags")
    if rival.mix @ silica <= 1e-3 * rival.mix[:-1].sum() < best.mix @ silica:
        words.append("no silica")
    return SECOND_CHOICE + (f", {' and '.join(words)}" if words else "")


def named_alternatives(
    alternatives: Iterable[Alternative], catalogue: Catalogue
) -> Iterator[tuple[str, Alternative]]:
    """Give the alternatives that have a blend and meet the limits by what they are, each name once.

    A binder alone by its label, a second choice by the material it is mostly made of.
    """
    taken: dict[str, int] = {}
    for other in alternatives:
        if other.objective is None or not other.blend:
            continue
        label = catalogue[max(other.blend, key=lambda name: other.blend[name])].short_label
        known = f"{label} alone" if other.name.endswith(" alone") else f"{SECOND_CHOICE}, mostly {label}"
        taken[known] = taken.get(known, 0) + 1
        yield (f"{known} ({taken[known]})" if taken[known] > 1 else known), other


def price_switches(problem: Problem, blend: ChanceBlend) -> dict[str, float]:
    """Return by how much the price of each used material may rise before another blend is cheaper [-].

    Shares of its present landed price; a material that no rival of the search displaces is left out. The
    switch is found on the mixes of the search as they are and confirmed by solving again at that price.
    """
    if problem.job.objective != "cost":
        return {}
    best = blend.candidate
    rises: dict[int, float] = {}
    scale = best.case.line.per_powder_money * problem.liters
    for k in best.support:
        money = scale * problem.prices[k]
        found = [
            (rival.value - best.value) / (money * (best.mix[k] - rival.mix[k]))
            for rival in blend.near[:_MOST_RIVALS]
            if best.mix[k] > rival.mix[k] + 1e-6 and rival.value >= best.value and money > 0.0
        ]
        if found:
            rises[k] = float(min(found))
    for _ in range(_CONFIRMATIONS):
        open_ = [k for k in rises if not np.isnan(rises[k])]
        again = chance_blends([_again(_dearer(problem, k, rises[k]), blend) for k in open_], whole=False)
        kept = [
            k
            for k, found in zip(open_, again, strict=True)
            if found is not None and found.candidate.mix[k] >= best.mix[k] * _LESS
        ]
        if not kept:
            break
        rises.update({k: 1.15 * rises[k] + 0.005 for k in kept})
    return {problem.names[k]: rise for k, rise in rises.items()}


def _dearer(problem: Problem, k: int, rise: float) -> Problem:
    name = problem.names[k]
    price = replace(problem.job.prices[name], price=problem.job.prices[name].price * (1.0 + rise))
    return problem.with_job(replace(problem.job, prices={**problem.job.prices, name: price}))


def single_binders(problem: Problem, grid: GridSearch | None = None) -> tuple[Alternative, ...]:
    """Return for each binder the best mix without any other at the same limits, or what it fails.

    Fillers and pigments stay allowed: that is the mix a caster would make of one binder. Of many binders
    only the cheapest few by the kilogram are asked.
    """
    fillers = tuple(k for k in problem.solids if problem.materials[k].role != "binder")
    binders = [k for k in problem.solids if problem.materials[k].role == "binder"]
    cheapest = sorted(binders, key=lambda k: (np.nan_to_num(problem.prices[k], nan=np.inf), k))
    asked = sorted(cheapest[:_MOST_BINDERS])
    nominal = best_mixes([Question(problem, (k, *fillers)) for k in asked], grid)
    judged, chance = judged_limits(problem), problem.job.confidence
    questions = [
        ChanceQuestion(problem, judged, chance, found, (k, *fillers))
        for k, found in zip(asked, nominal, strict=True)
        if found.holds
    ]
    surest = iter(chance_blends(questions, or_surest=True))
    out = []
    for k, found in zip(asked, nominal, strict=True):
        surer = next(surest) if found.holds else None
        best = found.best if surer is None else surer.candidate
        if best is None:
            continue
        blend, water = blend_shares(problem, best.mix)
        sure = surer is not None and surer.chance >= chance
        fails = () if sure else _failing(problem, best)
        value = _sign(problem) * best.value if sure else None
        out.append(Alternative(f"{problem.materials[k].label} alone", blend, water, value, fails))
    return tuple(out)


def _failing(problem: Problem, found: Candidate) -> tuple[str, ...]:
    """Return the properties whose limits one mix holds less surely than is asked, the least sure first."""
    seen = assess(problem, found.mix, problem.samples.search)
    chances = sorted(seen.probabilities.items(), key=lambda pair: pair[1])
    least = [limit.property for limit, chance in chances if chance < problem.job.confidence]
    return tuple(dict.fromkeys(least)) or ("the limits together",)


def cost_moves(solution: Solution, catalogue: Catalogue) -> Mapping[str, tuple[float, float]]:
    """Return what each driver does to the cost of a good vessel, the others at their best values.

    By property, the cost with it at its 5 % and at its 95 % point, less that at best values [currency]; empty
    without a cost.

    Parameters
    ----------
    solution : Solution
        A designed or checked blend.
    """
    best = solution.cost_at_best_values
    if solution.mix is None or best is None:
        return {}
    asked = [{name: end} for name in _DRIVERS for end in _ENDS]
    moved = [cost - best for cost in _costs_at(solution, catalogue, asked)]
    return {name: (moved[2 * place], moved[2 * place + 1]) for place, name in enumerate(_DRIVERS)}


def _costs_at(solution: Solution, catalogue: Catalogue, asked: Sequence[Mapping[str, str]]) -> list[float]:
    """Return the cost with some drivers at an end of their range, the others at best, for each asked."""
    assert solution.mix is not None
    problem = problem_of(solution.job, catalogue, extra=tuple(solution.mix.blend))
    grams = np.array([solution.mix.grams.get(name, 0.0) for name in (*problem.names, "water")])
    found = []
    for ends in asked:
        values = {name: getattr(solution.properties[name], ends.get(name, "value")) for name in _DRIVERS}
        parts = cost_parts_of(problem, grams, values)
        found.append(math.fsum(parts.values()) if parts else math.inf)
    return found
