"""What is wrong with an answer, found without the engine: false "meets", false "no blend", lost money.

Every finding is one sentence that begins with its kind, so that findings can be counted.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from optimizer.chain.model import compile_model
from optimizer.chain.predict import cast_of, predict
from optimizer.jobfile import parse_job
from optimizer.materials import Catalogue
from optimizer.money.turns import demold_edges, turns_per_day
from optimizer.problem import Problem, problem_of
from optimizer.shop import Limit
from optimizer.solution import Solution, WeighedMix
from optimizer.studies.check import check
from optimizer.studies.design import design
from optimizer.verdict.confidence import Doubt, nominal_only
from tests.trust.dense_search import Found, dense_search
from tests.trust.second_opinion import Opinion

__all__ = ["Inspected", "inspect_job"]

TOLERANCE = 2e-6
"""A limit missed by less than this part of its size counts as met: solver and scale resolve no less."""

BEATEN = 5e-3
"""Part of the objective by which a dense search may beat an answer: what rounding to the scale may cost."""

_DRAWS = 1500
_LOOKED_AT = 60


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
        Least sampled chance of a limit less the confidence asked for; nan at even odds [-].
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
        return Inspected(solution.status, tuple(_false_no_blend(problem, opinion, found)))
    findings = [*_of_mix(problem, opinion, solution), *_of_check(solution, catalogue)]
    regret = np.nan
    if dense:
        regret, beaten = _regret(problem, opinion, solution, dense_search(problem, opinion))
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
        if claimed.get(name) == "meets" and amount > TOLERANCE:
            yield f"false meets: {name} is missed by {amount:.2e} of its size"
        elif claimed.get(name) != "meets" and not _admitted(solution):
            yield f"designed but not met: {name} is {claimed.get(name)} ({amount:.2e} of its size)"
    least_weighed = _weighing_room(problem, solution)
    for name, amount in opinion.broken(mixes, values).items():
        if float(amount[0]) > TOLERANCE + least_weighed.get(name, 0.0) and not _admitted(solution):
            yield f"rule broken: {name} by {float(amount[0]):.2e}"
    yield from _of_figures(problem, solution, {name: float(x[0]) for name, x in values.items()})


def _admitted(solution: Solution) -> bool:
    """Return whether the answer says that no weighing holds every limit."""
    return any("after rounding to the scale's step" in note for note in solution.notes)


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
    if solution.cost is not None and not _same(solution.cost, values["cost"]):
        yield f"cost: reported {solution.cost!r}, recomputed {values['cost']!r}"


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
    if again.status != "meets" and not _admitted(solution):
        yield f"check disagrees: designed, but check says {again.status}"


def _false_no_blend(problem: Problem, opinion: Opinion, found: Found) -> Iterator[str]:
    if not found.feasible:
        return
    if problem.job.confidence <= 0.5:
        said = _checked(problem, found.mixes[0])
        words = f"{_words(problem, found.mixes[0])} has objective {found.objective[0]:.6g}"
        yield f"false no blend: {words}; check says {said}"
        return
    for k, met in _meeting_with_chance(problem, opinion, found):
        if met:
            said = _checked(problem, found.mixes[k])
            words = f"{_words(problem, found.mixes[k])} holds all with its chance"
            yield f"false no blend: {words}; check says {said}"
            return


def _meeting_with_chance(problem: Problem, opinion: Opinion, found: Found) -> Iterator[tuple[int, bool]]:
    """Look at feasible mixes with the widest margins, and tell which hold every limit with its chance."""
    good = np.flatnonzero(found.missed <= 0.0)
    values = opinion.values(found.mixes[good])
    margins = [
        (x.bound - values[x.property]) * (1.0 if x.sense == "<=" else -1.0) / max(abs(x.bound), 1e-9)
        for x in problem.job.limits
        if not nominal_only(problem, x)
    ]
    widest = np.argsort(-np.min(margins, axis=0)) if margins else np.arange(len(good))
    cheapest = np.arange(len(good))
    doubt = Doubt(problem)
    for k in dict.fromkeys([*good[widest[: _LOOKED_AT // 2]], *good[cheapest[: _LOOKED_AT // 2]]]):
        yield int(k), _holds(problem, doubt, found.mixes[k])


def _holds(problem: Problem, doubt: Doubt, mix: np.ndarray) -> bool:
    """Return whether a mix holds every limit with its chance, and its coats, turns and postage too."""
    cast = cast_of(problem.model, problem.bench, mix[None, :])
    values = {name: float(np.ravel(x)[0]) for name, x in predict(cast).items()}
    limits = (*problem.job.limits, *(_steps(problem, values) if Opinion(problem).money_matters else ()))
    held = tuple(x for x in limits if not nominal_only(problem, x))
    chances = doubt.probabilities(held, doubt.around(cast))
    return all(chance >= problem.job.confidence + 1e-3 for chance in chances.values())


def _steps(problem: Problem, values: dict[str, float]) -> Iterator[Limit]:
    """Iterate over the limits at which a mix would take a coat more, a turn less or dearer postage."""
    shop = problem.job.shop
    share = max(shop.coat_factor ** values["sealer_coats"], 0.02)
    yield Limit("absorption", "<=", shop.target_absorption / share)
    turns = turns_per_day(values["demold_time"], shop)
    slowest = next((edge for count, edge in demold_edges(shop) if count == turns), None)
    if slowest is not None and shop.mold_view == "order":
        yield Limit("demold_time", "<=", slowest)
    band = next(
        (most for most, _ in shop.shipping_bands if values["dry_mass"] + shop.shipped_extras <= most), None
    )
    if band is not None:
        yield Limit("dry_mass", "<=", band - shop.shipped_extras)


def _regret(problem: Problem, opinion: Opinion, solution: Solution, found: Found) -> tuple[float, list[str]]:
    """Return how much better a dense search is, as part of the objective."""
    assert solution.mix is not None
    mixes, _ = _weighed(problem, solution.mix)
    sign = -1.0 if problem.job.maximize else 1.0
    ours = sign * float(opinion.values(mixes)[problem.job.objective][0])
    best = next((k for k in _eligible(problem, opinion, found)), None)
    if best is None:
        return np.nan, []
    size = max(abs(ours), 1e-9)
    regret = (ours - float(found.objective[best])) / size
    if regret <= BEATEN:
        return regret, []
    said = _checked(problem, found.mixes[best])
    words = f"{_words(problem, found.mixes[best])} has {found.objective[best]:.6g}, ours {ours:.6g}"
    return regret, [f"beaten: {words}; check says {said}"]


def _eligible(problem: Problem, opinion: Opinion, found: Found) -> Iterator[int]:
    """Iterate over the mixes that do, best objective first."""
    good = [int(k) for k in np.flatnonzero(found.missed <= 0.0)]
    if problem.job.confidence <= 0.5:
        yield from good
        return
    doubt = Doubt(problem)
    steps = sorted({*good[:20], *good[:: max(len(good) // 60, 1)]})
    yield from (k for k in steps if _holds(problem, doubt, found.mixes[k]))


def _chance_gap(problem: Problem, solution: Solution) -> float:
    """Sample the parameters and return the least chance of a limit, less the confidence asked for."""
    held = [x for x in problem.job.limits if not nominal_only(problem, x)]
    if problem.job.confidence <= 0.5 or not held or solution.mix is None:
        return np.nan
    draws = problem.parameters.draws(_DRAWS, 11)
    model = compile_model(problem.catalogue, problem.names, problem.parameters, draws)
    with np.errstate(all="ignore"):
        values = predict(cast_of(model, problem.bench, _weighed(problem, solution.mix)[0]))
    chances = []
    for limit in held:
        value = np.broadcast_to(values[limit.property], (_DRAWS, 1))[:, 0]
        met = value <= limit.bound if limit.sense == "<=" else value >= limit.bound
        chances.append(float(met.mean()))
    return min(chances) - problem.job.confidence


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
