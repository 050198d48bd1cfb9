"""Levers for time on the page: asked for by a button, each taken into the job by one of its own."""

from __future__ import annotations

import streamlit as st

from optimizer.solution import Solution
from optimizer.studies.levers import Lever, time_is_short
from optimizer.units import odds_words
from ui import answers
from ui.lever_text import demold_words, lever_heading, price_notes
from ui.plain_text import marked, paragraphs, plain
from ui.state import Session, take_steps, units
from ui.unit_text import prose_in
from ui.words import money

_ASKED = "levers_asked"


def show_levers(now: Session, solution: Solution) -> None:
    """Show what would hasten a job that lacks time for a sure answer; nothing where time is not short."""
    if not time_is_short(solution):
        return
    if st.session_state.get(_ASKED) != now.asked:
        st.button(
            "Would warm water, a warmer room or an accelerator do?",
            key="ask_levers",
            on_click=_ask,
            args=(now,),
        )
        return
    with st.spinner("Trying warm water, a warmer room and accelerators"):
        found = answers.hastened(now.asked)
    st.markdown(plain(f"{lever_heading(found, now.job)}{':' if found else '.'}"))
    for place, lever in enumerate(found):
        st.button(
            plain(_words(lever, now)),
            key=f"lever_{place}",
            on_click=take_steps,
            args=(lever.steps,),
            wrap=True,
        )
    for step in dict.fromkeys(step for lever in found for step in lever.steps):
        st.caption(marked("{}: {}", prose_in(step.words, units()), step.risk))
    st.markdown(paragraphs([note for lever in found for note in price_notes(lever, units())]))


def _words(lever: Lever, now: Session) -> str:
    cost = "" if lever.solution.cost is None else f"{money(lever.cost, now.job.currency)} a vessel, "
    sure = f"all limits together {odds_words(lever.chance)}"
    return f"{prose_in(lever.words, units())}: {cost}{sure}, demold time {demold_words(lever, units())}"


def _ask(now: Session) -> None:
    st.session_state[_ASKED] = now.asked
