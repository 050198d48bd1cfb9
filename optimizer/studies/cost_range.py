"""What moves the cost of one good vessel: the cost again at the low and the high end of each driver."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from optimizer.materials import Catalogue
from optimizer.problem import problem_of
from optimizer.solution import Solution
from optimizer.verdict.judge import cost_parts_of

_DRIVERS: Final = ("sealer_coats", "drying_time", "dry_mass", "demold_time")
"""Predicted properties that money hangs on: coats, shelf days, postage, turns of a mold."""

_ENDS: Final = ("low", "high")


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
        By property, the cost with it at its 5 % and at its 95 % point, less that at best values
        [currency]; empty without a cost.
    """
    best = solution.cost_at_best_values
    if solution.mix is None or best is None:
        return {}
    asked = [{name: end} for name in _DRIVERS for end in _ENDS]
    moved = [cost - best for cost in _costs_at(solution, catalogue, asked)]
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
