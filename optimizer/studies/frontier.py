"""Trade-offs: the frontier of two or three quantities among blends that meet the limits."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.caution_words import CAUTIONS
from optimizer.engine.search_state import Question
from optimizer.nomenclature import CHANCE, QUANTITIES, quantity
from optimizer.pareto import Sense, knee, nondominated
from optimizer.problem import Problem, require_prices
from optimizer.solution import Proof, shown
from optimizer.studies.batch import Batch, batch_of
from optimizer.studies.epsilon_constraint import Placed, best_of_each, between
from optimizer.studies.proofs import prove, sought
from optimizer.tables import data_frame, html_lines, html_table
from optimizer.units import show_amount
from optimizer.verdict.judge import judge, solution_of

if TYPE_CHECKING:
    import pandas as pd

_SAME = 1e-6
"""Share of a quantity's span within which two blends are one [-]."""


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
