"""Where no blend meets the limits: which rule of mixing keeps out the mixes that would.

A rule of mixing (no more water than the powders hold, no more sand than the binder carries) stands for every
design. A caster who hears "no blend" and has cast one that breaks such a rule is owed the rule's name.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from optimizer.engine.search_state import Question
from optimizer.engine.swap_search import best_mixes
from optimizer.problem import Problem

_LIFTED: Final[Mapping[str, Mapping[str, float]]] = {
    "no more water than the powders hold, or grains settle and the face bleeds": {"water_ceiling": 3.0},
    "no more sand and filler than the binder carries": {
        "sand_ceiling_gypsum": 1.0,
        "sand_ceiling_csa": 1.0,
        "grain_ceiling": 0.9,
        "paste_to_sand": 0.0,
    },
    "no more pigment than a tenth of the binder": {"pigment_ceiling": 1.0},
}
"""Rules, and values of their figures at which they bar nothing."""


def barring_rules(problem: Problem) -> tuple[str, ...]:
    """Return the rules of mixing any one of which keeps out blends that meet the limits at best values.

    Parameters
    ----------
    problem
        A job without such a blend.
    """
    questions = [Question(_without(problem, figures), first=True) for figures in _LIFTED.values()]
    found = [best_mixes([question])[0] for question in questions]
    return tuple(rule for rule, each in zip(_LIFTED, found, strict=True) if each.holds)


def _without(problem: Problem, figures: Mapping[str, float]) -> Problem:
    lifted = {name: np.asarray(value) for name, value in figures.items()}
    return replace(problem, model=replace(problem.model, constants={**problem.model.constants, **lifted}))
