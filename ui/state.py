"""What one visitor has set: the job's text, the fields over it, the selected blend, units.

Nothing computed is kept here. The draft of a job is its base text with the fields laid over it; while
something in a field cannot be read, the page goes on showing the last draft that could.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, cast

import streamlit as st

from optimizer.calibration.files import DEMO_CALIBRATION, calibration_file, newest_calibration
from optimizer.errors import Fault, FileFaults
from optimizer.job import Job, Limit
from optimizer.jobfile import parse_job
from optimizer.jobfile.keys import write_limit
from optimizer.solution import Solution
from optimizer.studies.levers import Step
from optimizer.toml_files import read_text, shown_value
from optimizer.units import System, hints_in
from ui import answers
from ui.draft import Drafted, drafted, field_value, laid_over, tables_of, with_blend
from ui.fields import DECISIONS, SHOP, price_fields
from ui.jobs import DESIGNED, blend_of
from ui.question import Question
from ui.trial_answers import book_folder

BASE: Final = "base_job"
"""Where a window keeps the job file that is edited."""

_GOOD, _BLEND = "last_good_job", "blend"


@dataclass(frozen=True)
class Session:
    """The state of this run of the page.

    Attributes
    ----------
    asked : Question
        Newest draft that reads without fault, and the calibration in use.
    faults : Mapping[str, Fault]
        What is wrong with the draft, by dotted key; empty when `asked` holds the draft.
    blend : str
        Selected blend as text; empty: the design's own.
    """

    asked: Question
    faults: Mapping[str, Fault]
    blend: str

    @property
    def job(self) -> Job:
        """The job asked."""
        return self.asked.job

    @property
    def invented_casts(self) -> bool:
        """Whether the figures in use are fitted to the demo's invented casts."""
        return self.job.calibration == DEMO_CALIBRATION and newest_calibration(book_folder()) is None

    @property
    def casts_replaced(self) -> bool:
        """Whether a fit of the studio's own took the place of the demo's invented casts."""
        own = newest_calibration(book_folder()) is not None
        return self.job.calibration == DEMO_CALIBRATION and own and self.asked.trials > 0

    @property
    def solution(self) -> Solution:
        """The answer for the selected blend."""
        return answers.in_hand(self.asked, self.blend)


def units() -> System:
    """Return the units figures are shown in."""
    named = "us" if st.query_params.get("units") == "US" else "metric"
    return cast(System, st.session_state.get("units") or named)


def base_tables() -> dict[str, Any]:
    """Return the tables of the job file that is being edited."""
    return tables_of(st.session_state.setdefault(BASE, answers.DEMO))


def session() -> Session:
    """Return the state of this run; call it after the decision fields are on the page."""
    base = st.session_state.setdefault(BASE, answers.DEMO)
    draft = _drafted(base, tuple(_edits().items()), units())
    good = st.session_state.get(_GOOD, answers.DEMO) if draft.job is None else draft.text
    st.session_state[_GOOD] = good
    return Session(Question(good, _calibration_in_use(good)), draft.faults, _blend())


@lru_cache(maxsize=32)
def _drafted(base: str, edits: tuple[tuple[str, Any], ...], system: System) -> Drafted:
    """Return a draft once: a run of the page asks for it several times; its faults name units of `system`."""
    with hints_in(system):
        return drafted(base, dict(edits), answers.catalogue())


def _calibration_in_use(text: str) -> str:
    """Return the text of the fit the job names, or else of the studio's newest; empty where none counts.

    The demo's invented casts give way to the first fit of the studio's own.
    """
    if not st.session_state.get("use_trials", True):
        return ""
    named = Question(text).job.calibration
    try:
        path = newest_calibration(book_folder()) if named in ("", DEMO_CALIBRATION) else None
        if path is None and named:
            path = calibration_file(named, book_folder())
        if path is None:
            return ""
        known = read_text(path)
        Question(text, known).parameters()
    except FileFaults as error:
        st.session_state["calibration_fault"] = str(error)
        return ""
    st.session_state.pop("calibration_fault", None)
    return sys.intern(known)  # one text for all runs and edits that keep it


def _edits() -> dict[str, Any]:
    """Return what stands in the fields, by dotted key."""
    fields = [*DECISIONS, *SHOP, *(f for name in answers.catalogue() for f in price_fields(name))]
    kept = {field.key: st.session_state[field.widget] for field in fields if field.widget in st.session_state}
    if st.session_state.get("currency"):
        kept["currency"] = st.session_state["currency"]
    return kept


def _blend() -> str:
    """Return the selected blend; a new visit takes it from the address."""
    if _BLEND not in st.session_state:
        named = st.query_params.get(_BLEND, DESIGNED)
        known = named == DESIGNED or blend_of(named, answers.catalogue()) is not None
        st.session_state[_BLEND] = named if known else DESIGNED
        st.session_state["stale_blend"] = not known
    return str(st.session_state[_BLEND])


def pick(blend: str) -> None:
    """Select a blend, and put it in the address."""
    st.session_state["stale_blend"] = False
    st.session_state[_BLEND] = blend
    st.query_params[_BLEND] = blend


def drop_pick() -> None:
    """Go back to the design's own blend."""
    st.session_state["stale_blend"] = False
    st.session_state[_BLEND] = DESIGNED
    st.query_params.pop(_BLEND, None)


def set_base(text: str, where: str) -> tuple[Fault, ...]:
    """Take a job file as the one to edit, show its values in the fields and take its selected blend.

    Return its faults; with any, nothing changes.
    """
    try:
        job = parse_job(text, answers.catalogue(), where)
    except FileFaults as error:
        return error.faults
    if job.in_hand and blend_of(job.in_hand, answers.catalogue()) is None:
        allowed = 'a blend such as "gypsum_cement=75, marble_flour=25 @ 0.33"'
        return (Fault(f"{where}:in_hand", shown_value(job.in_hand), allowed, "Correct it or take it out."),)
    st.session_state[BASE] = with_blend(text, DESIGNED)
    _show_fields(tables_of(text))
    drop_pick()
    if job.in_hand:
        pick(job.in_hand)
    return ()


def _show_fields(tables: dict[str, Any]) -> None:
    """Put a job's values into every field.

    A field on the screen keeps what was typed unless it is told otherwise, so each is told. Typed blends are
    forgotten; a trial that is being noted stays.
    """
    for key in list(st.session_state):
        if "." in str(key) and not str(key).startswith("trial."):
            del st.session_state[key]
    prices = (field for name in tables["materials"] for field in price_fields(name))
    for field in (*DECISIONS, *SHOP, *prices):
        st.session_state[field.widget] = field_value(tables, field.key)
    st.session_state["powders"] = list(tables["materials"])
    st.session_state["currency"] = tables["currency"]


def set_materials(names: list[str]) -> None:
    """Take other powders into the job; an empty choice changes nothing."""
    if names:
        _lay({"materials": names})


def take_powder(name: str, listed: list[str], pack: str, price: str) -> None:
    """Let the job use one more powder, at its price where one is typed."""
    priced = {f"prices.{name}.pack": pack, f"prices.{name}.price": price} if pack and price else {}
    _lay({"materials": [*listed, name], **priced})
    st.session_state["powders"] = [*listed, name]


def take_steps(steps: Iterable[Step]) -> None:
    """Take the steps of a lever into the job; an accelerator comes in at the price stated, or at none."""
    for step in steps:
        if step.figure:
            apply_figures({f"shop.{step.figure}": f"{step.degrees:g} C"})
        else:
            listed = list(base_tables()["materials"])
            take_powder(step.accelerator, listed, *(("1 kg", "0") if step.unpriced else ("", "")))
    drop_pick()


def _lay(edits: dict[str, Any]) -> None:
    """Change the job under the fields."""
    import tomli_w

    st.session_state[BASE] = tomli_w.dumps(laid_over(base_tables(), edits))


def apply_figures(figures: Mapping[str, Any]) -> None:
    """Put figures into their fields by dotted key, or into the job where they have no field."""
    fields = {field.key: field for field in (*DECISIONS, *SHOP)}
    for key, value in figures.items():
        if key in fields:
            st.session_state[fields[key].widget] = value
        else:
            _lay({key: value})


def apply_limits(limits: tuple[Limit, ...]) -> None:
    """Put new bounds into the fields of their limits, or into the job where they have no field."""
    told = {f"limits.{x.property}": {"limits": {x.property: write_limit(x)}} for x in limits}
    apply_figures({key: field_value(tables, key) for key, tables in told.items()})
    drop_pick()
