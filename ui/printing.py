"""The batch card on the page: a window with the card, ready to print or to keep."""

from __future__ import annotations

from typing import Final

import streamlit as st

from ui import answers
from ui.batch_text import most_per_mix
from ui.card import card_html, sheet_of
from ui.plain_text import plain
from ui.state import Session, units

CAST: Final = "vessels_of_card"
"""Where a window keeps for how many vessels its card was last shown."""

_PAPERS: Final = {"a5": "A5", "half-letter": "half letter"}
_BUTTON: Final = """<style>@media print { .ask { display: none; } }</style>
<p class="ask"><button type="button" onclick="window.print()"
style="font: inherit; padding: 2mm 6mm; margin-bottom: 4mm">Print</button></p>
"""


@st.dialog("Batch card", width="medium")
def print_card(now: Session) -> None:
    """Show the card of the selected blend with a button that prints it and one that keeps it."""
    mixed = st.session_state.get("vessels_to_mix")
    vessels = st.number_input(
        "Vessels to cast",
        min_value=1,
        max_value=10_000,
        value=int(mixed or (1 if now.solution.mix is None else most_per_mix(now.solution))),
        key="card_vessels",
    )
    st.session_state[CAST] = vessels
    usual = "half-letter" if units() == "us" else "a5"
    paper = st.segmented_control(
        "Paper",
        list(_PAPERS),
        default=usual,
        required=True,
        key="paper",
        format_func=lambda each: plain(_PAPERS[each]),
    )
    batch = answers.batch(now.asked, now.blend, int(vessels))
    if batch is None:
        st.info("No blend meets the limits, so there is nothing to weigh.")
        return
    trials = now.asked.trials
    sheet = sheet_of(now.solution, batch, answers.catalogue(), units=units(), trials=trials)
    html = card_html(sheet, paper or usual)
    st.download_button(
        "Keep it as a file", html, "card.html", "text/html", on_click="ignore", key="keep_card"
    )
    st.iframe(with_print_button(html), height=620)


def with_print_button(html: str) -> str:
    """Return the card with a button on top that the printer leaves out."""
    return html.replace("<body>", f"<body>\n{_BUTTON}", 1)
