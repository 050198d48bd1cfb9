"""A mix found for a case, and what is made small."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optimizer.formulation import Case, cost_of_line
from optimizer.problem import Problem
from optimizer.property_model.predict import PREDICTORS, Cast

__all__ = ["NEVER", "TOLERANCE", "TRACE", "Candidate", "objective_of", "property_objective"]

Array = NDArray[np.float64]

TOLERANCE = 1e-6
"""Row violation below which a mix counts as feasible; rows are of size one (1 is 100 % or a scale)."""

NEVER = 1e6
"""Objective of a mix whose property has no end, such as a vessel that never leaves the mold."""

TRACE = 1e-9
"""Amount of a material that is none [kg/L]."""


@dataclass(frozen=True)
class Candidate:
    """A mix found for a case.

    Attributes
    ----------
    case : Case
        The steps it belongs to.
    mix : Array
        Kilograms per liter, shape (n + 1,).
    value : float
        Objective to be made small [its unit]; the cost for the cost objective.
    violation : float
        Largest violation of any row, 0 when feasible [-].
    """

    case: Case
    mix: Array
    value: float
    violation: float

    @property
    def feasible(self) -> bool:
        """True when all rows hold."""
        return self.violation <= TOLERANCE

    @property
    def support(self) -> tuple[int, ...]:
        """Positions of the materials in use."""
        return tuple(int(k) for k in np.flatnonzero(self.mix[:-1] > TRACE))

    def rank(self) -> tuple[bool, float, float]:
        """Sort key: feasible first, then value, then violation."""
        return (not self.feasible, self.value if self.feasible else self.violation, self.value)


def objective_of(problem: Problem, case: Case, cast: Cast) -> Array:
    """Return what is made small: cost, or the job's property (negative when it is to be made large)."""
    if problem.job.objective == "cost":
        return cost_of_line(problem, case, cast)
    return property_objective(problem, cast)


def property_objective(problem: Problem, cast: Cast) -> Array:
    """Return the job's property as it is made small; what has no end is `NEVER`."""
    value = PREDICTORS[problem.job.objective](cast)
    # "Never" is worse than any number, and has no slope.
    value = np.where(np.isfinite(value), value, NEVER)
    return np.asarray(-value if problem.job.maximize else value)
