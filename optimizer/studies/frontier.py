"""Trade-offs: the frontier of two or three quantities among blends that meet the limits.

One quantity is made best at each of many levels of the others. The epsilon-constraint method (Haimes, Lasdon
and Wismer 1971, from memory). The job's limits hold together with its confidence on every blend; a level is
held at best values, for it is looked at and not promised. Where the chance of all limits is traded itself,
its levels take the place of the confidence.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.chance_constraints import ChanceBlend, chance_blends, surest_blends
from optimizer.engine.chance_rows import ChanceQuestion
from optimizer.engine.search_state import Question
from optimizer.engine.warm_start import alike_blends, along_chances
from optimizer.errors import NoBlend
from optimizer.job import Limit
from optimizer.nomenclature import CAUTIONS, CHANCE, QUANTITIES, quantity
from optimizer.pareto import Sense, knee, nondominated
from optimizer.problem import Problem, require_prices
from optimizer.property_model.predict import cast_of, predict
from optimizer.solution import Proof, shown
from optimizer.studies.check import Batch, batch_of
from optimizer.studies.proofs import prove, sought
from optimizer.studies.under_doubt import judged_limits
from optimizer.tables import data_frame, html_lines, html_table
from optimizer.units import show_amount
from optimizer.verdict.judge import cost_parts_of, judge, solution_of

if TYPE_CHECKING:
    import pandas as pd

_SAME = 1e-6
"""Share of a quantity's span within which two blends are one [-]."""

Array = NDArray[np.float64]

_LEAST_CHANCE, _SUREST = 0.05, 0.005
"""Chance from which it is traded, and what the blend at its other end may fall short of the surest [-]."""

_LESS_SURE = 0.9
"""Share of the surest blend's chance that is held where none reaches the job's confidence [-]."""


@dataclass(frozen=True)
class FrontierBlend:
    """One blend of a frontier.

    Attributes
    ----------
    values : Mapping[str, float]
        Every property, ``cost`` (nan where materials have no price), and ``chance``, which is
        `joint_probability`.
    blend : Mapping[str, float]
        Share of the dry mass by material [-].
    water_ratio : float
        Water per dry mass [-].
    turns, coats : int
        Castings of a mold per day, coats of sealer.
    mix : tuple[float, ...]
        Kilograms per liter in the problem's order, water last.
    joint_probability : float
        Chance that the job's limits hold together; the level is held at best values [-].
    batch : Batch | None
        What to weigh for one mix of the shop, as its card has it; of blends that are kept.
    proof : Proof | None
        How near the best at its level is to what best values allow, where a proof was asked for.
    """

    values: Mapping[str, float]
    blend: Mapping[str, float]
    water_ratio: float
    turns: int
    coats: int
    mix: tuple[float, ...]
    joint_probability: float = 1.0
    batch: Batch | None = None
    proof: Proof | None = None

    @property
    def grams(self) -> Mapping[str, float]:
        """Masses of one mix by material and ``water``, waste included [g]."""
        return {} if self.batch is None else self.batch.grams

    @property
    def vessels_per_mix(self) -> int:
        """Vessels cast from one mix [count]."""
        return 0 if self.batch is None else self.batch.per_mix


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

    def rows(self) -> list[dict[str, float]]:
        """Return one row per blend: traded quantities, chance of all limits, shares, water, grams."""
        names = sorted({name for b in self.blends for name in b.blend})
        return [
            {
                **{name: b.values[name] for name in self.over if name != CHANCE.name},
                "joint_probability": b.joint_probability,
                **{f"share_{name}": b.blend.get(name, 0.0) for name in names},
                "water_ratio": b.water_ratio,
                "vessels_per_mix": b.vessels_per_mix,
                **{f"grams_{name}": b.grams.get(name, 0.0) for name in (*names, "water")},
            }
            for b in self.blends
        ]

    def table(self) -> pd.DataFrame:
        """Return `rows` as a data frame."""
        return data_frame(self.rows())

    def _repr_html_(self) -> str:
        """Return the blends for a notebook; an arrow marks the one where giving more buys least."""
        heads = ("", *(quantity(name).label for name in self.over), "blend")
        cells = [
            (
                "→" if place == self.knee else "",
                *(shown(name, b.values[name]) for name in self.over),
                _words(b),
            )
            for place, b in enumerate(self.blends)
        ]
        return html_table(heads, cells) + html_lines([CAUTIONS["certify"]])


def _words(blend: FrontierBlend) -> str:
    shares = sorted(blend.blend.items(), key=lambda item: -item[1])
    return ", ".join(f"{show_amount(share, 'fraction', 2)} {name}" for name, share in shares)


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
        if name not in (*QUANTITIES, CHANCE.name):
            return f"no quantity named {name!r}; known: {', '.join((*QUANTITIES, CHANCE.name))}"
        if quantity(name).better == "neither" or name in ("damp_risk", "sealer_coats"):
            return f"{name} has no better and worse to trade smoothly; choose another"
    return None if len(set(over)) == len(over) else "each quantity once"


def frontier(
    problem: Problem,
    over: Sequence[str],
    points: int = 60,
    *,
    proof_seconds: float = 0.0,
) -> Frontier:
    """Return the frontier of two or three quantities.

    Parameters
    ----------
    problem
        Limits are held on every blend, with the job's confidence where ``chance`` is not traded itself.
    over
        Names of two or three quantities, ``chance`` (of all limits together) among them if wanted; the
        first is made best at each level of the others.
    points
        About how many blends to solve for.
    proof_seconds
        Time for the proof of each blend that is kept [s]; 0 leaves proofs out.

    Raises
    ------
    NoBlend
        If no blend meets the limits at all.
    FileFaults
        If cost is traded and a material has no price.
    ValueError
        If `frontier_faults` finds fault.
    """
    fault = frontier_faults(over)
    if fault:
        raise ValueError(fault)
    if "cost" in over:
        require_prices(replace(problem, job=replace(problem.job, objective="cost")))
    senses = _senses(over)
    # a chance is held at levels, never aimed at
    held_last = sorted(over, key=lambda name: name == CHANCE.name)
    ends = best_of_each(problem, held_last, _senses(held_last))
    found = [*ends, *between(problem, held_last, _senses(held_last), ends, points)]
    pairs = [(placed, _blend_of(problem, placed)) for placed in found]
    # What never ends, such as the demold time of a blend too soft to leave the mold, is nothing to trade.
    pairs = [(placed, b) for placed, b in pairs if all(math.isfinite(b.values[name]) for name in over)]
    found, blends = [placed for placed, _ in pairs], [blend for _, blend in pairs]
    values = np.array([[b.values[name] for name in over] for b in blends])
    kept = nondominated(values, senses, same=_SAME)
    order = sorted(kept, key=lambda k: tuple(values[k][::-1]))
    bend = knee(values[order], senses) if len(order) > 2 else None
    for k in order:
        blends[k] = _weighed(problem, blends[k])
        if proof_seconds > 0.0:
            blends[k] = replace(blends[k], proof=_proof_of(found[k].asked, proof_seconds))
    return Frontier(tuple(over), senses, tuple(blends[k] for k in order), bend)


def _senses(over: Sequence[str]) -> tuple[Sense, ...]:
    return tuple("min" if quantity(name).better == "lower" else "max" for name in over)


def _proof_of(asked: Problem, seconds: float) -> Proof | None:
    return prove(asked, sought(Question(asked)).best, seconds)[0]


def _blend_of(problem: Problem, placed: Placed) -> FrontierBlend:
    """Return the record of a blend, judged anew; its cost is the expected one."""
    judged = judge(problem, placed.best.candidate.mix * problem.liters * 1e3)
    seen = judged.assessment
    cost = math.nan if seen.cost is None else seen.cost.value
    return FrontierBlend(
        {**judged.values, "cost": cost, CHANCE.name: seen.joint_probability},
        judged.mix.blend,
        judged.mix.water_ratio,
        judged.turns,
        int(judged.coats) if math.isfinite(judged.coats) else -1,
        judged.mix.per_liter,
        joint_probability=seen.joint_probability,
    )


def _weighed(problem: Problem, blend: FrontierBlend) -> FrontierBlend:
    """Return a blend with the masses of one mix, as its card has them."""
    judged = judge(problem, np.asarray(blend.mix) * problem.liters * 1e3)
    solution = solution_of(problem, judged.verdict, judged)
    batch = batch_of(solution, problem.catalogue, problem.job.shop.molds_per_mix, problem.parameters)
    return replace(blend, batch=batch)


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
