"""The blends of a frontier: one quantity made best at each of many levels of the others.

The epsilon-constraint method (Haimes, Lasdon and Wismer 1971, from memory). The job's limits hold together
with its confidence on every blend; a level is held at best values, for it is looked at and not promised.
Where the chance of all limits is traded itself, its levels take the place of the confidence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.chance_constraints import ChanceBlend, chance_blends, surest_blends
from optimizer.engine.chance_refinement import refined_surest
from optimizer.engine.chance_rows import ChanceQuestion
from optimizer.engine.search_state import Question
from optimizer.engine.warm_start import alike_blends, along_chances
from optimizer.errors import NoBlend
from optimizer.job_inputs import Limit
from optimizer.nomenclature import CHANCE
from optimizer.pareto import Sense
from optimizer.problem import Problem
from optimizer.property_model.predict import cast_of, predict
from optimizer.studies.proofs import sought
from optimizer.studies.under_doubt import judged_limits
from optimizer.verdict.judge import cost_parts_of

Array = NDArray[np.float64]

_LEAST_CHANCE, _SUREST = 0.05, 0.005
"""Chance from which it is traded, and what the blend at its other end may fall short of the surest [-]."""

_LESS_SURE = 0.9
"""Share of the surest blend's chance that is held where none reaches the job's confidence [-]."""


@dataclass(frozen=True)
class Placed:
    """A blend with the question it answers.

    Attributes
    ----------
    best : ChanceBlend
        The blend.
    asked : Problem
        The problem with its level held as limits, and what was made best.
    chance : float
        How surely the job's limits hold together [-].
    """

    best: ChanceBlend
    asked: Problem
    chance: float


def values_of(problem: Problem, mix: Array) -> dict[str, float]:
    """Return every property of a mix of shape (n + 1,) [kg/L], and ``cost`` [currency]; nan: not priced."""
    cast = cast_of(problem.model, problem.conditions, mix[None, :])
    values = {name: float(np.ravel(v)[0]) for name, v in predict(cast).items()}
    parts = cost_parts_of(problem, mix * problem.liters * 1e3, values)
    return {**values, "cost": float(sum(parts.values())) if parts else float("nan")}


def best_of_each(problem: Problem, over: Sequence[str], senses: Sequence[Sense]) -> list[Placed]:
    """Return the best blend of each quantity alone; the first is none that is held at levels only.

    Where no blend is as sure as the job asks, all are held nearly as surely as the surest one is; where the
    chance is traded, all with the least chance that is looked at.

    Raises
    ------
    NoBlend
        If no blend meets the limits even at best values.
    """
    chance = _LEAST_CHANCE if CHANCE.name in over else problem.job.confidence
    out: list[Placed] = []
    for name, sense in zip(over, senses, strict=True):
        if name == CHANCE.name:
            out.append(_surest(out[0].asked, problem))
            continue
        asked = _aimed(problem, name, sense)
        nominal = sought(Question(asked))
        if not nominal.holds:
            msg = "no blend meets the limits, so there is nothing to trade"
            raise NoBlend(msg)
        question = ChanceQuestion(asked, judged_limits(problem), chance, nominal)
        found = chance_blends([question])[0]
        if found is None:
            found, chance = _less_surely(question)
        out.append(Placed(found, asked, chance))
    return out


def _surest(asked: Problem, problem: Problem) -> Placed:
    """Return the best blend that is about as sure as the surest one: that one minds no cost at all."""
    question = ChanceQuestion(asked, judged_limits(problem), problem.job.confidence)
    surest = surest_blends([question])[0]
    if surest is None:
        msg = "no blend is at all likely to meet the limits, so there is nothing to trade"
        raise NoBlend(msg)
    surest = refined_surest(question, surest)
    chance = max(surest.chance - _SUREST, _LEAST_CHANCE)
    near = (surest.candidate, *surest.near)
    found = chance_blends([replace(question, chance=chance, near=near)])[0]
    return Placed(surest if found is None else found, asked, chance)


def _less_surely(question: ChanceQuestion) -> tuple[ChanceBlend, float]:
    """Return the best blend at the chance that can be had, and that chance."""
    surest = surest_blends([question])[0]
    if surest is None:
        assert question.nominal is not None
        assert question.nominal.best is not None
        return ChanceBlend(question.nominal.best, 0.0, question.nominal.met), 0.0
    surest = refined_surest(question, surest)
    chance = _LESS_SURE * surest.chance
    found = chance_blends([replace(question, chance=chance)])[0]
    return (surest if found is None else found), chance


def _aimed(problem: Problem, name: str, sense: Sense) -> Problem:
    return problem.with_job(replace(problem.job, objective=name, maximize=sense == "max"))


def between(
    problem: Problem, over: Sequence[str], senses: Sequence[Sense], ends: Sequence[Placed], points: int
) -> list[Placed]:
    """Return the best blend at each level between the ends that has one.

    Parameters
    ----------
    problem, over, senses
        The first quantity is made best, the others are held at levels, loose to tight.
    ends
        The best blend of each quantity alone.
    points
        About how many levels.
    """
    chance = ends[-1].chance
    levels = _levels(problem, over, senses, ends, points)
    questions = [_at_level(problem, over, senses, level, chance) for level in levels]
    if CHANCE.name in over:
        some = questions[2 :: max(3, len(questions) // 3)]
        whole = chance_blends([replace(questions[0], chance=problem.job.confidence), *some])
        searched = [each for each in whole if each is not None]
        known = [*(each.best for each in ends), *searched]
        found = along_chances(questions, known)
    else:
        found = alike_blends(questions, [each.best.candidate for each in ends])
    return [
        Placed(best, question.problem, question.chance)
        for best, question in zip(found, questions, strict=True)
        if best is not None
    ]


def _at_level(
    problem: Problem, over: Sequence[str], senses: Sequence[Sense], level: Sequence[float], chance: float
) -> ChanceQuestion:
    """Return the question with all quantities but the first held at a level."""
    at = dict(zip(over[1:], level, strict=True))
    chance = at.pop(CHANCE.name, chance)
    ways = dict(zip(over, senses, strict=True))
    held = [Limit(name, "<=" if ways[name] == "min" else ">=", bound) for name, bound in at.items()]
    asked = _aimed(problem, over[0], senses[0])
    # The job's own limit on the quantity stays among those judged; the level is one more at best values.
    return ChanceQuestion(asked.with_limits([*asked.job.limits, *held]), judged_limits(problem), chance)


def _levels(
    problem: Problem, over: Sequence[str], senses: Sequence[Sense], ends: Sequence[Placed], points: int
) -> list[tuple[float, ...]]:
    """Return levels of the held quantities between their values at the ends, loose to tight."""
    whole = [{**values_of(problem, end.best.candidate.mix), CHANCE.name: end.best.chance} for end in ends]
    values = np.array([[row[name] for name in over] for row in whole])
    per_axis = points if len(over) == 2 else max(3, round(points**0.5))
    axes = []
    for k in range(1, len(over)):
        best = values[k, k]
        worst = np.nanmax(values[:, k]) if senses[k] == "min" else np.nanmin(values[:, k])
        axes.append(np.linspace(worst, best, per_axis + 1)[1:-1] if per_axis > 1 else np.array([best]))
    if len(axes) == 1:
        return [(float(x),) for x in axes[0]]
    return [(float(x), float(y)) for x in axes[0] for y in axes[1]]
