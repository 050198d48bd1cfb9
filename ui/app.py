"""The page's frame: navigation, the decision fields at the side, and the strip above every page."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from optimizer.errors import VesselblendError
from optimizer.units import hints_in
from ui.frame import close_drawer, decisions, strip, tell
from ui.palette import STYLE
from ui.plain_text import tag
from ui.state import session, units
from ui.work import open_work

_PAGES = Path(__file__).parent / "app_pages"

st.set_page_config(page_title="vesselblend", layout="wide", initial_sidebar_state=270)
st.html(tag("style", STYLE))
page = st.navigation(
    [
        st.Page(_PAGES / "weigh.py", title="Weigh", default=True),
        st.Page(_PAGES / "trade_offs.py", title="Trade-offs", url_path="give-and-take"),
        st.Page(_PAGES / "swap.py", title="Cheaper blend?", url_path="cheaper-blend"),
        st.Page(_PAGES / "order.py", title="Order", url_path="order"),
        st.Page(_PAGES / "shelf.py", title="Shelf and prices", url_path="shelf"),
        st.Page(_PAGES / "trial_book.py", title="Trial book", url_path="trials"),
        st.Page(_PAGES / "materials.py", title="Materials", url_path="materials"),
    ],
    position="top",
)
close_drawer(page.url_path)
open_work()
with hints_in(units()):
    decisions()
    try:
        strip(session())
        page.run()
    except VesselblendError as error:
        tell(error)
