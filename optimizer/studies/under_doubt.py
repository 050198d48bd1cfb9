"""From the best blend at best values to one that a scale can weigh and whose limits hold together.

The search asks its own draws; what it finds is rounded to the scale and judged by draws it has not seen.
Where those say that a little is missing, a little more is asked for, for some turns.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from optimizer.engine.candidate import Candidate
from optimizer.engine.chance_constraints import ChanceBlend, chance_blends
from optimizer.engine.chance_rows import ChanceQuestion, rows_near
from optimizer.engine.scale_rounding import Weighed, weigh
from optimizer.engine.search_state import Found
from optimizer.problem import Problem
from optimizer.shop import Limit
from optimizer.verdict.assess import HOLDS, is_open
from optimizer.verdict.judge import Judgement, judge

__all__ = ["Answered", "best_under_doubt", "judged_limits"]

_TURNS, _MORE = 4, 0.004
"""Times that more is asked for, and chance asked for beyond what is missing [-]."""

_MOST_ASKED = 0.995


@dataclass(frozen=True)
class Answered:
    """A weighed blend and how surely it holds.

    Attributes
    ----------
    blend : ChanceBlend
        What was found before rounding.
    weighed : Weighed
        Masses for one filled cavity.
    judged : Judgement
        What draws that no search has seen say of these masses.
    sure : bool
        True when all limits hold together with the job's confidence and no rule of mixing is broken.
    """

    blend: ChanceBlend
    weighed: Weighed
    judged: Judgement
    sure: bool


def judged_limits(problem: Problem) -> tuple[Limit, ...]:
    """Return the limits that count in the joint chance; heat without a burn test is held at best values."""
    return tuple(limit for limit in problem.job.limits if not is_open(problem, limit))


def best_under_doubt(problem: Problem, nominal: Found, near: tuple[Candidate, ...] = ()) -> Answered:
    """Return the best weighed blend that is sure enough, or the surest one.

    Parameters
    ----------
    problem
        What is asked.
    nominal
        The answer at best values; it has a blend that holds.
    near
        Blends of the same or a like question: where there are any, the search starts and stays near them.
    """
    question = ChanceQuestion(problem, judged_limits(problem), problem.job.confidence, nominal, near=near)
    tried: list[Answered] = []
    for _ in range(_TURNS):
        found = chance_blends([question], or_surest=True)[0] or _least_missed(nominal)
        tried.append(_weighed(question, found))
        if tried[-1].sure or found.chance < question.chance:
            break
        missing = max(problem.job.confidence - _chance(tried[-1]), 0.0) + _MORE
        near = (found.candidate, *found.near)
        question = replace(question, chance=min(question.chance + missing, _MOST_ASKED), near=near)
    return max(tried, key=lambda each: (each.sure, each.weighed.fills, _chance(each)))


def _least_missed(nominal: Found) -> ChanceBlend:
    """Return the blend at best values: no draw of it holds all limits."""
    assert nominal.best is not None
    return ChanceBlend(nominal.best, 0.0, nominal.met)


def _weighed(question: ChanceQuestion, found: ChanceBlend) -> Answered:
    weighed = weigh(rows_near(question, found.candidate.mix), 0, found.candidate)
    judged = judge(question.problem, weighed.grams)
    sure = weighed.fills and not judged.broken and judged.verdict == HOLDS
    return Answered(found, weighed, judged, sure)


def _chance(answered: Answered) -> float:
    return answered.judged.assessment.joint_probability
