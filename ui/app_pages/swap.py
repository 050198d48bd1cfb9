"""Is a cheaper blend still good enough: present and candidate side by side against every limit."""

from __future__ import annotations

import streamlit as st

from optimizer.errors import VesselblendError
from optimizer.nomenclature import quantity
from optimizer.solution import Solution
from optimizer.studies.check import Comparison
from optimizer.verdict.judge import worst_verdict
from ui import answers
from ui.blends import blend_text, parts_of
from ui.charts import margin_chart, margin_rows
from ui.page_words import chance_phrase
from ui.state import Session, pick, session, units
from ui.widgets import draw, in_rows
from ui.words import label_of, money, range_words, value_words

_PART, _WATER, _EXACT = "swap.", "swap_water", "swap_exact"
_PRESENT, _CANDIDATE = "present", "candidate"
_DIGITS = 3


def show() -> None:
    """Show the page."""
    now = session()
    st.title("Is a cheaper blend still good enough?", anchor=False)
    present = now.solution
    if present.mix is None:
        st.info("No blend meets the limits, so the candidate stands alone.")
        st.page_link("app_pages/bench.py", label="See the smallest changes that would do")
    left, right = st.columns([4, 7], gap="large")
    with left:
        typed = _candidate(now, present)
    if typed:
        found = answers.compared(now.asked, now.blend, typed)
        with right:
            _verdict(now, found)
        _table(found)
        _consequences(found, typed)


def _candidate(now: Session, present: Solution) -> str:
    """Show the fields of the candidate and return it as text; empty when it cannot be read."""
    st.markdown("### Candidate, in parts of dry powder")
    starts = {} if present.mix is None else {"the blend in hand": present, **answers.others(now.asked)}
    if not any(f"{_PART}{name}" in st.session_state for name in now.job.materials):
        _fill(next(iter(list(starts.values())[1::-1]), None), now.job.materials)
    st.selectbox(
        "Start from",
        list(starts),
        index=None,
        placeholder="your own figures",
        key="swap_start",
        on_change=lambda: _fill(starts.get(st.session_state["swap_start"]), now.job.materials),
    )
    for row in in_rows([*now.job.materials, ""], 2):
        for column, name in zip(st.columns(2), row, strict=False):
            with column:
                _field(name)
    return _typed(now)


def _field(material: str) -> None:
    """Show the field of a material, or of the water for no name."""
    if material:
        label = label_of(material, answers.catalogue())
        st.text_input(label, key=f"{_PART}{material}", placeholder="none", persist_state="session")
    else:
        st.text_input("water per powder", key=_WATER, placeholder="its own demand", persist_state="session")


def _fill(solution: Solution | None, materials: tuple[str, ...]) -> None:
    """Put a blend into the fields, rounded to be read, and keep it as it is."""
    if solution is None or solution.mix is None:
        return
    parts = parts_of(solution.mix.blend, _DIGITS)
    for name in materials:
        st.session_state[f"{_PART}{name}"] = parts.get(name, "")
    st.session_state[_WATER] = f"{solution.mix.water_ratio:.{_DIGITS}g}"
    exact = blend_text(solution.mix.blend, solution.mix.water_ratio)
    st.session_state[_EXACT] = (parts, st.session_state[_WATER], exact)


def _typed(now: Session) -> str:
    parts = {name: str(st.session_state.get(f"{_PART}{name}") or "").strip() for name in now.job.materials}
    if not any(parts.values()):
        st.info("Write parts or percent beside the powders of the candidate.")
        return ""
    filled, water = {name: text for name, text in parts.items() if text}, _water()
    shown, shown_water, exact = st.session_state.get(_EXACT, ({}, "", ""))
    if (filled, water) == (shown, shown_water):
        st.caption("Rounded to be read; counted exactly until you change a figure.")
        return str(exact)
    line = "; ".join(f"{name}={text.removesuffix('%')}" for name, text in filled.items())
    try:
        return answers.typed_blend(line, water)
    except VesselblendError as error:
        st.error(str(error))
        return ""


def _water() -> str:
    return str(st.session_state.get(_WATER) or "").strip()


def _verdict(now: Session, found: Comparison) -> None:
    currency = now.job.currency
    st.markdown(f"### The candidate: {_status(found.candidate)}")
    st.markdown(_saving_words(found, currency))
    most = answers.largest_saving(now.asked, now.blend)
    if most == 0.0:
        st.markdown("The blend in hand is already the cheapest that meets every limit.")
    elif most is not None:
        st.markdown(f"Largest saving that still meets every limit: **{money(most, currency)}** a vessel.")
    rows = margin_rows(_both(found), units())
    for row in rows:
        words = row["words"] if row["name"] == next(iter(_both(found))) else row["seen"]
        row["words"] = f"{row['name']}: {words}"
    draw(
        margin_chart(rows),
        key="swap_margins",
        alt="; ".join(f"{row['name']}, {row['limit']}: {row['seen']}, {row['verdict']}" for row in rows),
    )


def _status(solution: Solution) -> str:
    """Return the verdict on a blend: one that was designed is judged like any other."""
    return worst_verdict(solution.limits) if solution.status == "designed" else solution.status


def _both(found: Comparison) -> dict[str, Solution]:
    """Return present and candidate by name; the candidate alone where there is no present blend."""
    both = {_PRESENT: found.present, _CANDIDATE: found.candidate}
    return {name: solution for name, solution in both.items() if solution.mix is not None}


def _table(found: Comparison) -> None:
    st.dataframe(
        [_row(found, place) for place in range(len(found.candidate.limits))],
        hide_index=True,
        key="swap_table",
        alt="Present and candidate against every limit",
    )


def _consequences(found: Comparison, typed: str) -> None:
    if found.retest:
        st.warning(f"Another blend is another vessel. Do again before selling: {' and '.join(found.retest)}.")
    if any(each.evidence == "extrapolated" for each in found.candidate.properties.values()):
        st.warning(
            "Gypsum and cement mixed like this: nobody has published measurements. Cast a trial first."
        )
    st.button("Take the candidate in hand", on_click=pick, args=(typed,), key="take_candidate")


def _saving_words(found: Comparison, currency: str) -> str:
    if found.saving is None or found.share is None:
        return "Give every powder a price to see the saving."
    if found.saving == 0.0:
        return f"It costs the same: it saves {money(0.0, currency)}."
    way = "saves" if found.saving > 0.0 else "costs more by"
    return f"It {way} **{money(abs(found.saving), currency)}** a good vessel ({abs(found.share):.1%})."


def _row(found: Comparison, place: int) -> dict[str, str]:
    name = found.candidate.limits[place].limit.property
    cells = {"limit": quantity(name).label}
    for word, solution in _both(found).items():
        verdict, known = solution.limits[place], solution.properties.get(name)
        value = money(verdict.value, "") if known is None else value_words(name, verdict.value, units())
        cells[word] = f"{value} {range_words(name, known, units()) if known else ''}".strip()
        cells[f"{word} meets it"] = (
            chance_phrase(verdict.probability) if verdict.judged == "with its chance" else verdict.verdict
        )
    return cells


show()
