"""What one visitor has set: the job's text, the fields over it, the blend in hand, units.

Nothing computed is kept here. The draft of a job is its base text with the fields laid over it; while
something in a field cannot be read, the page goes on showing the last draft that could.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, TypeVar, cast

import streamlit as st

from optimizer.calibration.files import newest_calibration
from optimizer.errors import Fault, FileFaults
from optimizer.job import Job
from optimizer.jobfile import parse_job
from optimizer.jobfile.limits import write_limit
from optimizer.shop import Limit
from optimizer.solution import Solution
from optimizer.toml_files import read_text
from optimizer.units import System
from ui import answers
from ui.blends import DESIGNED, blend_of
from ui.charts import inked
from ui.draft import Drafted, default_text, drafted, field_value, laid_over, tables_of, whose
from ui.fields import DECISIONS, SHOP, Field, price_fields
from ui.palette import DARK, LIGHT
from ui.question import Question
from ui.trial_answers import book_folder

__all__ = [
    "Session",
    "apply_limits",
    "drop_pick",
    "pick",
    "session",
    "set_base",
    "show_field",
    "tell_faults",
    "units",
]

T = TypeVar("T")

_BASE, _GOOD, _BLEND = "base_job", "last_good_job", "blend"
MARKS: Mapping[str, str] = {"yours": "●", "example": "○", "fitted": "◆"}
"""Shape beside a figure for whose it is: never color alone."""


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
        Blend in hand as text; empty: the design's own.
    """

    asked: Question
    faults: Mapping[str, Fault]
    blend: str

    @property
    def job(self) -> Job:
        """The job asked."""
        return self.asked.job

    @property
    def solution(self) -> Solution:
        """The answer for the blend in hand."""
        return answers.in_hand(self.asked, self.blend)


def units() -> System:
    """Return the units figures are shown in."""
    return cast(System, st.session_state.get("units") or "metric")


def base_tables() -> dict[str, Any]:
    """Return the tables of the job file that is being edited."""
    return tables_of(st.session_state.setdefault(_BASE, answers.DEMO))


def session() -> Session:
    """Return the state of this run; call it after the decision fields are on the page."""
    base = st.session_state.setdefault(_BASE, answers.DEMO)
    draft = _drafted(base, tuple(_edits().items()))
    good = st.session_state.get(_GOOD, answers.DEMO) if draft.job is None else draft.text
    st.session_state[_GOOD] = good
    return Session(Question(good, calibration_in_use(good)), draft.faults, _blend())


@lru_cache(maxsize=32)
def _drafted(base: str, edits: tuple[tuple[str, Any], ...]) -> Drafted:
    """Return a draft once: a run of the page asks for it several times."""
    return drafted(base, dict(edits), answers.catalogue())


def calibration_in_use(text: str) -> str:
    """Return the text of the studio's newest calibration; empty where there is none, or it is not wanted."""
    path = newest_calibration(book_folder())
    if path is None or not st.session_state.get("use_trials", True):
        return ""
    try:
        known = read_text(path)
        Question(text, known).parameters()
    except FileFaults as error:
        st.session_state["calibration_fault"] = str(error)
        return ""
    st.session_state.pop("calibration_fault", None)
    return known


def _edits() -> dict[str, Any]:
    """Return what stands in the fields, by dotted key."""
    fields = [*DECISIONS, *SHOP, *(f for name in answers.catalogue() for f in price_fields(name))]
    kept = {field.key: st.session_state[field.widget] for field in fields if field.widget in st.session_state}
    if st.session_state.get("currency"):
        kept["currency"] = st.session_state["currency"]
    return kept


def _blend() -> str:
    """Return the blend in hand; a new visit takes it from the address."""
    if _BLEND not in st.session_state:
        named = st.query_params.get(_BLEND, DESIGNED)
        st.session_state[_BLEND] = named if blend_of(named, answers.catalogue()) else DESIGNED
    return str(st.session_state[_BLEND])


def pick(blend: str) -> None:
    """Take a blend in hand, and put it in the address."""
    st.session_state[_BLEND] = blend
    st.query_params[_BLEND] = blend


def drop_pick() -> None:
    """Go back to the design's own blend."""
    st.session_state[_BLEND] = DESIGNED
    st.query_params.pop(_BLEND, None)


def set_base(text: str, where: str) -> tuple[Fault, ...]:
    """Take a job file as the one to edit and show its values in the fields; return its faults."""
    try:
        parse_job(text, answers.catalogue(), where)
    except FileFaults as error:
        return error.faults
    st.session_state[_BASE] = text
    tables = tables_of(text)
    for field in DECISIONS:
        st.session_state[field.widget] = field_value(tables, field.key)
    for key in list(st.session_state):
        if "." in str(key) or key in ("powders", "currency"):
            del st.session_state[key]
    drop_pick()
    return ()


def set_materials(names: list[str]) -> None:
    """Take other powders into the job; an empty choice changes nothing."""
    if names:
        _lay({"materials": names})


def _lay(edits: dict[str, Any]) -> None:
    """Change the job under the fields."""
    import tomli_w

    st.session_state[_BASE] = tomli_w.dumps(laid_over(base_tables(), edits))


def apply_limits(limits: tuple[Limit, ...]) -> None:
    """Put new bounds into the fields of their limits, or into the job where they have no field."""
    fields = {field.key: field for field in DECISIONS}
    for limit in limits:
        key = f"limits.{limit.property}"
        text = field_value({"limits": {limit.property: write_limit(limit)}}, key)
        if key in fields:
            st.session_state[fields[key].widget] = text
        else:
            _lay({key: text})
    drop_pick()


def draw(chart: Any, key: str, alt: str, **picking: Any) -> None:  # noqa: ANN401  Streamlit's own options
    """Put a chart on the page, its axes in the ink of the visitor's theme."""
    theme = DARK if st.context.theme.type == "dark" else LIGHT
    st.altair_chart(inked(chart, theme["text"]), key=key, alt=alt, **picking)


def show_field(field: Field) -> Any:  # noqa: ANN401  Streamlit's container
    """Put a field on the page and return the place under it where its fault is told."""
    base, demo = base_tables(), tables_of(answers.DEMO)
    default = field_value(demo if field.name else base, field.key)
    shown = st.session_state.get(field.widget, st.query_params.get(field.name, default))
    bound: Any = {"bind": "query-params"} if field.name else {}
    st.text_input(
        f"{field.label} {MARKS[whose(base, demo, field.key, shown)]}",
        value=default,
        key=field.widget,
        help=field.hint,
        placeholder=default_text(field.key) or None,
        persist_state="session",
        **bound,
    )
    return st.empty()


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
        words = f"Read {fault.value}. Allowed: {fault.allowed}. {fault.repair}"
        if key in slots:
            slots[key].error(words)
        else:
            st.error(f"{key}: {words}")
