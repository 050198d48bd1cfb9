"""What stands around every page: the decision fields at the side and the strip on top."""

from __future__ import annotations

import streamlit as st

from optimizer.errors import Fault, FileFaults, VesselblendError
from optimizer.solution import Solution
from optimizer.units import odds_words
from ui import answers
from ui.draft import with_blend
from ui.edits import show_receipt
from ui.fields import DECISIONS, ORDER_SHOP, SHOP, price_fields
from ui.page_words import MARKS, UNREAD
from ui.plain_text import marked, plain
from ui.state import Session, base_tables, drop_pick, session, set_base, units
from ui.verdict_words import least_sure_words, sure_enough
from ui.widgets import show_field, tell_faults
from ui.words import blend_words, label_of, money
from ui.work import keep_work, offer_work

_SIDE = "on the left, on a phone behind »"
_UNITS = {"metric": "metric", "us": "US"}
_CURRENCIES = ("EUR", "USD", "GBP", "CHF", "CAD", "AUD", "SEK", "NOK", "DKK", "PLN", "CZK", "JPY")


def close_drawer(page: str) -> None:
    """Close the drawer of a phone once a page was chosen in it.

    The framework closes it where its first state changes; on a phone both states mean a closed drawer.
    """
    if "Mobi" not in st.context.headers.get("User-Agent", ""):
        return
    turned, last = st.session_state.get("pages_turned", 0), st.session_state.get("page_last", page)
    if page != last:
        turned += 1
    st.session_state["pages_turned"], st.session_state["page_last"] = turned, page
    st.set_page_config(initial_sidebar_state="collapsed" if turned % 2 else "auto")


def decisions() -> None:
    """Show the decision fields at the side, each with its fault under it, and the job file in and out."""
    with st.sidebar:
        st.subheader("What the vessel must do")
        slots = {field.key: show_field(field) for field in DECISIONS}
        st.caption(plain(f"{MARKS['example']} example number: replace with yours · {MARKS['yours']} yours"))
        now = session()
        tell_faults(slots, {key: fault for key, fault in now.faults.items() if key in slots})
        _job_file(now)


def _unread(now: Session) -> None:
    """Say above the page which fields cannot be read, and that what follows is of an older job."""
    if not now.faults:
        return
    named = _field_names()
    names = "; ".join(named.get(key, key) for key in now.faults)
    st.error(
        marked(
            "**Missing or not understood: {}.** What stands below is the last job that could be read; "
            "nothing is printed or saved until this is repaired.",
            names,
        )
    )


def _field_names() -> dict[str, str]:
    """Return what each field is called, and where it stands, by its dotted key."""
    known = answers.catalogue()
    places = ((DECISIONS, _SIDE), (SHOP, "page Weigh"), (ORDER_SHOP, "page Order"))
    names = {"materials": "the powders the blend may use (page Shelf and prices)"}
    names |= {field.key: f"“{field.label}” ({place})" for fields, place in places for field in fields}
    for name in known:
        of = f"of {label_of(name, known)} (page Shelf and prices)"
        names |= {field.key: f"“{field.label}” {of}" for field in price_fields(name)}
    return names


def _job_file(now: Session) -> None:
    st.subheader("Job file")
    st.download_button(
        "Save the whole job",
        data=with_blend(now.asked.text, now.blend),
        file_name="job.toml",
        mime="application/toml",
        on_click="ignore",
        width="stretch",
        disabled=bool(now.faults),
        help="All figures and the blend you picked, as text to keep, send or open with the command line.",
    )
    if now.faults:
        st.caption(plain(UNREAD))
    keep_work(now)
    offer_work()
    st.file_uploader("Open a job file", type=["toml"], key="job_upload", on_change=_opened)
    for fault in st.session_state.get("upload_faults", ()):
        st.error(plain(str(fault)))
    if said := st.session_state.get("upload_said"):
        st.success(plain(said))


def _opened() -> None:
    sent = st.session_state.get("job_upload")
    st.session_state["upload_said"] = ""
    if sent is None:
        st.session_state["upload_faults"] = ()
        return
    try:
        text = sent.getvalue().decode("utf-8-sig")
    except UnicodeDecodeError:
        fault = Fault(sent.name, "bytes that are not UTF-8", "a TOML file", "Save it as plain text in UTF-8.")
        st.session_state["upload_faults"] = (fault,)
        return
    faults = set_base(text, sent.name)
    st.session_state["upload_faults"] = faults
    if not faults:
        st.session_state["upload_said"] = f"Opened: {sent.name}. Every field shows it now."


def strip(now: Session) -> None:
    """Show what cannot be read, then selected blend, cost, sureness, units, currency and the last edit."""
    _unread(now)
    with st.container(border=True, key="strip", gap="xsmall"):
        words, controls = st.columns([11, 5], vertical_alignment="center")
        with words:
            _strip_words(now)
        with controls.container(horizontal=True, horizontal_alignment="right"):
            _units()
            _currency()
        show_receipt(now)
    if st.session_state.get("stale_blend"):
        st.warning("The blend named in the address is none of these powders: the design's own stands here.")
        st.button("Take it out of the address", on_click=drop_pick, key="drop_stale")


def _strip_words(now: Session) -> None:
    solution = now.solution
    if solution.mix is None:
        st.markdown("**Selected blend:** none meets the limits")
        return
    st.markdown(
        marked(
            "**Selected blend:** {}  \n:small[**A good vessel:** {} · **All limits together:** {} · "
            "**Least sure:** {}]",
            blend_words(solution.mix.blend, answers.catalogue()) + (" (picked by you)" if now.blend else ""),
            "not known" if solution.cost is None else money(solution.cost, now.job.currency),
            _together(solution),
            least_sure_words(solution, units()),
        )
    )


def _together(solution: Solution) -> str:
    """Return the chance that all limits hold together, and where it is not sure enough, what was asked."""
    if not solution.limits:
        return "no limit"
    chance = odds_words(solution.joint_probability or 0.0)
    return chance if sure_enough(solution) else f"{chance}, not sure enough"


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
        format_func=lambda each: plain(_UNITS[each]),
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
        st.error(plain(str(error)))
        return
    names = ", ".join(label_of(name, answers.catalogue()) for name in unpriced)
    st.error(marked("This page counts money, and there is no price yet for: {}.", names))
    st.page_link("app_pages/shelf.py", label="Write their prices")
