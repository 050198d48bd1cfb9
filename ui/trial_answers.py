"""What is fitted from the studio's trials, as the page asks for it."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import streamlit as st

from optimizer.calibration.files import keep_calibration, newest_calibration
from optimizer.calibration.fit import Fit, calibrate
from optimizer.calibration.next_trial import NextTrial, next_trial
from optimizer.calibration.readings import studio_of
from optimizer.calibration.standard_trial import grams_of
from optimizer.errors import VesselblendError
from optimizer.problem import problem_of
from optimizer.trials.records import Trial
from ui.answers import explained
from ui.fit_text import test_volume
from ui.question import Question, catalogue

_FITS = "fits_kept"


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


def keep_fit(fit: Fit) -> Path:
    """Write a fit beside the trial book, from where every page uses it; this window can put it back.

    Raises
    ------
    FileFaults
        If it cannot be written.
    """
    before = newest_calibration(book_folder())
    path = keep_calibration(fit.calibration, book_folder())
    if path != before:
        st.session_state.setdefault(_FITS, []).append(path)
    return path


def fits_kept() -> int:
    """Return how many fits this window has kept [count]."""
    return len(st.session_state.get(_FITS, ()))


def put_back_fits(most: int) -> None:
    """Leave only the first `most` fits this window has kept in use: the files of the others are renamed."""
    kept: list[Path] = st.session_state.get(_FITS, [])
    while len(kept) > most:
        path = kept.pop()
        names = (path.with_name(f"undone{more}-{path.name}") for more in ("", *range(2, 100)))
        free = next((each for each in names if not each.exists()), None)
        if path.is_file() and free is not None:
            path.rename(free)


def chart_rows(fit: Fit) -> list[dict[str, Any]]:
    """Return a row per reading that a chart can show: what was read, and expected before and after."""
    return [
        {
            "trial": one.reading.trial,
            "kind": one.reading.kind,
            "seen": one.reading.value * one.reading.whole,
            "before": one.before * one.reading.whole,
            "after": one.after * one.reading.whole,
        }
        for one in fit.seen
        if one.before < math.inf and one.after < math.inf
    ]


@st.cache_resource(max_entries=32, show_spinner=False)
def next_cast(asked: Question) -> tuple[NextTrial, dict[str, float]] | None:
    """Return the cast that is worth most, as the first page names it, with its grams; None without any."""
    problem = problem_of(asked.job, catalogue(), asked.parameters())
    try:
        found = next_trial(problem, explained(asked, "alternatives"))
    except VesselblendError:
        return None
    return found, grams_of(problem, found.cast, test_volume(asked.job))
