"""Correcting one reading of a trial on the page: all else that was noted of it stays, its lots too."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import streamlit as st

from optimizer.errors import Fault, FileFaults, VesselblendError
from optimizer.trials.book import TrialBook
from optimizer.trials.marks import doubtful_in
from optimizer.trials.records import Trial
from ui.plain_text import marked, plain
from ui.question import catalogue, own_specs
from ui.state import units
from ui.trial_form import CHOICES, READINGS
from ui.trial_text import noted_words
from ui.trial_typing import corrected_trial
from ui.widgets import fault_words
from ui.words import label_of

_FAULTS: Final = "correct_faults"
_ODD: Final = "correct_odd"
_REASON: Final = "correct_reason"


def show_correct(book: TrialBook, ids: Sequence[str]) -> None:
    """Let the caster correct one reading of a trial; what stood there stays in the book."""
    trial_id = st.selectbox("Trial to correct", ids, key="correct_id")
    trial = book.get(str(trial_id)).trial
    labels = _labels(trial)
    column = str(
        st.selectbox(
            "What was noted wrong, or not at all",
            list(labels),
            key="correct_what",
            format_func=lambda each: labels.get(each, each),
        )
    )
    st.caption(marked("In the book: {}", noted_words(trial, column, units()) or "nothing"))
    with st.form("correct", border=False):
        if column in CHOICES:
            st.selectbox("As it should be", CHOICES[column], key=_key(column))
        else:
            st.text_input("As it should be", key=_key(column), placeholder="empty takes it out")
        st.text_input("Why it is corrected", key=_REASON, placeholder="misread the scale")
        if st.session_state.get(_ODD):
            st.checkbox("What is odd is right: take it", key="correct_right")
        st.form_submit_button("Correct it", on_click=_corrected, args=(book, trial.id, column))
        for fault in st.session_state.pop(_FAULTS, ()):
            st.error(plain(fault_words(fault)))


def _key(column: str) -> str:
    return f"correct {column}"


def _labels(trial: Trial) -> dict[str, str]:
    """Return what may be corrected, by column of the trial table: day, powders and lots, readings."""
    known = catalogue()
    labels = {"date": "day of the pour"}
    for number, portion in enumerate(trial.portions, start=1):
        name = label_of(portion.material, known) if portion.material in known else portion.material
        labels[f"powder {number} lot"] = f"{name}, lot of the bag"
        labels[f"powder {number} mass"] = f"{name}, weighed"
    return labels | {reading.column: reading.label for reading in READINGS}


def _corrected(book: TrialBook, id: str, column: str) -> None:
    value, reason = (str(st.session_state.get(key) or "").strip() for key in (_key(column), _REASON))
    try:
        entry = book.get(id)
        trial = corrected_trial(entry.trial, [f"{column}={value}"], None, own_specs())
        if _odd(book, trial, entry.trial):
            return
        revision = book.correct(trial, reason, supersedes=entry.revision) if trial != entry.trial else 0
    except FileFaults as error:
        st.session_state[_FAULTS] = error.faults
        return
    except VesselblendError as error:
        st.session_state["trial_said"] = f"Nothing was changed: {error}"
        return
    told = f"corrected: version {revision}; the one before stays in the book." if revision else "as it was."
    st.session_state["trial_said"] = f"{id} is {told}"
    for key in (_key(column), _REASON):
        st.session_state[key] = ""


def _odd(book: TrialBook, trial: Trial, before: Trial) -> bool:
    """Tell whether to ask before a correction is taken; what is odd then stands beside the button."""
    known = doubtful_in(book, before)
    odd: list[Fault] = [each for each in doubtful_in(book, trial) if each not in known]
    if not odd or st.session_state.get("correct_right"):
        st.session_state.pop(_ODD, None)
        return False
    st.session_state[_ODD], st.session_state[_FAULTS] = True, odd
    return True
