"""What is wrong with an answer, found without the engine: false "holds", false "no blend", lost money.

Every finding is one sentence that begins with its kind, so that findings can be counted.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from optimizer.jobfile import parse_job
from optimizer.materials import Catalogue
from optimizer.problem import Problem, problem_of
from optimizer.property_model.samples import DrawSet, samples_of
from optimizer.solution import NOT_SURE, Solution, WeighedMix
from optimizer.studies.check import check
from optimizer.studies.design import design
from optimizer.verdict.assess import FAILS, HOLDS, assess
from tests.trust.dense_search import Found, dense_search
from tests.trust.second_opinion import Opinion

__all__ = ["Inspected", "inspect_job"]

TOLERANCE = 2e-6
"""A limit missed by less than this part of its size counts as met: solver and scale resolve no less."""

BEATEN = 5e-3
"""Part of the objective by which a dense search may beat an answer: what rounding to the scale may cost."""

_DRAWS = DrawSet(1500, 11)
"""Draws that neither the search nor the answer has seen."""

_LOOKED_AT = 60
_WEIGHED, _ROUNDINGS = 4, 6
"""Rivals of a dense search that are weighed, and roundings of each that are judged."""

_FILL = (0.9985, 1.02)
"""Share of the cavity that weighed masses may fill [-]."""


@dataclass(frozen=True)
class Inspected:
    """An inspected answer.

    Attributes
    ----------
    status : str
        What the engine said.
    findings : tuple[str, ...]
        What is wrong with it.
    regret : float
        Part of the objective by which a dense search is better; negative where the engine is [-].
    chance_gap : float
        Chance of all limits in draws of its own less the confidence asked for [-].
    """

    status: str
    findings: tuple[str, ...]
    regret: float = np.nan
    chance_gap: float = np.nan


def inspect_job(text: str, catalogue: Catalogue, *, explain: bool = False, dense: bool = True) -> Inspected:
    """Design a job and inspect the answer.

    Parameters
    ----------
    text
        Job file.
    catalogue
        The figures.
    explain
        True asks for the whole explained answer.
    dense
        True compares the objective with a dense search even where a blend was found.
    """
    job = parse_job(text, catalogue, "job")
    problem = problem_of(job, catalogue)
    solution = design(job, catalogue, explain=explain)
    opinion = Opinion(problem)
    if solution.mix is None:
        found = dense_search(problem, opinion)
        return Inspected(solution.status, tuple(_false_no_blend(problem, found)))
    findings = [*_of_mix(problem, opinion, solution), *_of_check(solution, catalogue)]
    regret = np.nan
    if dense:
        regret, beaten = _regret(problem, solution, dense_search(problem, opinion))
        findings += beaten
    return Inspected(solution.status, tuple(findings), regret, _chance_gap(problem, solution))


def _weighed(problem: Problem, mix: WeighedMix) -> tuple[np.ndarray, float]:
    """Return the weighed mix per liter, shape (1, n + 1) [kg/L], and how full it makes the cavity [-]."""
    grams = np.array([mix.grams.get(name, 0.0) for name in (*problem.names, "water")])
    volume = float(grams @ problem.model.column("volume")) / (1.0 - float(problem.model["air"]))
    return (grams / volume)[None, :], volume / problem.job.vessel.cavity_volume


def _of_mix(problem: Problem, opinion: Opinion, solution: Solution) -> Iterator[str]:
    """Judge the weighed mix again, from its grams."""
    assert solution.mix is not None
    mixes, fill = _weighed(problem, solution.mix)
    values = opinion.values(mixes, fill)
    claimed = {f"{v.limit.property} {v.limit.sense} {v.limit.bound:g}": v.verdict for v in solution.limits}
    missed = {name: float(x[0]) for name, x in opinion.missed(values).items()}
    for name, amount in missed.items():
        if claimed.get(name) == HOLDS and amount > TOLERANCE and problem.job.confidence >= 0.6:
            yield f"false holds: {name} is missed by {amount:.2e} of its size at best values"
        elif claimed.get(name) == FAILS and not _admitted(solution):
            yield f"designed but not met: {name} is {claimed.get(name)} ({amount:.2e} of its size)"
    least_weighed = _weighing_room(problem, solution)
    for name, amount in opinion.broken(mixes, values).items():
        if float(amount[0]) > TOLERANCE + least_weighed.get(name, 0.0) and not _admitted(solution):
            yield f"rule broken: {name} by {float(amount[0]):.2e}"
    yield from _of_figures(problem, solution, {name: float(x[0]) for name, x in values.items()})


def _admitted(solution: Solution) -> bool:
    """Return whether the answer says that it is not sure enough."""
    return solution.status == NOT_SURE


def _weighing_room(problem: Problem, solution: Solution) -> dict[str, float]:
    """Doses are weighed to the scale's step: their rows may miss by that."""
    assert solution.mix is not None
    step = problem.job.shop.dose_step / sum(solution.mix.grams.values())
    return {"water to pour": 10.0 * step if problem.doses else 0.0, "pigment ceiling": step}


def _of_figures(problem: Problem, solution: Solution, values: dict[str, float]) -> Iterator[str]:
    shop = problem.job.shop
    mix = solution.mix
    assert mix is not None
    fill = _weighed(problem, mix)[1]
    if not 0.997 <= fill <= 1.021 and not _admitted(solution):
        yield f"fill: {fill:.4f} of the cavity"
    for name, grams in mix.grams.items():
        fine = name != "water" and problem.catalogue[name].role in ("pigment", "admixture")
        step = shop.dose_step if fine else shop.weigh_step
        if abs(grams / step - round(grams / step)) > 1e-6:
            yield f"weighing: {name} {grams!r} g is no multiple of {step:g} g"
    for name, prediction in solution.properties.items():
        if not _same(prediction.value, values[name]):
            yield f"value: {name} reported {prediction.value!r}, recomputed {values[name]!r}"
        inside = prediction.low <= prediction.value + 1e-9 and prediction.value <= prediction.high + 1e-9
        if np.isfinite(prediction.value) and not inside:
            yield f"range: {name} {prediction.low:g} .. {prediction.value:g} .. {prediction.high:g}"
    best = solution.cost_at_best_values
    if best is not None and not _same(best, values["cost"]):
        yield f"cost at best values: reported {best!r}, recomputed {values['cost']!r}"


def _same(first: float, second: float) -> bool:
    both = np.isfinite(first), np.isfinite(second)
    return both == (False, False) or (
        all(both) and abs(first - second) <= 1e-6 * max(1.0, abs(first), abs(second))
    )


def _of_check(solution: Solution, catalogue: Catalogue) -> Iterator[str]:
    """Bring the returned blend back by hand: it must pass `check`."""
    assert solution.mix is not None
    powders = {name: grams for name, grams in solution.mix.grams.items() if name != "water"}
    again = check(solution.job, powders, catalogue, solution.mix.water_ratio)
    if again.status != HOLDS and not _admitted(solution):
        yield f"check disagrees: designed, but check says {again.status}"


def _false_no_blend(problem: Problem, found: Found) -> Iterator[str]:
    """No blend means: none that meets the limits even at best values."""
    if found.feasible:
        said = _checked(problem, found.mixes[0])
        words = f"{_words(problem, found.mixes[0])} has objective {found.objective[0]:.6g}"
        yield f"false no blend: {words}; check says {said}"


def _regret(problem: Problem, solution: Solution, found: Found) -> tuple[float, list[str]]:
    """Return how much better a weighed mix of a dense search is that is as sure, as part of the objective."""
    rivals = sorted(_sure_enough(problem, found))[:_WEIGHED]
    weighed = [each for _, k in rivals for each in _weighed_rival(problem, found.mixes[k])]
    if not weighed:
        return np.nan, []
    best, mix = min(weighed, key=lambda each: each[0])
    said = _checked(problem, mix)
    words = f"{_words(problem, mix)} has {best:.6g}"
    if solution.status == NOT_SURE:
        return np.nan, [f"false not sure enough: {words}; check says {said}"]
    sign = -1.0 if problem.job.maximize else 1.0
    name = problem.job.objective
    ours = solution.cost if name == "cost" else sign * solution.properties[name].value
    assert ours is not None
    regret = (ours - best) / max(abs(ours), 1e-9)
    if regret <= BEATEN:
        return regret, []
    return regret, [f"beaten: {words}, ours {ours:.6g}; check says {said}"]


def _sure_enough(problem: Problem, found: Found) -> Iterator[tuple[float, int]]:
    """Iterate over mixes that hold all limits with the confidence: their objective, and their place."""
    good = np.flatnonzero(found.missed <= 0.0)
    for k in sorted({*map(int, good[:20]), *map(int, good[:: max(len(good) // _LOOKED_AT, 1)])}):
        objective = _objective_if_sure(problem, found.mixes[k], float(found.objective[k]))
        if objective is not None:
            yield objective, k


def _objective_if_sure(problem: Problem, mix: np.ndarray, at_best_values: float) -> float | None:
    """Return the objective of a mix that holds all limits with the confidence, None of any other."""
    if assess(problem, mix, problem.samples.search).joint_probability < problem.job.confidence:
        return None
    seen = assess(problem, mix)
    if seen.joint_probability < problem.job.confidence:
        return None
    return seen.cost.value if problem.job.objective == "cost" and seen.cost is not None else at_best_values


def _weighed_rival(problem: Problem, mix: np.ndarray) -> Iterator[tuple[float, np.ndarray]]:
    """Iterate over the nearest weighings of a mix that fill the cavity and do: objective and kg/L."""
    shop = problem.job.shop
    steps = np.array(
        [shop.dose_step if m.role in ("pigment", "admixture") else shop.weigh_step for m in problem.materials]
        + [shop.weigh_step]
    )
    grams = mix * problem.liters * 1e3
    used = np.flatnonzero(grams > 1e-6)
    ways = np.array(list(product((-1.0, 0.0, 1.0), repeat=len(used))))
    near = np.zeros((len(ways), len(grams)))
    near[:, used] = (np.round(grams[used] / steps[used]) + ways) * steps[used]
    volume = near @ problem.model.column("volume") / (1.0 - float(problem.model["air"]))
    fill = volume / (problem.liters * 1e3)
    kept = (near[:, used] > 0.0).all(axis=1) & (fill >= _FILL[0]) & (fill <= _FILL[1])
    mixes = near[kept] / volume[kept, None]
    if not len(mixes):
        return
    opinion = Opinion(problem)
    values = opinion.values(mixes)
    missed = sum(opinion.missed(values).values(), np.zeros(len(mixes)))
    broken = sum(opinion.broken(mixes, values).values())
    sign = -1.0 if problem.job.maximize else 1.0
    objective = np.nan_to_num(sign * values[problem.job.objective], nan=np.inf)
    does = np.flatnonzero(missed + broken <= 1e-9)
    for i in does[np.argsort(objective[does])][:_ROUNDINGS]:
        found = _objective_if_sure(problem, mixes[i], float(objective[i]))
        if found is not None:
            yield found, mixes[i]


def _chance_gap(problem: Problem, solution: Solution) -> float:
    """Return the chance of all limits in draws of its own, less the confidence asked for."""
    assert solution.mix is not None
    fresh = samples_of(problem.catalogue, problem.names, problem.parameters, _DRAWS)
    seen = assess(problem, _weighed(problem, solution.mix)[0][0], fresh)
    return seen.joint_probability - problem.job.confidence


def _checked(problem: Problem, mix: np.ndarray) -> str:
    """Return what the product itself says of a mix that a search found."""
    powders = {name: float(mix[k]) for k, name in enumerate(problem.names) if mix[k] > 1e-9}
    said = check(problem.job, powders, problem.catalogue, float(mix[-1] / mix[:-1].sum()))
    cost = "no cost" if said.cost is None else f"cost {said.cost:.6g}"
    return f"{said.status}, {cost}{', ' if said.notes else ''}{' '.join(said.notes)}"


def _words(problem: Problem, mix: np.ndarray) -> str:
    powder = mix[:-1].sum()
    parts = [f"{n}={100 * mix[k] / powder:.4g}" for k, n in enumerate(problem.names) if mix[k] > 1e-9]
    return f"{', '.join(parts)} at water ratio {mix[-1] / powder:.5f}"
