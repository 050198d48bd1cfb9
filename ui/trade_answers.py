"""A frontier with all the page shows of it, kept for as long as the page is served."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import streamlit as st

from optimizer.errors import NoBlend
from optimizer.problem import problem_of
from optimizer.solution import Alternative, Solution
from optimizer.studies.check import check, grams_of_blend
from optimizer.studies.frontier import Frontier, frontier
from optimizer.verdict.judge import judge, solution_of
from ui.answers import explained
from ui.question import Question, catalogue
from ui.words import label_of


@dataclass(frozen=True)
class Traded:
    """A frontier with all that is shown of it.

    Attributes
    ----------
    front : Frontier
        The blends.
    solutions : tuple[Solution, ...]
        Each blend judged.
    spans : tuple[tuple[float, float] | None, ...]
        Likely range of each cost [currency].
    binders : Mapping[str, Solution]
        The best mix of each binder alone, by name.
    """

    front: Frontier
    solutions: tuple[Solution, ...]
    spans: tuple[tuple[float, float] | None, ...]
    binders: Mapping[str, Solution]


@st.cache_data(max_entries=16, show_spinner=False)
def traded(asked: Question, over: tuple[str, ...], points: int) -> Traded:
    """Return the frontier of two or three quantities; raises `NoBlend` when no blend meets the limits."""
    problem = problem_of(asked.job, catalogue(), asked.parameters())
    best = explained(asked, "alternatives")
    if best.mix is None:
        raise NoBlend("no blend meets the limits")
    front = frontier(problem, over, points)
    judged = [judge(problem, grams_of_blend(problem, each.blend, each.water_ratio)) for each in front.blends]
    solutions = tuple(solution_of(problem, each.verdict, each) for each in judged)
    spans = tuple(None if x.expected is None else (x.expected.low, x.expected.high) for x in solutions)
    return Traded(front, solutions, spans, _binders(asked, best))


def _binders(asked: Question, best: Solution) -> dict[str, Solution]:
    alone = [each for each in best.alternatives if each.name.endswith(" alone") and each.blend]
    return {_label(each): _judged(asked, each) for each in alone}


def _label(alone: Alternative) -> str:
    """Return the name of the one binder in it: it may well be the lesser part of the mix."""
    known = catalogue()
    return label_of(next(name for name in alone.blend if known[name].role == "binder"), known)


def _judged(asked: Question, alone: Alternative) -> Solution:
    return check(asked.job, alone.blend, catalogue(), alone.water_ratio, asked.parameters())
