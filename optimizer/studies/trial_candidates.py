"""Blends that might be tried next, as a caster would name them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.engine.chance_constraints import chance_blends, surest_blends
from optimizer.engine.chance_rows import ChanceQuestion
from optimizer.engine.search_state import Question
from optimizer.engine.swap_search import best_mixes
from optimizer.problem import Problem
from optimizer.property_model.microstructure import per_liter
from optimizer.solution import SECOND_CHOICE, Alternative, WeighedMix
from optimizer.verdict.assess import is_open

__all__ = ["Candidate", "candidates", "curve_mixes"]

Array = NDArray[np.float64]

_CHANCES: Final = (0.2, 0.35, 0.5, 0.65)
"""Chances at which the curve of cost against chance is looked at, below the one asked for [-]."""

_BESIDE: Final = 4
"""Next best blends of each chance that are looked at, too [count]: worth is not what they were ranked by."""

_TRACE: Final = 1e-6


@dataclass(frozen=True)
class Candidate:
    """A cast that might be made.

    Attributes
    ----------
    name : str
        What it is, as a caster says it.
    blend : Mapping[str, float]
        Share of the dry mass by material [-].
    water_ratio : float
        Water per dry mass [-].
    """

    name: str
    blend: Mapping[str, float]
    water_ratio: float


def candidates(problem: Problem, mix: WeighedMix, alternatives: Iterable[Alternative]) -> Iterator[Candidate]:
    """Give the blend itself, second choices, every binder alone, and binders half and half."""
    blend = {name: share for name, share in mix.blend.items() if share > 0.0}
    yield Candidate("the designed blend", blend, mix.water_ratio)
    ties = [other for other in alternatives if other.name.startswith(SECOND_CHOICE) and other.blend]
    for number, other in enumerate(ties, start=1):
        name = "a blend that costs about the same"
        yield Candidate(f"{name} ({number})" if len(ties) > 1 else name, dict(other.blend), other.water_ratio)
    if all(name in problem.job.prices for name in problem.names):
        yield from (_on_curve(problem, mix) for mix in curve_mixes(problem))
    binders = [k for k in problem.solids if problem.materials[k].role == "binder"]
    for binder in binders:
        yield _at_demand(problem, f"{problem.materials[binder].short_label} alone", (binder,))
    for pair in combinations(binders, 2):
        labels = " and ".join(problem.materials[k].short_label for k in pair)
        yield _at_demand(problem, f"{labels} half and half", pair)


def _on_curve(problem: Problem, mix: Array) -> Candidate:
    shares = mix[:-1] / mix[:-1].sum()
    kept = {name: float(share) for name, share in zip(problem.names, shares, strict=True) if share > _TRACE}
    return Candidate("a blend that may be cheaper", kept, float(mix[-1] / mix[:-1].sum()))


def _at_demand(problem: Problem, name: str, parts: Sequence[int]) -> Candidate:
    shares = np.zeros((1, len(problem.names)))
    shares[0, list(parts)] = 1.0 / len(parts)
    mix = per_liter(problem.model, shares)[0]
    return Candidate(
        name, {problem.names[k]: 1.0 / len(parts) for k in parts}, float(mix[-1] / mix[:-1].sum())
    )


def curve_mixes(problem: Problem) -> tuple[Array, ...]:
    """Return blends along the curve of expected cost against chance, below the chance asked for [kg/L].

    The surest blend is among them: where no blend is sure enough, it is the first to be tried.
    """
    judged = tuple(x for x in problem.job.limits if x.property != "cost" and not is_open(problem, x))
    if not judged:
        return ()
    (nominal,) = best_mixes([Question(problem)])
    asked = [ChanceQuestion(problem, judged, x, nominal) for x in _CHANCES if x < problem.job.confidence]
    found = (*chance_blends(asked), *surest_blends([ChanceQuestion(problem, judged, 0.5, nominal)]))
    blends = [blend for each in found if each is not None for blend in (each.candidate, *each.near[:_BESIDE])]
    # the curve meets many a blend twice, and each is judged in all the draws that are printed
    return tuple({np.round(blend.mix, 9).tobytes(): np.asarray(blend.mix) for blend in blends}.values())
