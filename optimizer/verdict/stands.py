"""How far a weighing may be off before a mix is less sure: grams of water and of the largest powder.

By re-computation: the grams are moved and the mix assessed again in the same draws, until the chance that
all limits hold together has fallen by ten points.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.problem import Problem
from optimizer.solution import Room, Stands
from optimizer.verdict.assess import joint_probability

Array = NDArray[np.float64]

FALL: Final = 0.10
"""Fall of the joint chance that a caster should know of [-]."""

_FARTHEST: Final = 0.25
"""Largest error looked at, as a share of the amount [-]: beyond, it is another recipe."""

_HALVINGS: Final = 9


def stands(problem: Problem, grams: Array) -> Stands:
    """Return how far water and the largest powder may be off, in one mix of the shop, waste included.

    Parameters
    ----------
    problem
        What is asked.
    grams
        Masses by material and, last, of water for one filled cavity, shape (n + 1,) [g].
    """
    shop = problem.job.shop
    whole = shop.molds_per_mix * (1.0 + shop.waste)
    powder = int(np.argmax(grams[:-1]))
    floor = _chance(problem, grams) - FALL

    def room(place: int) -> Room:
        def still(step: float) -> bool:
            return _chance(problem, _moved(grams, place, step)) > floor

        return Room(_reach(still, -1), _reach(still, 1)).times(float(grams[place]) * whole)

    return Stands(shop.molds_per_mix, problem.names[powder], room(len(grams) - 1), room(powder))


def _chance(problem: Problem, grams: Array) -> float:
    liters = grams @ problem.model.column("volume") * 1e-3 / (1.0 - float(problem.model["air"]))
    return joint_probability(problem, grams * 1e-3 / liters)


def _moved(grams: Array, place: int, step: float) -> Array:
    out = grams.copy()
    out[place] *= 1.0 + step
    return out


def _reach(still: Callable[[float], bool], way: int) -> float:
    """Return the share of an amount that may be too much (`way` 1) or missing (-1); infinity for any."""
    low, high = 0.0, _FARTHEST
    if still(way * high):
        return math.inf
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if still(way * middle) else (low, middle)
    return 0.5 * (low + high)
