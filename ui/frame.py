"""What stands around every page: the decision fields at the side and the strip on top."""

from __future__ import annotations

import streamlit as st

from optimizer.errors import Fault, FileFaults, VesselblendError
from optimizer.nomenclature import quantity
from optimizer.solution import LimitVerdict, Solution
from ui import answers
from ui.fields import DECISIONS, SHOP, price_fields
from ui.page_words import MARKS, spoken_bound
from ui.state import Session, base_tables, drop_pick, session, set_base, units
from ui.widgets import show_field, tell_faults
from ui.words import blend_words, judged_words, label_of, money, verdict_words

__all__ = ["decisions", "strip", "tell", "tightest"]

_UNITS = {"metric": "metric", "us": "US"}
_CURRENCIES = ("EUR", "USD", "GBP", "CHF", "CAD", "AUD", "SEK", "NOK", "DKK", "PLN", "CZK", "JPY")


def decisions() -> None:
    """Show the decision fields at the side, each with its fault under it, and the job file in and out."""
    with st.sidebar:
        st.subheader("What the vessel must do")
        slots = {field.key: show_field(field) for field in DECISIONS}
        st.caption(f"{MARKS['example']} example number: replace with yours · {MARKS['yours']} yours")
        now = session()
        tell_faults(slots, {key: fault for key, fault in now.faults.items() if key in slots})
        if now.faults:
            _elsewhere([key for key in now.faults if key not in slots])
        _job_file(now)


def _elsewhere(keys: list[str]) -> None:
    """Say that the draft does not read, and which figures on other pages are to blame."""
    fields = {"materials": "the powders the blend may use"}
    fields |= {field.key: f"“{field.label}”" for field in SHOP}
    known = answers.catalogue()
    for name in known:
        label = label_of(name, known)
        fields |= {field.key: f"“{field.label}” of {label}" for field in price_fields(name)}
    names = ", ".join(fields.get(key, key) for key in keys)
    others = f" Repair also, on its own page: {names}." if names else ""
    st.warning(f"The page shows the last figures that could be read.{others}")


def _job_file(now: Session) -> None:
    st.subheader("Job file")
    st.download_button(
        "Save the whole job",
        data=now.asked.text,
        file_name="job.toml",
        mime="application/toml",
        on_click="ignore",
        width="stretch",
        help="All figures, as text to keep, send or open with the command line.",
    )
    st.caption("A reload keeps the figures above; save the job to keep all the others.")
    st.file_uploader("Open a job file", type=["toml"], key="job_upload", on_change=_opened)
    for fault in st.session_state.get("upload_faults", ()):
        st.error(str(fault))


def _opened() -> None:
    sent = st.session_state.get("job_upload")
    if sent is None:
        st.session_state["upload_faults"] = ()
        return
    try:
        text = sent.getvalue().decode("utf-8-sig")
    except UnicodeDecodeError:
        fault = Fault(sent.name, "bytes that are not UTF-8", "a TOML file", "Save it as plain text in UTF-8.")
        st.session_state["upload_faults"] = (fault,)
        return
    st.session_state["upload_faults"] = set_base(text, sent.name)


def strip(now: Session) -> None:
    """Show blend in hand, cost, tightest limit, units and currency."""
    solution = now.solution
    with st.container(border=True, key="strip", gap="xsmall"):
        st.markdown(f"**In hand:** {_blend_words(solution, now)}")
        words, controls = st.columns([2, 1], vertical_alignment="center")
        cost, worst = _cost_words(solution, now), _tightest_words(solution)
        words.markdown(f"**A good vessel:** {cost}  \n**Tightest:** {worst}")
        with controls.container(horizontal=True, horizontal_alignment="right"):
            _units()
            _currency()
    if st.session_state.get("stale_blend"):
        st.warning("The blend named in the address is none of these powders: the design's own stands here.")
        st.button("Take it out of the address", on_click=drop_pick, key="drop_stale")


def _units() -> None:
    st.segmented_control(
        "Units",
        list(_UNITS),
        default="metric",
        required=True,
        key="units",
        label_visibility="collapsed",
        bind="query-params",
        persist_state="session",
        format_func=_UNITS.__getitem__,
    )


def _currency() -> None:
    st.selectbox(
        "Currency",
        list(dict.fromkeys((base_tables()["currency"], *_CURRENCIES))),
        key="currency",
        label_visibility="collapsed",
        accept_new_options=True,
        bind="query-params",
        persist_state="session",
        width=96,
    )


def tell(error: VesselblendError) -> None:
    """Say why a page has no answer, and where a missing price is written."""
    faults = error.faults if isinstance(error, FileFaults) else ()
    unpriced = [fault.where.removeprefix("prices.") for fault in faults if fault.where.startswith("prices.")]
    if not unpriced:
        st.error(str(error))
        return
    names = ", ".join(label_of(name, answers.catalogue()) for name in unpriced)
    st.error(f"This page counts money, and there is no price yet for: {names}.")
    st.page_link("app_pages/shelf.py", label="Write their prices")


def tightest(solution: Solution) -> LimitVerdict | None:
    """Return the limit least likely to hold, the one with the least to spare first."""
    return min(solution.limits, key=lambda v: (v.probability, v.margin), default=None)


def _blend_words(solution: Solution, now: Session) -> str:
    if solution.mix is None:
        return "none meets the limits"
    words = blend_words(solution.mix.blend, answers.catalogue())
    return f"{words} (picked by you)" if now.blend else words


def _cost_words(solution: Solution, now: Session) -> str:
    return "not known" if solution.cost is None else money(solution.cost, now.job.currency)


def _tightest_words(solution: Solution) -> str:
    worst = tightest(solution)
    if worst is None:
        return "none"
    name = worst.limit.property
    return (
        f"{quantity(name).label} {verdict_words(worst, units())}, "
        f"{spoken_bound(worst.limit, units())}: {judged_words(worst)}"
    )
