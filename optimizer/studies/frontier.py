"""Trade-offs: the frontier of two or three quantities among blends that meet the limits."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.caution_words import CAUTIONS
from optimizer.engine.search_state import Question
from optimizer.money.turns import turns_per_day
from optimizer.nomenclature import QUANTITIES, quantity
from optimizer.pareto import Sense, knee, nondominated
from optimizer.problem import Problem, require_prices
from optimizer.solution import Proof, shown
from optimizer.studies.epsilon_constraint import Placed, best_of_each, between, values_of
from optimizer.studies.explain import blend_shares
from optimizer.studies.proofs import prove, sought
from optimizer.tables import data_frame, html_lines, html_table
from optimizer.units import show_amount
from optimizer.verdict.assess import assess

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Frontier", "FrontierBlend", "frontier", "frontier_faults"]


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
    joint_probability : float
        Chance that the job's limits hold together; the level is held at best values [-].
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
    proof: Proof | None = None


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
        if name not in QUANTITIES:
            return f"no quantity named {name!r}; known: {', '.join(QUANTITIES)}"
        if QUANTITIES[name].better == "neither" or name in ("damp_risk", "sealer_coats"):
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
        Limits are held on every blend, with the job's confidence.
    over
        Names of two or three quantities; the first is made best at each level of the others.
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
    senses: tuple[Sense, ...] = tuple("min" if QUANTITIES[x].better == "lower" else "max" for x in over)
    ends = best_of_each(problem, over, senses)
    found = [*ends, *between(problem, over, senses, ends, points)]
    pairs = [(placed, _blend_of(problem, placed)) for placed in found]
    # What never ends, such as the demold time of a blend too soft to leave the mold, is nothing to trade.
    pairs = [(placed, b) for placed, b in pairs if all(math.isfinite(b.values[name]) for name in over)]
    found, blends = [placed for placed, _ in pairs], [blend for _, blend in pairs]
    values = np.array([[b.values[name] for name in over] for b in blends])
    kept = nondominated(values, senses)
    order = sorted(kept, key=lambda k: tuple(values[k][::-1]))
    bend = knee(values[order], senses) if len(order) > 2 else None
    if proof_seconds > 0.0:
        for k in order:
            blends[k] = replace(blends[k], proof=_proof_of(found[k].asked, proof_seconds))
    return Frontier(tuple(over), senses, tuple(blends[k] for k in order), bend)


def _proof_of(asked: Problem, seconds: float) -> Proof | None:
    return prove(asked, sought(Question(asked)).best, seconds)[0]


def _blend_of(problem: Problem, placed: Placed) -> FrontierBlend:
    """Return the record of a blend, all properties computed anew; its cost is the expected one."""
    mix = placed.best.candidate.mix
    seen = assess(problem, mix)
    values = values_of(problem, mix)
    values["cost"] = values["cost"] if seen.cost is None else seen.cost.value
    shares, water = blend_shares(problem, mix)
    coats = values["sealer_coats"]
    return FrontierBlend(
        values,
        shares,
        water,
        turns_per_day(values["demold_time"], problem.job.shop),
        int(coats) if np.isfinite(coats) else -1,
        tuple(map(float, mix)),
        joint_probability=seen.joint_probability,
    )
