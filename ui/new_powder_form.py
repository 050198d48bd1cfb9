"""The form of a new powder on the page: what its bag says, kept as a spec file beside the trial book."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import streamlit as st

from optimizer.errors import FileFaults
from optimizer.specs.bag_facts import BagFacts
from ui import answers
from ui.new_powder import FOLDER, QUESTIONS, keep, typed_powder
from ui.plain_text import bullets, marked, plain
from ui.state import base_tables, take_powder, units
from ui.unit_text import hint_in, typed_in
from ui.widgets import in_rows
from ui.words import label_of

_FIELD: Final = "new_powder."
_COLUMNS: Final = 3
_SAID: Final = "new_powder_said"
_REFUSED: Final = "new_powder_refused"


def show_new_powder() -> None:
    """Show the form."""
    catalogue = answers.catalogue()
    told = st.session_state.pop(_SAID, "")
    if told:
        st.success(plain(told))
    refused = st.session_state.pop(_REFUSED, ())
    with st.expander("A powder of your own, from its bag", expanded=bool(refused)):
        with st.form("new_powder", border=False):
            left, middle, right, last = st.columns(4)
            left.text_input("name in jobs", key=f"{_FIELD}name", placeholder="budget_csa")
            middle.selectbox(
                "most like",
                [name for name in catalogue if catalogue[name].role != "water"],
                index=None,
                placeholder="choose one",
                key=f"{_FIELD}like",
                format_func=lambda name: label_of(name, catalogue),
            )
            right.text_input("a pack holds", key=f"{_FIELD}pack", placeholder=typed_in("25 kg", units()))
            last.text_input("price of a pack", key=f"{_FIELD}price", placeholder="22")
            for row in in_rows(list(QUESTIONS), _COLUMNS):
                for column, question in zip(st.columns(_COLUMNS), row, strict=False):
                    column.text_input(
                        plain(question.words),
                        key=f"{_FIELD}{question.field}",
                        placeholder=hint_in(question.example, units()),
                    )
            st.form_submit_button("Keep it", on_click=_kept)
        if refused:
            st.error("Not kept. Correct:\n" + bullets(refused))
        st.caption(
            marked(
                "Leave empty what the bag does not say: it is taken from the powder it is most like, with "
                "wider ranges. The file goes to the folder {}; nothing is overwritten.",
                FOLDER,
            )
        )


def _typed(key: str) -> str:
    return str(st.session_state.get(f"{_FIELD}{key}") or "").strip()


def _kept() -> None:
    name, like, pack, price = (_typed(key) for key in ("name", "like", "pack", "price"))
    if not like:
        st.session_state[_REFUSED] = ("most like: choose the powder that sets, fills or colors as this one.",)
        return
    facts: dict[str, Any] = {question.field: _typed(question.field) for question in QUESTIONS}
    facts["strengths"] = tuple(part for part in facts["strengths"].split(";") if part.strip())
    try:
        currency = str(base_tables().get("currency", ""))
        typed = typed_powder(name, like, BagFacts(**facts), (pack, price), Path(FOLDER), currency)
        made, paid = typed.made, typed.paid
        path = keep(made, Path(FOLDER))
    except FileFaults as error:
        st.session_state[_REFUSED] = tuple(map(str, error.faults))
        return
    take_powder(name, list(base_tables()["materials"]), paid.pack, paid.price)
    st.session_state[_SAID] = (
        f"{made.material.label} is kept in {path}, and this job may use it. "
        "From its bag: "
        f"{', '.join(made.typed).replace('_', ' ') or 'nothing but its name'}. All else is as {like}."
    )
    for key in ("name", "pack", "price", *(question.field for question in QUESTIONS)):
        st.session_state[f"{_FIELD}{key}"] = ""
