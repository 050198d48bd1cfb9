"""The batch card on the page: a window with the card, ready to print or to keep."""

from __future__ import annotations

import importlib.util

import streamlit as st

from ui.state import Session

__all__ = ["print_card"]


@st.dialog("Batch card", width="large")
def print_card(now: Session) -> None:
    """Show the card of the blend in hand with a button that prints it."""
    if importlib.util.find_spec("ui.card") is None:
        st.info("This build holds no card.")
