"""Where the cost of one good vessel lies: the cost again at the low and the high end of what drives it."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from optimizer.materials import Catalogue
from optimizer.problem import problem_of
from optimizer.solution import Solution
from optimizer.verdict.judge import cost_parts_of

__all__ = ["cost_range"]

_DRIVERS: Final = ("sealer_coats", "drying_time", "dry_mass", "demold_time")
"""Predicted properties that money hangs on: coats, shelf days, postage, turns of a mold."""


def cost_range(solution: Solution, catalogue: Catalogue) -> tuple[float, float] | None:
    """Return the cost of a good vessel with its drivers at their 5 % and at their 95 % points.

    Prices, wages and rejects are taken as stated: the range holds what is unsure of the blend alone. All
    drivers are moved together, which errs on the wide side.

    Parameters
    ----------
    solution : Solution
        A designed or checked blend.
    catalogue : Catalogue
        Its materials.

    Returns
    -------
    tuple[float, float] | None
        Low and high [currency]; None without a cost. High is infinite where the coats may never seal.
    """
    if solution.mix is None or solution.cost is None:
        return None
    problem = problem_of(solution.job, catalogue, extra=tuple(solution.mix.blend))
    grams = np.array([solution.mix.grams.get(name, 0.0) for name in (*problem.names, "water")])
    ends = []
    for end in ("low", "high"):
        parts = cost_parts_of(
            problem, grams, {name: getattr(solution.properties[name], end) for name in _DRIVERS}
        )
        ends.append(math.fsum(parts.values()) if parts else math.inf)
    low, high = sorted((min(ends[0], solution.cost), max(ends[1], solution.cost)))
    return low, high
