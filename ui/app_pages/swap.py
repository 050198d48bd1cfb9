"""Is a cheaper blend still good enough: present and candidate side by side against every limit."""

from __future__ import annotations

import streamlit as st

from optimizer.nomenclature import quantity
from optimizer.solution import Solution
from optimizer.studies.check import Comparison, weighing_order, weighing_step
from optimizer.units import odds_words
from optimizer.verdict.assess import FAILS
from ui import answers
from ui.blend_form import BlendForm
from ui.charts import BARS, in_short, margin_chart, margin_rows
from ui.cost_words import even_price_words
from ui.jobs import blend_of
from ui.page_words import chance_phrase
from ui.plain_text import marked, paragraphs, plain
from ui.reasons import barred_words
from ui.state import Session, pick, session, units
from ui.unit_text import prose_in
from ui.widgets import draw
from ui.words import (
    blend_words,
    cost_groups,
    grams_words,
    label_of,
    money,
    money_parts,
    saving_words,
    seen_words,
    uncounted_words,
)

_PRESENT, _CANDIDATE = "present", "candidate"
_TODAY = "today"
"""Where address and window keep the blend that is cast today."""

_WIDTHS = {"limit": 106, "present": 182, "present meets it": 164, "candidate": 182, "candidate meets it": 174}
"""Pixels of columns, so that the longest chance is seen whole."""


def show() -> None:
    """Show the page."""
    now = session()
    st.title("Is a cheaper blend still good enough?", anchor=False)
    present = _cast_today() or now.blend
    if answers.in_hand(now.asked, present).mix is None:
        st.info("No blend meets the limits, so the candidate stands alone.")
        st.page_link("app_pages/weigh.py", label="See the smallest changes that would do")
    left, right = st.columns([4, 7], gap="large")
    with left:
        _today(now)
        typed = _candidate(now)
    if typed:
        found = answers.compared(now.asked, present, typed)
        with right:
            _verdict(now, found, present)
            _consequences(found, typed)
            _margins(found)
        _table(found)
        _weights(found)


def _today(now: Session) -> None:
    """Let the caster write the blend cast today, and take it as the present one of this page alone."""
    if _cast_today():
        st.markdown("### Present: the blend you cast today")
        st.button(
            "Compare with the selected blend instead", on_click=_take_today, args=("",), key="drop_today"
        )
    else:
        st.markdown("### Present: the selected blend")
    with st.expander("You cast another one today? Write it here"):
        form = BlendForm("today", now.job.materials)
        form.show()
        typed = form.typed()
        st.button(
            "This is what I cast today",
            on_click=_take_today,
            args=(typed,),
            key="take_today",
            disabled=not typed,
        )


def _cast_today() -> str:
    """Return the blend that is cast today as text; empty where it is the selected one."""
    if _TODAY not in st.session_state:
        named = st.query_params.get(_TODAY, "")
        st.session_state[_TODAY] = named if blend_of(named, answers.catalogue()) is not None else ""
    today = str(st.session_state[_TODAY])
    if today:
        st.query_params[_TODAY] = today
    return today


def _take_today(blend: str) -> None:
    """Take a blend as the one that is cast today; the selected blend of all pages stays."""
    st.session_state[_TODAY] = blend
    st.query_params.pop(_TODAY, None)


def _starts(now: Session) -> dict[str, Solution]:
    """Return the blends a candidate may start from, those of the program first."""
    starts = {"the selected blend": now.solution}
    if now.blend:
        starts["the program's blend"] = answers.designed(now.asked)
    return {} if now.solution.mix is None else {**starts, **answers.others(now.asked)}


def _candidate(now: Session) -> str:
    """Show the fields of the candidate and return it as text; empty when it cannot be read."""
    st.markdown("### Candidate, in parts")
    form = BlendForm("swap", now.job.materials)
    starts = _starts(now)
    if form.untouched:
        form.fill(next(iter(list(starts.values())[1::-1]), None))
    st.selectbox(
        "Start from",
        list(starts),
        index=None,
        placeholder="your own figures",
        key="swap_start",
        on_change=lambda: form.fill(starts.get(st.session_state["swap_start"])),
    )
    st.button("Empty all parts", key="swap_empty", on_click=form.empty, disabled=form.untouched)
    form.show()
    return form.typed()


def _verdict(now: Session, found: Comparison, present: str) -> None:
    currency = now.job.currency
    st.markdown(marked("### The candidate: {}", found.candidate.verdict))
    _saving(found, currency)
    _sureness(found)
    for name, each in _both(found).items():
        if each.mix is not None:
            words = blend_words(each.mix.blend, answers.catalogue())
            st.caption(plain(f"{name}: {words}; water ratio {each.mix.water_ratio:.3f}"))
    most = answers.largest_saving(now.asked, present)
    if most == 0.0:
        st.markdown("The present blend is already the cheapest that meets every limit.")
    elif most is not None:
        st.markdown(
            marked("Largest saving that still meets every limit: **{}** a vessel.", money(most, currency))
        )


def _margins(found: Comparison) -> None:
    """Draw how far both blends are from each limit."""
    rows = margin_rows(_both(found), units())
    for row in rows:
        words = row["words"] if row["name"] == next(iter(_both(found))) else row["seen"]
        row["words"] = f"{row['name']}: {words}"
    draw(
        margin_chart(rows),
        key="swap_margins",
        alt="; ".join(f"{row['name']}, {row['limit']}: {row['seen']}, {row['verdict']}" for row in rows),
    )
    st.caption(plain(BARS))


def _sureness(found: Comparison) -> None:
    """Say how sure the candidate is beside the present blend."""
    new, old = found.candidate, found.present
    if not new.limits:
        return
    chance = odds_words(new.joint_probability or 0.0)
    if old.mix is None:
        st.markdown(marked("All limits hold together with **{}**.", chance))
    else:
        known = odds_words(old.joint_probability or 0.0)
        st.markdown(marked("All limits hold together with **{}** instead of {}.", chance, known))


def _both(found: Comparison) -> dict[str, Solution]:
    """Return present and candidate by name; the candidate alone where there is no present blend."""
    both = {_PRESENT: found.present, _CANDIDATE: found.candidate}
    return {name: solution for name, solution in both.items() if solution.mix is not None}


def _table(found: Comparison) -> None:
    st.dataframe(
        [_row(found, place) for place in range(len(found.candidate.limits))],
        hide_index=True,
        column_config={name: st.column_config.TextColumn(width=width) for name, width in _WIDTHS.items()},
        key="swap_table",
        alt="Present and candidate against every limit",
    )


def _consequences(found: Comparison, typed: str) -> None:
    if found.retest:
        tests = " and ".join(found.retest)
        st.warning(marked("Another blend is another vessel. Do again before selling: {}.", tests))
    if any(each.evidence == "extrapolated" for each in found.candidate.properties.values()):
        st.warning(
            "Gypsum and cement mixed like this: nobody has published measurements. Cast a trial first."
        )
    for rule in barred_words(found.candidate):
        st.warning(marked("Candidate: {}", rule))
    for note in found.candidate.notes:
        st.markdown(marked("Candidate: {}", prose_in(note, units())))
    missed = [quantity(v.limit.property).label for v in found.candidate.limits if v.verdict == "fails"]
    if missed:
        names = ", ".join(missed)
        st.warning(marked("The candidate fails {}. Once selected, every page counts with it.", names))
    st.button("Select the candidate", on_click=pick, args=(typed,), key="take_candidate")


def _saving(found: Comparison, currency: str) -> None:
    old, new = found.present.cost, found.candidate.cost
    if old is None or new is None:
        reasons = (uncounted_words(each) for each in (found.candidate, found.present))
        why = "; ".join(dict.fromkeys(filter(None, reasons)))
        st.markdown(plain(f"No saving can be named{f': {why}' if why else ''}."))
        return
    both = f"{money(new, currency)} against {money(old, currency)}"
    if found.candidate.verdict == FAILS:
        words = saving_words(old, new, currency)
        st.markdown(marked("The candidate {}: {}; of no use while it fails.", words, both))
    else:
        st.markdown(marked("The candidate **{}**: {}.", saving_words(old, new, currency), both))
    st.markdown(paragraphs(even_price_words(found, answers.catalogue())))


def _weights(found: Comparison) -> None:
    """Show both blends by the gram and by the parts of their cost."""
    known, both = answers.catalogue(), _both(found)
    grams = {name: each.mix.grams for name, each in both.items() if each.mix is not None}
    parts = {name: money_parts(cost_groups(each.cost_parts)) for name, each in both.items()}
    used = dict.fromkeys(name for each in grams.values() for name in each)
    with st.expander("Side by side: grams for one vessel and parts of its cost"):
        rows = []
        for material in weighing_order(dict.fromkeys(used, 1.0), known):
            step = weighing_step(material, found.candidate, known)
            cells = {
                name: grams_words(each[material], step, units()) if material in each else "-"
                for name, each in grams.items()
            }
            rows.append({"weigh": label_of(material, known), **cells})
        st.dataframe(rows, hide_index=True, key="swap_grams", alt="Grams of both blends for one vessel")
        costs = dict.fromkeys(part for each in parts.values() for part in each)
        st.dataframe(
            [
                {f"cost, {found.candidate.job.currency}": part}
                | {name: each.get(part, "0.00") for name, each in parts.items()}
                for part in costs
            ],
            hide_index=True,
            key="swap_costs",
            alt="Parts of the cost of both blends",
        )


def _row(found: Comparison, place: int) -> dict[str, str]:
    name = found.candidate.limits[place].limit.property
    cells = {"limit": quantity(name).label}
    for word, solution in _both(found).items():
        verdict, known = solution.limits[place], solution.properties.get(name)
        seen = money(verdict.value, "") if known is None else seen_words(verdict, known, units())
        cells[word] = in_short(seen)
        cells[f"{word} meets it"] = (
            _brief(verdict.probability) if verdict.judged == "with its chance" else verdict.verdict
        )
    return cells


def _brief(chance: float) -> str:
    """Return a chance in words and number, short enough for a column."""
    return chance_phrase(chance).replace("(over ", "(>").replace("(under ", "(<")


show()
