"""Widgets the pages share: fields with their faults, rows of them, charts in the ink of the theme."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

import altair
import streamlit as st

from optimizer.errors import Fault
from ui.answers import DEMO
from ui.charts import inked
from ui.draft import default_text, field_text, field_value, shows, tables_of, whose
from ui.fields import Field
from ui.page_words import MARKS
from ui.palette import DARK, LIGHT
from ui.plain_text import Html, plain, tag
from ui.state import base_tables, units
from ui.unit_text import hint_in, typed_in

T = TypeVar("T")


def draw(chart: altair.LayerChart, key: str, alt: str, **picking: Any) -> None:  # noqa: ANN401  Streamlit's
    """Put a chart on the page, its axes in the ink of the visitor's theme."""
    st.altair_chart(inked(chart, theme()["text"]), key=key, alt=alt, **picking)


def theme() -> Mapping[str, str]:
    """Return the colors of the visitor's theme."""
    return DARK if st.context.theme.type == "dark" else LIGHT


def drawn(*parts: Html) -> None:
    """Put what was drawn in HTML on the page."""
    st.html(tag("div", *parts))


def show_field(field: Field, empty: str = "") -> Any:  # noqa: ANN401  Streamlit's container
    """Put a field on the page and return the place under it where its fault is told.

    `empty` is what holds while nothing stands in it, where that is no default of the job file.
    """
    base, demo = base_tables(), tables_of(DEMO)
    default = field_value(demo if field.name else base, field.key)
    _in_units(field, base, default)
    shown = st.session_state.get(field.widget, st.query_params.get(field.name, default))
    bound: Any = {"bind": "query-params"} if field.name else {}
    st.text_input(
        plain(f"{field.label} {MARKS[whose(base, demo, field.key, shown)]}"),
        value=default,
        key=field.widget,
        help=plain(hint_in(field.hint, units())),
        placeholder=empty or typed_in(default_text(field.key), units()) or None,
        persist_state="session",
        **bound,
    )
    return st.empty()


def _in_units(field: Field, base: Mapping[str, Any], default: object) -> None:
    """Let a field show the job's own figure in the units shown; what was typed over it keeps its units."""
    addressed = field.name in st.query_params if field.name else False
    held = st.session_state.get(field.widget, None if addressed else default)
    wanted = field_text(base, field.key, units())
    if held != wanted and shows(base, field.key, held):
        st.session_state[field.widget] = wanted


def show_fields(fields: Sequence[Field], columns: int) -> dict[str, Any]:
    """Put fields on the page in rows, and return the places of their faults by key."""
    slots: dict[str, Any] = {}
    for row in in_rows(fields, columns):
        for column, field in zip(st.columns(columns), row, strict=False):
            with column:
                slots[field.key] = show_field(field)
    return slots


def in_rows(items: Sequence[T], columns: int) -> list[Sequence[T]]:
    """Return items in rows of `columns`, so that the eye, the keyboard and a phone read them in one order."""
    return [items[start : start + columns] for start in range(0, len(items), columns)]


def tell_faults(slots: Mapping[str, Any], faults: Mapping[str, Fault]) -> None:
    """Put each fault under its field; those of no field on the page stand together at the end."""
    for key, fault in faults.items():
        words = fault_words(fault)
        if key in slots:
            slots[key].error(plain(words))
        else:
            st.error(plain(f"{key}: {words}"))


def fault_words(fault: Fault) -> str:
    """Return a fault as it is told beside its field."""
    return f"Read {fault.value}. Allowed: {fault.allowed}. {fault.repair}"
