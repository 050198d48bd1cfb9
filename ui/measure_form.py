"""The page's form for measuring with scale, bucket, phone and thermometer."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Final

import streamlit as st

from optimizer.errors import FileFaults, VesselblendError
from ui.measure_words import columns_in, size_words
from ui.measuring import MEASUREMENTS, Answer, Field, measured
from ui.plain_text import marked, plain
from ui.state import units
from ui.unit_text import typed_in
from ui.uploads import put_file
from ui.widgets import fault_words, in_rows

_COLUMNS: Final = 3


def show_measuring() -> None:
    """Show the form: choose what to measure, type the readings, see the figure and its error."""
    with st.expander("Measure with scale, bucket, phone or thermometer"):
        what = st.selectbox(
            "What to measure",
            list(MEASUREMENTS),
            key="measure_what",
            format_func=lambda n: MEASUREMENTS[n].title,
        )
        measurement = MEASUREMENTS[what]
        st.caption(plain(measurement.how))
        typed: dict[str, str] = {}
        photo = None
        with st.form(f"measure_{what}", border=False):
            for row in in_rows(list(measurement.fields), _COLUMNS):
                for column, field in zip(st.columns(_COLUMNS), row, strict=False):
                    with column:
                        if field.unit == "photo":
                            photo = st.file_uploader(
                                plain(field.label), type=["jpg", "jpeg", "png", "tif", "tiff"]
                            )
                        else:
                            typed[field.name] = _typed(what, field)
            asked = st.form_submit_button("Work it out")
        if asked:
            _answer(what, typed, None if photo is None else (photo.name, photo.getvalue()))


def _typed(what: str, field: Field) -> str:
    return st.text_input(
        plain(field.label),
        key=f"measure.{what}.{field.name}",
        placeholder=typed_in(field.default or field.hint, units()),
        help=marked("Such as {}", typed_in(field.hint, units())),
    )


def _answer(what: str, typed: dict[str, str], photo: tuple[str, bytes] | None) -> None:
    with tempfile.TemporaryDirectory() as folder:
        if photo is not None:
            typed["photo"] = str(put_file(Path(folder), *photo))
        try:
            answers = measured(what, typed)
        except FileFaults as error:
            for fault in error.faults:
                where = fault.where.partition(": ")[2]
                st.error(plain(f"{where}: {fault_words(fault)}".removeprefix(": ")))
            return
        except VesselblendError as error:
            st.info(plain(str(error)))
            return
    for one in answers:
        _show(one)
    for word in dict.fromkeys(word for one in answers for word in one.found.warnings):
        st.warning(plain(word))


def _show(one: Answer) -> None:
    st.markdown(
        marked("{}: **{}** ({}). {}", one.label, size_words(one, units()), one.found.method, one.more)
    )
    if one.columns:
        st.caption(marked("Note it with the trial as {}.", ", ".join(columns_in(one, units()))))
