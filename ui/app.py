"""The page's frame: navigation, the decision fields at the side, and the strip above every page."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from optimizer.errors import VesselblendError
from ui.frame import decisions, strip, tell
from ui.state import session

_PAGES = Path(__file__).parent / "app_pages"

st.set_page_config(page_title="vesselblend", layout="wide")
page = st.navigation(
    [
        st.Page(_PAGES / "bench.py", title="Weigh", default=True),
        st.Page(_PAGES / "give_and_take.py", title="Trade-offs", url_path="give-and-take"),
        st.Page(_PAGES / "swap.py", title="Cheaper blend?", url_path="cheaper-blend"),
        st.Page(_PAGES / "order.py", title="Order", url_path="order"),
        st.Page(_PAGES / "shelf.py", title="Shelf and prices", url_path="shelf"),
        st.Page(_PAGES / "trial_book.py", title="Trial book", url_path="trials"),
        st.Page(_PAGES / "materials.py", title="Materials", url_path="materials"),
    ],
    position="top",
)
decisions()
try:
    strip(session())
    page.run()
except VesselblendError as error:
    tell(error)
