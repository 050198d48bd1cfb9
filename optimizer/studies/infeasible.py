"""When no blend meets the limits even at best values: which of them stand against each other."""

from __future__ import annotations

from optimizer.engine.candidate import Candidate
from optimizer.engine.grid_search import GridSearch
from optimizer.engine.search_state import Question
from optimizer.engine.swap_search import best_mixes
from optimizer.job_inputs import Limit
from optimizer.problem import Problem


def conflict_of(problem: Problem, grid: GridSearch | None = None) -> tuple[Limit, ...]:
    """Return limits that no blend meets together though any of them left out would help (deletion filter)."""
    kept = list(problem.job.limits)
    for limit in problem.job.limits:
        rest = [x for x in kept if x != limit]
        found = _found(problem.with_limits(rest), grid, first=True)
        if found is None or not found.feasible:
            kept = rest
    return tuple(kept)


def _found(problem: Problem, grid: GridSearch | None, *, first: bool = False) -> Candidate | None:
    """Return the best blend at best values, or the first one that holds."""
    return best_mixes([Question(problem, first=first)], grid)[0].best
