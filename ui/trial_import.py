"""What the page takes in for the trial book: a table with the questions it leaves open, and measurements."""

from __future__ import annotations

import tempfile
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path, PureWindowsPath
from typing import Final

import streamlit as st

from optimizer.errors import Fault, FileFaults, VesselblendError
from optimizer.trials.exchange import by_column, import_trials, read_trials
from optimizer.trials.import_choices import ImportChoices, read_choices
from optimizer.trials.table_files import Table
from ui.measuring import MEASUREMENTS, Answer, Field, columns_in, measured, size_words
from ui.plain_text import bullets, marked, plain
from ui.state import units
from ui.trial_text import understood_rows, understood_words
from ui.unit_text import typed_in
from ui.widgets import fault_words, in_rows

_ORDERS = {"as the days show": "", "month first (US)": "us", "day first": "day-first"}

_COLUMNS: Final = 3

_LONGEST: Final = 60


@dataclass(frozen=True)
class _Told:
    """What is said of an import: words, the faults of its rows, and whether anything was entered."""

    words: str
    faults: tuple[Fault, ...]
    entered: bool


def show_import(book: Path, materials: Collection[str]) -> None:
    """Show the import of a table of trials into the book at `book`."""
    st.markdown(
        "CSV or XLSX, one row per trial. Headers of your own, such as `plaster [g]`, `mixing water` or "
        "`strength psi`, are understood; look at what was understood before you enter it."
    )
    sent = st.file_uploader("Table of trials", type=["csv", "xlsx"], key="trials_upload")
    told: _Told | None = st.session_state.pop("imported", None)
    if told is not None:
        (st.success if told.entered else st.error)(plain(told.words))
        _fault_table(told.faults)
        return
    if sent is None:
        return
    table = _read(sent.name, sent.getvalue(), materials, _choices())
    if table is None:
        return
    rows = [
        dict(zip(("in the file", "taken as", "first cell"), row, strict=True))
        for row in understood_rows(table)
    ]
    st.dataframe(rows, hide_index=True, key="import_understood", alt="What each column was taken for")
    st.markdown(plain(understood_words(table)))
    if table.layout.doubts:
        doubts = (f"{doubt.where}: {doubt.value}. {doubt.repair}" for doubt in table.layout.doubts)
        st.warning(bullets(doubts))
    corrections = st.checkbox("a known trial with other content is a correction", key="corrections")
    partly = st.checkbox("leave faulty rows out and enter the others", key="leave_out")
    asked = (book, table, corrections, partly, materials)
    st.button("Import it", key="import_trials", on_click=_import, args=asked)


def _choices() -> ImportChoices:
    with st.expander("What the table does not say"):
        order = st.selectbox("days such as 3/2/2026", list(_ORDERS), key="import_dates")
        units = st.text_input(
            "units of columns that name none", key="import_units", placeholder="g, min, psi"
        )
        columns = st.text_area(
            "what a header means, one a line", key="import_columns", placeholder="Cement=csa_cement"
        )
    try:
        return read_choices(_ORDERS[order], [units], [line for line in columns.splitlines() if line.strip()])
    except FileFaults as error:
        _fault_table(error.faults)
        return ImportChoices()


def _read(name: str, content: bytes, materials: Collection[str], choices: ImportChoices) -> Table | None:
    with tempfile.TemporaryDirectory() as folder:
        path = put_file(Path(folder), name, content)
        try:
            return read_trials(path, materials=materials, choices=choices)
        except FileFaults as error:
            st.error("The table cannot be read as it is. Answer or repair:")
            _fault_table(by_column(error.faults))
            return None


def _import(book: Path, table: Table, corrections: bool, partly: bool, materials: Collection[str]) -> None:
    """Enter the trials before the page is drawn again, so that list and fit show them at once."""
    try:
        done = import_trials(
            book,
            table,
            corrections=corrections,
            leave_out_faulty=partly,
            materials=tuple(materials),
            confirmed=True,
        )
    except FileFaults as error:
        st.session_state["imported"] = _Told("Nothing was entered. Repair:", error.faults, entered=False)
        return
    except VesselblendError as error:
        st.session_state["imported"] = _Told(f"Nothing was entered: {error}", (), entered=False)
        return
    entered = done.entered
    words = (
        f"{len(entered.added)} added, {len(entered.corrected)} corrected, "
        f"{len(entered.unchanged)} unchanged, {done.left_out} rows left out."
    )
    st.session_state["imported"] = _Told(words, by_column(done.faults), entered=True)


def _fault_table(faults: tuple[Fault, ...]) -> None:
    if faults:
        rows = [{"where": f.where, "read": f.value, "allowed": f.allowed, "repair": f.repair} for f in faults]
        st.dataframe(rows, hide_index=True, key="import_faults", alt="Faults of the table")


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


def put_file(folder: Path, name: str, content: bytes) -> Path:
    r"""Write what was sent into a folder and return its path, whatever its sender calls it.

    The name keeps its last part, so that faults name the file as its sender knows it, without signs that
    cannot be printed or would lead out of the folder.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as there:
    ...     [put_file(Path(there), name, b"").name for name in ("a/my casts.csv", "..", "C:\\x.xlsx")]
    ['my casts.csv', 'file', 'x.xlsx']
    """
    last = "".join(sign for sign in PureWindowsPath(name).name if sign.isprintable())
    stem, dot, ending = last.rpartition(".")
    kept = f"{stem[:_LONGEST]}{dot}{ending[:_LONGEST]}".strip(". ")
    path = folder / (kept or "file")
    path.write_bytes(content)
    return path
