"""Casts that might be made next, as a caster would name them, and what a careful one notes of each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.problem import Problem
from optimizer.property_model.microstructure import per_liter
from optimizer.solution import SECOND_CHOICE, Alternative, WeighedMix
from optimizer.studies.trial_worth import curve_mixes
from optimizer.trials.records import Portion, Strength, Trial, Weighing

__all__ = ["DAY", "Candidate", "candidates", "grams_of", "standard_trial"]

Array = NDArray[np.float64]

DAY: Final = 1440.0
"""Age at which the early cube is crushed where no limit says another [min]."""

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


def standard_trial(cast: Candidate, early: float = DAY) -> Trial:
    """Return what a careful caster notes of one batch; the figures are placeholders.

    Wet density, both sets, the first time out of the mold, the mass of one piece then and at the end, a cube
    crushed at the age `early` [min] and another dry, the whiteness from a photo and the water soaked up.
    """
    return Trial(
        dt.date(2000, 1, 1),
        id="next",
        portions=tuple(Portion(name, 1000.0 * share) for name, share in cast.blend.items()),
        water=1000.0 * cast.water_ratio,
        cavity_volume=200.0,
        fresh_density=1.0,
        initial_set=1.0,
        final_set=1.0,
        demold_first=1.0,
        whiteness=50.0,
        absorption=0.1,
        weighings=(Weighing(0.0, 1.0), Weighing(1.0, 1.0)),
        strengths=(Strength(1.0, early, "wet", method="cube"), Strength(1.0, None, "dry", method="cube")),
    )


def grams_of(problem: Problem, cast: Candidate, volume: float) -> dict[str, float]:
    """Return what to weigh of a cast for a volume of slurry, water last [g].

    Parameters
    ----------
    problem
        The question, for the densities of its materials.
    cast
        What is cast.
    volume
        Slurry wanted [mL].
    """
    shares = np.array([[cast.blend.get(name, 0.0) for name in problem.names]])
    mix = per_liter(problem.model, shares, np.array([cast.water_ratio]))[0] * volume
    names = (*problem.names, "water")
    return {name: float(mass) for name, mass in zip(names, mix, strict=True) if mass > 0.0}
