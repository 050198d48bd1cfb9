"""The trial that a careful caster makes of one blend, and what to weigh for it."""

from __future__ import annotations

import datetime as dt
from typing import Final

import numpy as np

from optimizer.problem import Problem
from optimizer.property_model.microstructure import per_liter
from optimizer.studies.trial_candidates import Candidate
from optimizer.trials.records import Portion, Strength, Trial, Weighing

__all__ = ["DAY", "grams_of", "standard_trial"]

DAY: Final = 1440.0
"""Age at which the early cube is crushed where no limit says another [min]."""


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
