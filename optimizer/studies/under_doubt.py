"""From the best blend at best values to one that a scale can weigh and whose limits hold together.

The search asks its own draws; what it finds is rounded to the scale and judged by draws it has not seen.
Where those say that a little is missing, a little more is asked for; where they say that the blend is surer
than asked, a little less: some turns, and the best blend of them is the answer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from optimizer.engine.candidate import Candidate
from optimizer.engine.chance_constraints import ChanceBlend, chance_blends
from optimizer.engine.chance_rows import ChanceQuestion, rows_near
from optimizer.engine.scale_rounding import NEAREST, REACH, Weighed, weigh
from optimizer.engine.search_state import Found
from optimizer.job import Limit
from optimizer.problem import Problem
from optimizer.verdict.assess import HOLDS, is_open, joint_probability
from optimizer.verdict.judge import Judgement, judge

__all__ = ["Answered", "best_under_doubt", "judged_limits"]

_TURNS, _MORE, _NEAR = 4, 0.004, 0.01
"""Times that is asked, chance asked for beyond what is missing, and the surplus that is near enough [-]."""

_KEPT = 8
"""Next best blends, sure enough and not, from which a search that asks again starts, too [count]."""

_LOST = 2e-3
"""Share of the objective that rounding may cost before the next best blend is weighed, too [-]."""

_LEAST_ASKED, _MOST_ASKED = 0.05, 0.995


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
        tried.append(_weighable(question, found))
        told = _chance(tried[-1])
        near_enough = tried[-1].sure and told <= problem.job.confidence + _NEAR
        if near_enough or (not tried[-1].blend.reaches(question.chance) and not tried[-1].sure):
            break
        seen = joint_probability(problem, found.candidate.mix, problem.samples.search)
        if tried[-1].sure and seen > question.chance + _NEAR:
            break  # the chance asked for holds nothing back: less of it finds no better blend
        # as much more or less is asked of the search's own draws as the others tell too little or too much
        asked = seen if tried[-1].sure else max(seen, question.chance)
        asked += problem.job.confidence - told + _MORE
        asked = min(max(asked, _LEAST_ASKED), _MOST_ASKED)
        known = (found.candidate, *found.near[:_KEPT], *found.unsure[:_KEPT])
        question = replace(question, chance=asked, near=known)
    sure = [each for each in tried if each.sure]
    if sure:
        return min(sure, key=lambda each: _objective(problem, each))
    return max(tried, key=lambda each: (each.weighed.fills and each.weighed.held, _chance(each)))


def _objective(problem: Problem, answered: Answered) -> float:
    """Return what is minimized, as the draws that no search has seen tell it."""
    cost = answered.judged.assessment.cost
    if problem.job.objective == "cost" and cost is not None:
        return cost.value
    return answered.weighed.candidate.value


def _least_missed(nominal: Found) -> ChanceBlend:
    """Return the blend at best values: no draw of it holds all limits."""
    assert nominal.best is not None
    return ChanceBlend(nominal.best, 0.0, nominal.met)


def _weighable(question: ChanceQuestion, found: ChanceBlend) -> Answered:
    """Return the blend as weighed, or a next best that can be weighed better.

    On a coarse scale rounding may cost more than another powder, and a dose of one step may be more than the
    binder of a small vessel bears.
    """
    best = _weighed(question, found)
    for rival in found.near[:_KEPT] if found.reaches(question.chance) else ():
        now = best.weighed.candidate.value
        if best.weighed.held and now - rival.value <= _LOST * abs(now):
            break
        other = _weighed(question, replace(found, candidate=rival))
        cheaper = other.sure >= best.sure and other.weighed.candidate.value < now
        if other.weighed.held and (cheaper or not best.weighed.held):
            best = other
    return best


def _weighed(question: ChanceQuestion, found: ChanceBlend) -> Answered:
    unsure = not found.reaches(question.chance)
    rows, task = rows_near(question, found.candidate.mix)
    weighed = weigh(rows, task, found.candidate, NEAREST if unsure else REACH)
    judged = judge(question.problem, weighed.grams)
    sure = weighed.fills and weighed.held and judged.verdict == HOLDS
    return Answered(found, weighed, judged, sure)


def _chance(answered: Answered) -> float:
    return answered.judged.assessment.joint_probability
