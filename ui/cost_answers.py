"""The likely range of a cost as the page tells it, kept for as long as the page is served."""

from __future__ import annotations

import streamlit as st

from optimizer.studies.explain import cost_moves
from ui.answers import in_hand
from ui.cost_words import cost_range_words
from ui.question import Question, catalogue


@st.cache_data(max_entries=128, show_spinner=False)
def cost_told(asked: Question, blend: str) -> str:
    """Return where the cost of the selected blend likely lies and what moves it; empty without a cost."""
    solution = in_hand(asked, blend)
    if solution.expected is None or solution.cost is None:
        return ""
    span = (solution.expected.low, solution.expected.high)
    return cost_range_words(solution.cost, span, cost_moves(solution, catalogue()), solution.job.currency)
