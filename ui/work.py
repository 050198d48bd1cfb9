"""Work saved by itself: each window's job in a file beside the trial book, and opened again by a reload.

A window's file has a name of its own, which its address carries, so that windows on two jobs do not meet.
The file is a job file like any other, its first line a comment where US units are shown. What is not
understood yet is not saved.
"""

from __future__ import annotations

import datetime as dt
import re
import secrets
from pathlib import Path
from typing import Final

import streamlit as st

from optimizer.errors import FileFaults
from optimizer.outputs import write_whole
from optimizer.toml_files import read_text
from ui.draft import with_blend
from ui.plain_text import plain
from ui.state import BASE, Session, set_base, units
from ui.trial_answers import book_folder

FOLDER: Final = "work"
"""Folder of the files, beside the trial book."""

_NAME: Final = re.compile(r"[0-9a-f]{8}")
_PARAM: Final = "work"
_US: Final = "# shown in US units\n"
_KEPT, _TIME, _FAULT = "work_kept", "work_time", "work_fault"


def open_work() -> None:
    """Open the work the address names, once, before anything is on the page."""
    named = st.query_params.get(_PARAM, "")
    if BASE in st.session_state or not _NAME.fullmatch(named):
        return
    path = _path(named)
    if path.is_file():
        _open(path)
        st.session_state[_PARAM] = named
        st.session_state[_TIME] = f"{dt.datetime.fromtimestamp(path.stat().st_mtime):%H:%M}"


def _open(path: Path) -> None:
    try:
        text = read_text(path)
        faults = set_base(text, path.name)
        st.session_state["units"] = "us" if text.startswith(_US) else "metric"
    except FileFaults as error:
        faults = error.faults
    st.session_state[_FAULT] = str(faults[0]) if faults else ""


def keep_work(now: Session) -> None:
    """Save the job and its blend where they changed, and say whether they are saved."""
    text = (_US if units() == "us" else "") + with_blend(now.asked.text, now.blend)
    if st.session_state.setdefault(_KEPT, text) != text and not now.faults:
        _save(text)
    if name := st.session_state.get(_PARAM):
        st.query_params[_PARAM] = name
    st.caption(plain(_state_words(now)))


def _save(text: str) -> None:
    name = st.session_state.setdefault(_PARAM, secrets.token_hex(4))
    path = _path(name)
    try:
        path.parent.mkdir(exist_ok=True)
        write_whole(path, text.encode())
    except (OSError, FileFaults) as error:
        st.session_state[_FAULT] = str(error)
        return
    st.session_state[_KEPT], st.session_state[_FAULT] = text, ""
    st.session_state[_TIME] = f"{dt.datetime.now():%H:%M}"


def _state_words(now: Session) -> str:
    if fault := st.session_state.get(_FAULT):
        return f"✗ Not saved: {fault}"
    if now.faults:
        return "✗ Not saved while a field is not understood."
    if time := st.session_state.get(_TIME):
        return f"✓ Saved beside the trial book, {time}; a reload brings all of it back."
    return "✓ Nothing to save yet: what you change is saved by itself."


def offer_work() -> None:
    """Offer the newest work of an earlier visit to a window that has none of its own yet."""
    if st.session_state.get(_PARAM) or st.session_state.get(_TIME):
        return
    known = sorted((book_folder() / FOLDER).glob("????????.toml"), key=lambda each: each.stat().st_mtime)
    if known and _NAME.fullmatch(known[-1].stem):
        when = dt.datetime.fromtimestamp(known[-1].stat().st_mtime)
        words = f"Open the work of {when:%Y-%m-%d %H:%M}"
        st.button(plain(words), key="open_work", on_click=_open, args=(known[-1],), width="stretch")


def _path(name: str) -> Path:
    return book_folder() / FOLDER / f"{name}.toml"
