"""What the optimizer answers to a job's text, kept for as long as the page is served.

Every function takes the text of a job that reads without fault and returns frozen records. The same text
gives the same answer, so the text is the key under which an answer is kept.
"""

from __future__ import annotations

from typing import Final

import streamlit as st

from optimizer.batch import Batch, batch_of
from optimizer.check import check
from optimizer.cost_range import cost_range
from optimizer.design import design
from optimizer.errors import NoBlend
from optimizer.job import Job
from optimizer.jobfile import parse_job, template
from optimizer.materials import Catalogue
from optimizer.solution import Solution
from optimizer.specs import load_catalogue
from ui.blends import DESIGNED, blend_of

__all__ = ["DEMO", "batch", "catalogue", "checked", "cost_span", "demo_job", "designed", "in_hand", "job_of"]

DEMO: Final = template("demo")
"""Text of the shipped demo job."""


def catalogue() -> Catalogue:
    """Return the materials and their figures."""
    return load_catalogue()


@st.cache_data(max_entries=64, show_spinner=False)
def job_of(text: str) -> Job:
    """Return the job of a text."""
    return parse_job(text, catalogue(), "job")


def demo_job() -> Job:
    """Return the shipped demo job."""
    return job_of(DEMO)


@st.cache_data(max_entries=64, show_spinner=False)
def designed(text: str, explain: bool) -> Solution:
    """Return the best blend of a job; with `explain`, what each limit costs and the blends beside it."""
    return design(job_of(text), catalogue(), explain=explain)


@st.cache_data(max_entries=512, show_spinner=False)
def checked(text: str, blend: str) -> Solution | None:
    """Return the verdict on a blend given as text; None when the text is no blend."""
    read = blend_of(blend, catalogue())
    return None if read is None else check(job_of(text), read[0], catalogue(), read[1])


def in_hand(text: str, blend: str) -> Solution:
    """Return the answer for the blend in hand: the design's own, or the one that was picked."""
    picked = checked(text, blend) if blend != DESIGNED else None
    return picked or designed(text, explain=False)


@st.cache_data(max_entries=128, show_spinner=False)
def cost_span(text: str, blend: str) -> tuple[float, float] | None:
    """Return the likely range of the cost of the blend in hand [currency]."""
    return cost_range(in_hand(text, blend), catalogue())


@st.cache_data(max_entries=128, show_spinner=False)
def batch(text: str, blend: str, vessels: int) -> Batch | None:
    """Return what to weigh for `vessels` vessels of the blend in hand; None without a blend."""
    try:
        return batch_of(in_hand(text, blend), catalogue(), vessels)
    except NoBlend:
        return None
