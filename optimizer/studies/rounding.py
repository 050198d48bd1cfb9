"""From the best blend to the best that a scale can weigh, held again after rounding with a little reserve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.engine.descent import descend
from optimizer.engine.polish import Candidate
from optimizer.engine.weigh import Weighed, weigh
from optimizer.formulation import RowLabel, backoff_vector, row_labels
from optimizer.limit_rows import row_count
from optimizer.problem import Problem
from optimizer.studies.held import Found, searched
from optimizer.verdict.confidence import Doubt
from optimizer.verdict.judge import Judgement, judge, worst_verdict

__all__ = ["Rounded", "rounded"]

_RESERVES = (0.0, 0.002, 0.005, 0.01, 0.02)
"""Over-meeting of every row tried in turn before rounding [-]."""

_SEARCHED_RESERVES = (0.005, 0.02)
"""Over-meeting of the limits' rows with which the whole search is made again [-]."""

_MOST_RIVALS = 6


@dataclass(frozen=True)
class Rounded:
    """A weighed blend and how it was judged.

    Attributes
    ----------
    weighed : Weighed
        Masses for one filled cavity.
    judged : Judgement
        What the property functions say of these masses.
    holds : bool
        True when every limit and every rule of mixing holds after rounding.
    """

    weighed: Weighed
    judged: Judgement
    holds: bool


def rounded(problem: Problem, found: Found, doubt: Doubt) -> Rounded:
    """Return the best weighing of the best blend, or of another where that one cannot be weighed.

    The best blend mostly lies where limits bind, and rounding may break one of them. It is then solved
    again with a little reserve on every row. Where that leaves nothing of its materials, the search is made
    again with the reserve, and where coarse steps are in the way (a dose of a tenth of a gram on a scale of
    a tenth), the next best blends are tried.
    """
    best = _with_reserve(problem, found.best, found, doubt)
    for reserve in _SEARCHED_RESERVES:
        if best.holds:
            return best
        again = searched(problem, _reserved(problem, found, reserve), found.search.scan)
        if again is not None and again.best.feasible:
            best = min(best, _with_reserve(problem, again.best, found, doubt), key=_rank)
    others = [c for c in found.search.polished.values() if c.feasible and c is not found.best]
    for candidate in sorted(others, key=Candidate.rank)[:_MOST_RIVALS]:
        if best.holds:
            break
        best = min(best, _with_reserve(problem, candidate, found, doubt), key=_rank)
    return best


def _reserved(problem: Problem, found: Found, reserve: float) -> dict[RowLabel, float]:
    labels = [RowLabel(x, part) for x in problem.job.limits for part in range(row_count(x))]
    return {label: found.shifts.get(label, 0.0) + reserve for label in labels}


def _rank(tried: Rounded) -> tuple[bool, float, tuple[bool, float, float]]:
    """Order weighings: those that hold by value, then those that do not by their least chance."""
    chance = min((verdict.probability for verdict in tried.judged.limits), default=1.0)
    return not tried.holds, 0.0 if tried.holds else -round(chance, 2), tried.weighed.candidate.rank()


def _with_reserve(problem: Problem, candidate: Candidate, found: Found, doubt: Doubt) -> Rounded:
    """Return the first weighing that holds, with as little reserve as it takes; else the first of all."""
    case = candidate.case
    backoff = backoff_vector(problem, case, found.shifts)
    own = [k for k in candidate.support if k in problem.solids]
    zero = np.zeros(len(row_labels(problem, case)))
    first: Rounded | None = None
    for reserve in _RESERVES:
        aimed = candidate
        if reserve > 0.0:
            wanted = (zero if backoff is None else backoff) + reserve
            aimed = descend(problem, case, own, candidate.mix, wanted, own)
            if not aimed.feasible:
                break
        tried = _judged(problem, weigh(problem, aimed, backoff), doubt)
        if tried.holds:
            return tried
        first = first or tried
    assert first is not None  # the first turn asks for no reserve
    return first


def _judged(problem: Problem, weighed: Weighed, doubt: Doubt) -> Rounded:
    judged = judge(problem, weighed.grams, doubt)
    holds = weighed.fills and weighed.candidate.feasible and worst_verdict(judged.limits) == "meets"
    return Rounded(weighed, judged, holds)
