"""Where the cost of one good vessel lies: the cost again at the low and the high end of what drives it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from optimizer.materials import Catalogue
from optimizer.problem import problem_of
from optimizer.solution import Solution
from optimizer.verdict.judge import cost_parts_of

__all__ = ["cost_moves", "cost_range"]

_DRIVERS: Final = ("sealer_coats", "drying_time", "dry_mass", "demold_time")
"""Predicted properties that money hangs on: coats, shelf days, postage, turns of a mold."""

_ENDS: Final = ("low", "high")


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
    low, high = _costs_at(solution, catalogue, [dict.fromkeys(_DRIVERS, end) for end in _ENDS])
    return min(low, high, solution.cost), max(low, high, solution.cost)


def cost_moves(solution: Solution, catalogue: Catalogue) -> Mapping[str, tuple[float, float]]:
    """Return what each driver does to the cost of a good vessel, the others at their best values.

    Parameters
    ----------
    solution : Solution
        A designed or checked blend.
    catalogue : Catalogue
        Its materials.

    Returns
    -------
    Mapping[str, tuple[float, float]]
        By property, the cost with it at its 5 % and at its 95 % point, less the cost itself [currency];
        empty without a cost.
    """
    if solution.mix is None or solution.cost is None:
        return {}
    asked = [{name: end} for name in _DRIVERS for end in _ENDS]
    moved = [cost - solution.cost for cost in _costs_at(solution, catalogue, asked)]
    return {name: (moved[2 * place], moved[2 * place + 1]) for place, name in enumerate(_DRIVERS)}


def _costs_at(solution: Solution, catalogue: Catalogue, asked: Sequence[Mapping[str, str]]) -> list[float]:
    """Return the cost with some drivers at an end of their range, the others at best, for each asked."""
    assert solution.mix is not None
    problem = problem_of(solution.job, catalogue, extra=tuple(solution.mix.blend))
    grams = np.array([solution.mix.grams.get(name, 0.0) for name in (*problem.names, "water")])
    found = []
    for ends in asked:
        values = {name: getattr(solution.properties[name], ends.get(name, "value")) for name in _DRIVERS}
        parts = cost_parts_of(problem, grams, values)
        found.append(math.fsum(parts.values()) if parts else math.inf)
    return found
