"""The trial book: what was poured and measured, entered, imported, listed and kept."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final, NamedTuple

import streamlit as st

from optimizer.calibration.files import newest_calibration
from optimizer.calibration.readings import studio_of
from optimizer.errors import Fault, VesselblendError
from optimizer.studies.check import Batch, weighing_order, weighing_step
from optimizer.trials.book import TrialBook, book_beside
from optimizer.trials.fields import in_short
from optimizer.trials.records import Trial
from optimizer.trials.table_files import write_csv_text
from optimizer.trials.trace import last_lots
from optimizer.units import show as show_value
from ui import answers
from ui.batch_text import held_words, most_per_mix
from ui.fit_text import Counts, counts_of
from ui.order_text import counted
from ui.plain_text import marked, named, plain
from ui.printing import CAST
from ui.state import Session, session, units
from ui.trial_answers import book_folder
from ui.trial_correct import show_correct
from ui.trial_fit import show_fit
from ui.trial_form import CHOICES, READINGS, Reading, doubts_of, lot_column, powder_column, trial_of
from ui.trial_import import show_import, show_measuring
from ui.trial_text import known_blend, lots_words, out_words, trial_lots
from ui.trial_trace import show_trace
from ui.unit_text import hint_in
from ui.widgets import fault_words, in_rows
from ui.words import grams_words, label_of

_FIELD: Final = "trial."
_PAGE: Final = 50
_COLUMNS: Final = 3
_CARD: Final = "I cast the card's recipe"
_OTHER: Final = "I cast another recipe"
_FOUR: Final = ("window_end", "demold_first", "absorption", "whiteness")
"""Readings that teach the fit each on its own, with a clock, a scale and a photograph."""

_VESSELS: Final = tuple(reading for reading in READINGS if reading.column in ("labels", "sold_order"))
_FIRST: Final = tuple(reading for reading in READINGS if reading.column in _FOUR)
_WATER: Final = next(reading for reading in READINGS if reading.column == "water")
_MORE: Final = tuple(reading for reading in READINGS if reading not in (*_FIRST, _WATER, *_VESSELS))
_WIDTHS: Final = {
    "trial": 100,
    "left out": 70,
    "blend by mass": 138,
    "lots": 138,
    "vessels": 74,
    "order": 70,
    "left the mold after": 92,
    "strength": 68,
    "whiteness L*": 96,
    "remarks": 98,
}
"""Widths of columns of the list, which together stand in a window 1280 px wide [px]."""

_HEADS: Final = {"left the mold after": "out of mold"}
"""Heads of columns that would not stand in their width."""

_ROW: Final = 72
"""Height of a row of the list, in which words go on in a second and third line [px]."""

_ALWAYS: Final = ("trial", "left out", "blend by mass")
"""Columns of the list that stand there whatever was noted."""

_SAME_BAGS: Final = "trial_same_bags"
_NEEDS: Final = (
    "The fit needs powders and water weighed. Of a strength it asks whether the piece was wet or dry, of a "
    "wet one the age too; of a mass what one mold holds, and two weighings a day or more apart. The time "
    "taken out is an upper bound: perhaps ready earlier. The time it could first leave is a reading."
)


class _Form(NamedTuple):
    """What the fields of the form stand for.

    Attributes
    ----------
    names : list[str]
        Powders of the job, in the order of weighing.
    card : Mapping[str, float]
        Grams of the card's mix by name, where that was cast [g].
    last : Mapping[str, str]
        Lot noted last of each powder.
    """

    names: list[str]
    card: Mapping[str, float]
    last: Mapping[str, str]

    @property
    def weighed(self) -> list[str]:
        """Powders that may be in the batch."""
        return [name for name in self.names if not self.card or self.card.get(name)]


def show() -> None:
    """Show the page."""
    now = session()
    st.title("Trial book", anchor=False)
    path = book_beside(book_folder())
    st.caption(
        marked("Every batch you note is kept in {}, in the folder the page was started from.", path.name)
    )
    try:
        book = TrialBook(path) if path.exists() else None
        _enter(now, path, book)
        show_measuring()
        _exchange(path, book)
        if book is not None and book.count():
            _list(now, book)
        if book is not None and (book.count() or newest_calibration(book_folder()) is not None):
            show_fit(now, book)
    except VesselblendError as error:
        st.error(plain(str(error)))


def _enter(now: Session, path: Path, book: TrialBook | None) -> None:
    said = st.session_state.pop("trial_said", "")
    with st.container():  # also without words: what moves up or down on the page is shut by the framework
        if said:
            st.success(plain(said))
    st.markdown("### Note a trial")
    card = _card(now)
    other = card is None or _recipe() == _OTHER
    faults: Mapping[str, Fault] = st.session_state.get("trial_faults", {})
    with st.form("trial", border=False):
        grams = _weighed(now)
        names = [name for name in weighing_order(grams, answers.catalogue()) if name != "water"]
        powders = [*(_powder(name, grams[name]) for name in names), _WATER] if other else []
        if card is not None and not other:
            st.markdown(plain(_recipe_words(now, card)))
        _in_columns([None, *powders, *_FIRST], faults)
        with st.expander("More readings", expanded=any(each.column in faults for each in _MORE)):
            _in_columns(_MORE, faults)
            st.caption(plain(_NEEDS))
        form = _Form(
            names, {} if other or card is None else dict(card.grams), last_lots(book) if book else {}
        )
        lots = _bags(form, faults)
        if "trial_odd" in st.session_state:
            st.checkbox("What is odd is right: take it", key="trial_right")
        enter, check = st.columns(2)
        with enter:
            st.form_submit_button("Enter it", on_click=_entered, args=(path, form))
        with check:
            st.form_submit_button("Only say what would count", on_click=_checked, args=(now, form))
        _refused([*powders, *lots, *READINGS], faults)
        _would_count()
    st.caption("Only the day is compulsory: a half-filled trial is used as far as it goes.")


def _bags(form: _Form, faults: Mapping[str, Fault]) -> list[Reading]:
    """Show the fields of the bags and the vessels, folded, and return those of the bags."""
    lots = [_lot(name, form.last.get(name, "")) for name in form.weighed]
    fields = [*lots, *_VESSELS]
    with st.expander(
        "Lots of the bags, numbers of the vessels", expanded=any(each.column in faults for each in fields)
    ):
        _in_columns(fields, faults)
    noted = lots_words(((name, form.last.get(name, "")) for name in form.weighed), answers.catalogue())
    if noted:
        st.checkbox(marked("From the same bags as noted last: {}", noted), key=_SAME_BAGS)
    return lots


def _lot(name: str, last: str) -> Reading:
    return Reading(
        lot_column(name), f"{label_of(name, answers.catalogue())}, lot of the bag", last or "26-114"
    )


def _recipe() -> str:
    """Let the caster say which recipe was cast, and return it."""
    return str(
        st.radio(
            "I cast",
            (_CARD, _OTHER),
            key="trial_recipe",
            horizontal=True,
            format_func=lambda each: plain(each),
            label_visibility="collapsed",
        )
    )


def _card(now: Session) -> Batch | None:
    """Return the batch of the card; None without a blend."""
    if now.solution.mix is None:
        return None
    vessels = st.session_state.get(CAST) or st.session_state.get("vessels_to_mix")
    return answers.batch(now.asked, now.blend, int(vessels or most_per_mix(now.solution)))


def _recipe_words(now: Session, card: Batch) -> str:
    """Return what one mix of the card weighs, and which part of the batch that is."""
    known = answers.catalogue()
    masses = (
        f"{grams_words(card.grams[name], weighing_step(name, now.solution, known))} {label_of(name, known)}"
        for name in weighing_order(card.grams, known)
    )
    return f"{_mix_words(now, card)}: {', '.join(masses)}."


def _mix_words(now: Session, card: Batch) -> str:
    vessels = f"{card.per_mix} vessel{'' if card.per_mix == 1 else 's'}"
    if card.mixes == 1:
        return f"The card's mix, for {vessels}"
    return f"One of the card's {card.mixes} mixes, for {vessels} each, for {held_words(now.solution)}"


def _in_columns(fields: Sequence[Reading | None], faults: Mapping[str, Fault]) -> None:
    for row in in_rows(fields, _COLUMNS):
        for column, reading in zip(st.columns(_COLUMNS), row, strict=False):
            with column:
                _field(reading, faults)


def _field(reading: Reading | None, faults: Mapping[str, Fault]) -> None:
    if reading is None:
        st.date_input("day of the pour", dt.date.today(), key=f"{_FIELD}date", format="YYYY-MM-DD")
    elif reading.column in CHOICES:
        st.selectbox(plain(reading.label), CHOICES[reading.column], key=_key(reading.column))
    else:
        st.text_input(
            plain(reading.label), key=_key(reading.column), placeholder=hint_in(reading.hint, units())
        )
    fault = faults.get("date" if reading is None else reading.column)
    if fault:
        st.error(plain(fault_words(fault)))


def _refused(fields: Sequence[Reading], faults: Mapping[str, Fault]) -> None:
    """Repeat beside the button why nothing was entered: the field itself may be scrolled out of sight."""
    if not faults:
        return
    labels = {reading.column: reading.label for reading in fields} | {"date": "day of the pour"}
    told = {labels.get(column, column): fault_words(fault) for column, fault in faults.items()}
    st.error("Not entered. What you typed is still here; correct:\n" + named(told))


def _powder(name: str, mass: float) -> Reading:
    example = grams_words(mass, 1.0) if mass else "163 g, or empty"
    return Reading(powder_column(name), f"{label_of(name, answers.catalogue())}, weighed", example)


def _weighed(now: Session) -> dict[str, float]:
    """Return what the selected blend would weigh, none of the job's other powders: any may be noted."""
    mix = now.solution.mix
    return dict.fromkeys(now.job.materials, 0.0) | ({} if mix is None else dict(mix.grams))


def _key(column: str) -> str:
    return f"{_FIELD}{column}"


def _typed(form: _Form) -> tuple[Trial | None, list[str]]:
    """Return the trial in the form, None where it has faults, and its columns; keep the faults."""
    both = (column(name) for name in form.names for column in (powder_column, lot_column))
    columns = [*both, *(reading.column for reading in READINGS)]
    typed = {column: str(st.session_state.get(_key(column)) or "") for column in columns}
    weighed = {"water" if name == "water" else powder_column(name): x for name, x in form.card.items()}
    typed |= {column: f"{mass:.6g} g" for column, mass in weighed.items()}
    if st.session_state.get(_SAME_BAGS):
        same = {lot_column(name): lot for name, lot in form.last.items() if typed.get(powder_column(name))}
        typed |= {column: lot for column, lot in same.items() if not typed[column]}
    typed["date"] = st.session_state[_key("date")].isoformat()
    trial, faults = trial_of(typed)
    st.session_state["trial_faults"] = faults
    return trial, columns


def _checked(now: Session, form: _Form) -> None:
    trial, _ = _typed(form)
    if trial is not None:
        st.session_state["trial_counts"] = counts_of(trial, answers.catalogue(), studio_of(now.job))


def _would_count() -> None:
    counts: Counts | None = st.session_state.pop("trial_counts", None)
    if counts is not None:
        st.info(plain(f"Nothing is entered yet. {counts.taken_words} {counts.lacking_words}"))


def _entered(path: Path, form: _Form) -> None:
    trial, columns = _typed(form)
    if trial is None or _odd(trial, path):
        return
    try:
        entry = TrialBook(path).add(trial)
    except VesselblendError as error:
        st.session_state["trial_faults"] = {"date": Fault("date", "a trial", "a book to write", str(error))}
        return
    counts = counts_of(trial, answers.catalogue())
    st.session_state["trial_said"] = f"Entered as {entry}. {counts.taken_words} {counts.lacking_words}"
    for column in columns:
        st.session_state[_key(column)] = ""
    st.session_state[_SAME_BAGS] = False


def _odd(trial: Trial, path: Path) -> bool:
    """Tell whether to ask before the trial is taken; what is odd then stands beside the button."""
    odd = doubts_of(trial, TrialBook(path) if path.exists() else None)
    if not odd or st.session_state.get("trial_right"):
        st.session_state.pop("trial_odd", None)
        return False
    st.session_state["trial_odd"] = True
    st.session_state["trial_faults"] = odd
    return True


def _exchange(path: Path, book: TrialBook | None) -> None:
    with st.expander("Import or export a table"):
        show_import(path, tuple(answers.catalogue()))
        if book is not None:
            st.download_button(
                "Save all trials as CSV",
                lambda: write_csv_text(list(book.versions())),
                "trials.csv",
                "text/csv",
                on_click="ignore",
                key="export_trials",
            )


def _list(now: Session, book: TrialBook) -> None:
    entries = book.page(_PAGE)
    st.markdown(marked("### {}", counted(book.count(), "trial")))
    damaged = sum(not entry.whole for entry in entries)
    if damaged:
        st.warning(
            marked("{} damaged and counted nowhere: `vesselblend trials list` names them.", str(damaged))
        )
    rows = [_row(entry.trial, now) for entry in entries]
    used = [name for name in rows[0] if name in _ALWAYS or any(row[name] for row in rows)] if rows else []
    rows = [{name: row[name] for name in used} for row in rows]
    st.dataframe(
        rows,
        hide_index=True,
        column_config={
            name: st.column_config.TextColumn(_HEADS.get(name), width=width)
            for name, width in _WIDTHS.items()
        },
        row_height=_ROW,
        key="trials_table",
        alt="The newest trials",
    )
    st.caption("Left out: readings the fit cannot take yet; what they lack stands beneath it.")
    show_trace(book)
    _void(book, [entry.trial.id for entry in entries])


def _void(book: TrialBook, ids: list[str]) -> None:
    with st.expander("Correct a trial or make it void"):
        st.markdown(
            "One reading is corrected here, and all else of its trial stays. To correct many, save all "
            "trials as CSV, mend the rows and import the file as a correction. What stood there stays."
        )
        show_correct(book, ids)
        with st.form("void", border=False):
            st.selectbox("Trial to make void", ids, key="void_id")
            st.text_input("Why it no longer counts", key="void_reason", placeholder="wet bag")
            st.form_submit_button("Make it void", on_click=_voided, args=(book,))


def _voided(book: TrialBook) -> None:
    reason = str(st.session_state["void_reason"]).strip()
    id = str(st.session_state["void_id"])
    if not reason:
        st.session_state["trial_said"] = "Nothing was changed: say why the trial no longer counts."
        return
    book.withdraw(id, reason)
    st.session_state["void_reason"] = ""
    st.session_state["trial_said"] = f"{id} is void; it stays in the book with its reason."


def _row(trial: Trial, now: Session) -> dict[str, str]:
    strengths = [show_value(each.value, "dry_strength", units()) for each in trial.strengths]
    return {
        "trial": trial.id,
        "left out": counts_of(trial, answers.catalogue(), studio_of(now.job)).left_out,
        "blend by mass": known_blend(trial, answers.catalogue()),
        "lots": trial_lots(trial, answers.catalogue()),
        "vessels": in_short(trial.labels),
        "order": trial.sold_order,
        "left the mold after": out_words(trial, units()),
        "strength": ", ".join(strengths),
        "whiteness L*": "" if trial.whiteness is None else show_value(trial.whiteness, "whiteness", units()),
        "remarks": trial.remarks,
    }


show()
