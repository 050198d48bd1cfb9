"""Materials: every figure of each, with its range, its source and how sure it is."""

from __future__ import annotations

import streamlit as st

from optimizer.materials import Material
from optimizer.nomenclature import CAUTIONS
from ui import answers
from ui.material_text import figure_rows
from ui.plain_text import bullets, marked, plain
from ui.state import session, units

_ROW = 88
_WIDTHS = {"figure": 140, "value": 80, "likely": 100, "how sure": 80, "source": 260, "note": 250}
"""Height of a row and widths of columns, so that sources are read whole [px]."""

_ROLES = {"binder": "Sets", "filler": "Fills", "pigment": "Colors", "admixture": "Slows or thins"}


def show() -> None:
    """Show the page."""
    session()
    catalogue = answers.catalogue()
    st.title("Materials", anchor=False)
    st.caption("Figures are starting values with their sources; your own trials and spec files replace them.")
    names = [name for name in catalogue if catalogue[name].role in _ROLES]
    st.dataframe(
        [
            {
                "material": catalogue[name].label,
                "does": _ROLES[catalogue[name].role],
                "note": catalogue[name].note,
            }
            for name in names
        ],
        hide_index=True,
        key="materials_table",
        alt="Materials known",
    )
    name = st.selectbox(
        "Every figure of",
        names,
        key="material",
        format_func=lambda each: catalogue[each].label,
        bind="query-params",
        persist_state="session",
    )
    _one(catalogue[name or names[0]])


def _one(material: Material) -> None:
    catalogue = answers.catalogue()
    st.markdown(marked("### {}", material.label))
    if material.note:
        st.markdown(plain(material.note))
    st.dataframe(
        figure_rows(material, catalogue, units()),
        hide_index=True,
        row_height=_ROW,
        column_config={name: st.column_config.TextColumn(width=width) for name, width in _WIDTHS.items()},
        key="figures_table",
        alt=f"Figures of {material.label}",
    )
    st.markdown(bullets(CAUTIONS[key] for key in material.cautions if key in CAUTIONS))


show()
