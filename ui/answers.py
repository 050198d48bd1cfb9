"""What the optimizer answers about one blend, kept for as long as the page is served."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from typing import Final

import streamlit as st

from optimizer.errors import Fault, FileFaults, NoBlend
from optimizer.job import Limit
from optimizer.jobfile import template
from optimizer.problem import problem_of
from optimizer.solution import Solution
from optimizer.studies.check import Batch, Comparison, batch_of, check, compare
from optimizer.studies.design import design, design_problem
from optimizer.studies.explain import named_alternatives
from optimizer.studies.levers import Lever, levers
from ui.explanations import Explanations, Teller
from ui.jobs import DESIGNED, blend_of, blend_text, read_blend, read_water_ratio
from ui.question import Question, catalogue
from ui.second_process import SECOND, Worked, worked_out

__all__ = [
    "DEMO",
    "at_confidence",
    "batch",
    "catalogue",
    "checked",
    "compared",
    "designed",
    "explained",
    "explaining",
    "hastened",
    "in_hand",
    "largest_saving",
    "more_coats",
    "others",
    "typed_blend",
]

DEMO: Final = template("demo")
"""Text of the shipped demo job."""

_ONE_AT_A_TIME: Final = threading.Lock()
"""Designs of several windows in turn: all at once, each would take longer than all of them do."""

_EXPLANATIONS: Final = Explanations(SECOND.explained)


@st.cache_data(max_entries=256, show_spinner=False)
def designed(asked: Question) -> Solution:
    """Return the best blend of a job, without its explanations."""
    return _worked(asked).solution


@st.cache_data(max_entries=256, show_spinner=False)
def _worked(asked: Question) -> Worked:
    with _ONE_AT_A_TIME:
        worked = worked_out(asked)
        return worked._replace(solution=asked.signed(worked.solution))


@contextmanager
def explaining(asked: Question) -> Iterator[Teller]:
    """Give what waits for explanations of the best blend of a job, part by part; an edit ends the wait."""
    with _EXPLANATIONS.told(asked, _worked(asked), _let_edits_in) as told:
        yield told


def explained(asked: Question, last: str) -> Solution:
    """Return the best blend of a job with its explanations up to one of `ui.explanations.PARTS`."""
    with explaining(asked) as told:
        return told(last)


def _let_edits_in() -> None:
    """End this run of the page where its caster edited something: any look into the state does."""
    st.session_state.get("blend")


@st.cache_data(max_entries=16, show_spinner=False)
def hastened(asked: Question) -> tuple[Lever, ...]:
    """Return the levers with which a job that lacks time is sure enough, or the surest ones."""
    without = designed(asked)
    with _ONE_AT_A_TIME:
        return levers(asked.job, catalogue(), lambda job: asked.parameters(job.materials), without)


@st.cache_data(max_entries=256, show_spinner=False)
def at_confidence(asked: Question, confidence: float) -> Solution:
    """Return the best blend where all limits were to hold together with another chance [fraction]."""
    nominal = _worked(asked).nominal
    with _ONE_AT_A_TIME:
        job = replace(asked.job, confidence=confidence)
        problem = problem_of(job, catalogue(), asked.parameters())
        return asked.signed(design_problem(problem, explain=False, nominal=nominal))


@st.cache_data(max_entries=512, show_spinner=False)
def checked(asked: Question, blend: str) -> Solution | None:
    """Return the verdict on a blend given as text; None when the text is no blend."""
    read = blend_of(blend, catalogue())
    if read is None:
        return None
    return asked.signed(check(asked.job, read[0], catalogue(), read[1], asked.parameters(read[0])))


def in_hand(asked: Question, blend: str) -> Solution:
    """Return the answer for the selected blend: the design's own, or the one that was picked."""
    picked = checked(asked, blend) if blend != DESIGNED else None
    return picked or designed(asked)


@st.cache_data(max_entries=128, show_spinner=False)
def more_coats(asked: Question, blend: str) -> float:
    """Return the chance that the selected blend takes more coats of sealer than are counted [fraction]."""
    mix, coats = in_hand(asked, blend).mix, in_hand(asked, blend).properties.get("sealer_coats")
    if mix is None or coats is None or not math.isfinite(coats.value):
        return 0.0
    counted = Limit("sealer_coats", "<=", coats.value)
    job = replace(asked.job, limits=(counted,))
    solution = check(job, mix.blend, catalogue(), mix.water_ratio, asked.parameters(mix.blend))
    return 1.0 - solution.limits[0].probability


@st.cache_data(max_entries=128, show_spinner=False)
def batch(asked: Question, blend: str, vessels: int) -> Batch | None:
    """Return what to weigh for `vessels` vessels of the selected blend; None without a blend."""
    solution = in_hand(asked, blend)
    used = () if solution.mix is None else solution.mix.blend
    try:
        return batch_of(solution, catalogue(), vessels, asked.parameters(used))
    except NoBlend:
        return None


@st.cache_data(max_entries=64, show_spinner=False)
def others(asked: Question) -> dict[str, Solution]:
    """Return the blends beside the best one, judged: binders alone first, then second choices."""
    alternatives = explained(asked, "alternatives").alternatives
    ordered = sorted(alternatives, key=lambda other: not other.name.endswith(" alone"))
    return {
        name: check(asked.job, each.blend, catalogue(), each.water_ratio, asked.parameters(each.blend))
        for name, each in named_alternatives(ordered, catalogue())
    }


def typed_blend(parts: Mapping[str, str], water: str) -> str:
    """Return a blend typed in parts or % by material, and its water ratio, as text.

    Raises
    ------
    FileFaults
        All that is wrong with it, each by the name of its material, or by ``water``.
    NoBlend
        If nothing in it would set.
    """
    line = "; ".join(f"{name}={text.removesuffix('%')}" for name, text in parts.items())
    faults: list[Fault] = []
    blend: dict[str, float] = {}
    ratio = None
    try:
        blend = read_blend(line, catalogue(), "blend")
    except FileFaults as error:
        faults += [replace(each, where=each.where.removeprefix("blend:")) for each in error.faults]
    try:
        ratio = read_water_ratio(water or None, "water")
    except FileFaults as error:
        faults += error.faults
    if faults:
        raise FileFaults(faults)
    whole = sum(blend.values())
    named = blend_text({name: part / whole for name, part in blend.items()}, ratio or 0.0)
    return named if ratio else named.partition("@")[0]


@st.cache_data(max_entries=128, show_spinner=False)
def compared(asked: Question, present: str, candidate: str) -> Comparison:
    """Return a candidate beside the selected blend."""
    first = in_hand(asked, present)
    second = first if candidate == _as_text(first) else checked(asked, candidate)
    return compare(first, second or first)


def _as_text(solution: Solution) -> str:
    return "" if solution.mix is None else blend_text(solution.mix.blend, solution.mix.water_ratio)


@st.cache_data(max_entries=64, show_spinner=False)
def largest_saving(asked: Question, present: str) -> float | None:
    """Return what the cheapest blend that meets every limit saves against the selected blend [currency]."""
    job = replace(asked.job, objective="cost", maximize=False)
    mine = job == asked.job
    cheapest = designed(asked) if mine else design(job, catalogue(), asked.parameters(), explain=False)
    return compare(in_hand(asked, present), cheapest).saving
