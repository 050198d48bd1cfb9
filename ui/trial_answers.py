"""What the studio's trials teach, as the page asks for it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import streamlit as st

from optimizer.calibration.fit import Fit, calibrate
from optimizer.calibration.lab_errors import KINDS
from optimizer.calibration.next_trial import next_trial
from optimizer.calibration.readings import studio_of
from optimizer.errors import VesselblendError
from optimizer.problem import problem_of
from optimizer.trials.records import Trial
from ui.answers import designed
from ui.question import Question, catalogue

__all__ = ["book_folder", "fitted", "next_words", "seen_rows"]


def book_folder() -> Path:
    """Return the folder of the trial book and its calibrations: the one the page was started from."""
    return Path.cwd()


@st.cache_resource(max_entries=8, show_spinner=False)
def fitted(trials: tuple[Trial, ...], text: str) -> Fit:
    """Return the figures fitted to trials made in the shop of a job.

    Raises
    ------
    NoVerdict
        If no trial holds a reading that can be used.
    """
    job = Question(text).job
    return calibrate(trials, catalogue(), studio_of(job))


def seen_rows(fit: Fit) -> list[dict[str, Any]]:
    """Return a row per reading that can be compared: what was read, and expected before and after."""
    return [
        {
            "trial": one.reading.trial,
            "kind": one.reading.kind,
            "seen": one.reading.value,
            "before": one.before,
            "after": one.after,
            "flagged": one.flagged,
        }
        for one in fit.seen
        if one.reading.kind in KINDS and one.before == one.before
    ]


@st.cache_data(max_entries=32, show_spinner=False)
def next_words(asked: Question) -> str:
    """Return which trial would take most doubt off the decision; empty where there is none."""
    problem = problem_of(asked.job, catalogue(), asked.parameters())
    try:
        return next_trial(problem, designed(asked, explain=True)).sentence()
    except VesselblendError:
        return ""
