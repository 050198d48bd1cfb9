"""From the lot of a bag to its batches and vessels, and from a vessel back to its bags, on the page."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import streamlit as st

from optimizer.trials.book import TrialBook
from optimizer.trials.trace import Trace, trace_lot, trace_vessel
from optimizer.trials.trial_errors import NoSuchTrial
from ui.plain_text import marked, paragraphs, plain
from ui.question import catalogue
from ui.trial_text import TRACE_HEADS, trace_rows, trace_words

_SEARCHES: Final[Mapping[str, Callable[[TrialBook, str], Trace]]] = {
    "lot of a bag": trace_lot,
    "number of a vessel": trace_vessel,
}


def show_trace(book: TrialBook) -> None:
    """Let the caster search the book for the lot of a bag or the number of a vessel."""
    with st.expander("Find what a bag went into, or which bags a vessel came from"):
        typed = {}
        for column, label in zip(st.columns(len(_SEARCHES)), _SEARCHES, strict=True):
            with column:
                typed[label] = st.text_input(plain(label), key=f"trace {label}").strip()
        for label, text in typed.items():
            if text:
                _found(book, label, text)


def _found(book: TrialBook, label: str, text: str) -> None:
    """Show the batches that belong to a lot or a vessel, or say that there are none."""
    st.markdown(marked("**{} {}**", label, text))
    try:
        found = _SEARCHES[label](book, text)
    except NoSuchTrial as error:
        st.info(plain(str(error)))
        return
    rows = [dict(zip(TRACE_HEADS, row, strict=True)) for row in trace_rows(found, catalogue())]
    st.dataframe(rows, hide_index=True, key=f"found {label}", alt=f"Batches that belong to the {label}")
    st.markdown(paragraphs(trace_words(found, catalogue())))
