"""What a caster pays for each minute, gram or point: the frontier, from which a blend is picked."""

from __future__ import annotations

from string import ascii_uppercase
from typing import Any

import altair as alt
import streamlit as st

from optimizer.errors import NoBlend
from optimizer.nomenclature import CHANCE, PROPERTIES, quantity
from optimizer.reports import frontier_csv
from optimizer.solution import Solution
from optimizer.studies.check import weighing_order, weighing_step
from optimizer.studies.frontier import frontier_faults
from optimizer.units import odds_words
from ui import answers
from ui.card import CARD_CAUTIONS
from ui.drawings import WeighLine, weigh_table
from ui.jobs import blend_text
from ui.page_words import quantity_words
from ui.plain_text import bullets, marked, plain
from ui.state import Session, drop_pick, pick, session, units
from ui.trade_answers import Traded
from ui.trade_answers import traded as traded_answer
from ui.trade_charts import PICK, jump_of, jump_words, mark_row, trade_chart, trade_rows
from ui.trade_text import bend_words
from ui.widgets import draw, drawn, theme
from ui.words import blend_words, grams_words, label_of, money, range_words, span_words

_NONE = "none"
_POINTS = (12, 24, 60)
_HEIGHT = 392  # pixels kept for the chart, so that nothing below jumps
_ROW = 78  # pixels of a row of the table: from 65 on the browser breaks its words into lines
_HEAD = 35
_NARROW = 70
_PRESETS = {
    "faster": ("cost", "demold_time"),
    "lighter": ("cost", "dry_mass"),
    "whiter": ("cost", "whiteness"),
    "stronger": ("cost", "dry_strength"),
    "surer": ("cost", "chance"),
}
"""What is traded by the word for it."""

_QUESTIONS = {
    "demold_time": "What does a faster mold cost?",
    "dry_mass": "What does a lighter vessel cost?",
    "whiteness": "What does a whiter vessel cost?",
    "dry_strength": "What does a stronger vessel cost?",
    "chance": "What does it cost to be surer that all limits hold?",
}
_WIDTHS = {"no.": 38, "blend": 132, "cost": 72}
"""Pixels of columns; on a phone all of them are seen, a wide window stretches them."""


def show() -> None:
    """Show the page."""
    now = session()
    slot = st.empty()
    over, points = _choices()
    slot.title(plain(_question(over)), anchor=False)
    fault = frontier_faults(over)
    if fault:
        st.error(marked("Choose others: {}.", fault))
        return
    left, right = st.columns([5, 2], gap="medium")
    with left, st.container(height=_HEIGHT, border=False):
        traded = _drawn(now, over, points)
    if traded is None:
        return
    with right:
        _card(now)
    with left:
        st.caption(plain(_key(now, traded)))
        st.markdown(plain(_sentence(traded)))
        jump = jump_of(traded.front)
        if jump is not None:
            st.markdown(marked("The cost jumps, heavy line: {}.", jump_words(jump, now.job.currency)))
        _pickers(now, traded)
    _table(now, traded)
    _cautions(traded)


def _question(over: tuple[str, ...]) -> str:
    """Return what is asked as a question."""
    if over in _PRESETS.values():
        return _QUESTIONS[over[1]]
    first, *others = map(_label, over)
    return f"What does a better {' and '.join(others)} take of {first}?"


def _choices() -> tuple[tuple[str, ...], int]:
    names = [
        name
        for name in (*PROPERTIES, CHANCE.name)
        if not frontier_faults((name, "cost" if name != "cost" else "whiteness"))
    ]
    presets = st.container()
    with st.expander("Other quantities, and how many blends"):
        columns = st.columns(4)
        common: dict[str, Any] = {"format_func": _label, "bind": "query-params", "persist_state": "session"}
        first = columns[0].selectbox("Give", names, index=names.index("cost"), key="give", **common)
        second = columns[1].selectbox("Take", names, index=names.index("demold_time"), key="take", **common)
        third = columns[2].selectbox("And", [_NONE, *names], key="and", **common)
        points = columns[3].selectbox("Blends", _POINTS, index=1, key="points", persist_state="session")
    over = tuple(name for name in (first, second, third) if name != _NONE)
    st.session_state["trade_preset"] = next((word for word, each in _PRESETS.items() if each == over), None)
    presets.segmented_control(
        "A vessel that is",
        list(_PRESETS),
        key="trade_preset",
        on_change=_preset,
        format_func=lambda each: plain(each),
        label_visibility="collapsed",
    )
    return over, int(points or _POINTS[0])


def _preset() -> None:
    """Put the quantities of a preset into their fields."""
    over = _PRESETS.get(st.session_state["trade_preset"] or "")
    if over is not None:
        st.session_state["give"], st.session_state["take"] = over
        st.session_state["and"] = _NONE


def _card(now: Session) -> None:
    """Show the selected blend beside the chart: what it is, and what is different from the design's own."""
    mine, own = now.solution, answers.designed(now.asked)
    if mine.mix is None:
        return
    known = answers.catalogue()
    with st.container(border=True, key="selected_card", gap="xsmall"):
        st.markdown("### Selected blend" if now.blend else "### The design's own blend")
        st.markdown(plain(blend_words(mine.mix.blend, known)))
        cost = "" if mine.cost is None else money(mine.cost, now.job.currency)
        sure = (
            f"all limits hold in {odds_words(mine.joint_probability or 0.0)} of casts" if mine.limits else ""
        )
        st.markdown(marked("**{}** {}", cost or "no price", f"· {sure}" if sure else ""))
        lines = [
            WeighLine(
                label_of(name, known),
                grams_words(mine.mix.grams[name], weighing_step(name, mine, known), units()),
                _moved(mine, own, name) if now.blend else "",
            )
            for name in weighing_order(mine.mix.grams, known)
        ]
        drawn(weigh_table(lines, theme(), "against the design" if now.blend else ""))
        st.caption(
            "For one vessel, before waste. A point of the chart or a row of the table selects another."
        )


def _moved(mine: Solution, own: Solution, name: str) -> str:
    """Return how many grams a vessel holds more or less of something than the design's own."""
    before = {} if own.mix is None else own.mix.grams
    after = {} if mine.mix is None else mine.mix.grams
    return f"{after.get(name, 0.0) - before.get(name, 0.0):+.0f} g"


def _label(name: str) -> str:
    return "nothing more" if name == _NONE else quantity(name).label


def _traded(now: Session, over: tuple[str, ...], points: int) -> Traded | None:
    try:
        with st.spinner("Looking for the best blend at each step", show_time=True):
            return traded_answer(now.asked, over, points)
    except NoBlend:
        st.info("No blend meets the limits, so there is nothing to trade.")
        st.page_link("app_pages/weigh.py", label="See the smallest changes that would do")
        return None


def _drawn(now: Session, over: tuple[str, ...], points: int) -> Traded | None:
    """Draw the blends; where many are asked for, a few stand there while the others are looked for."""
    place = st.empty()
    if points == _POINTS[-1]:
        with place.container():
            few = _traded(now, over, _POINTS[0])
            if few is None:
                return None
            draw(_picture(now, few), key="front_few", alt="The first blends; the others follow here")
            found = _traded(now, over, points)
    else:
        found = _traded(now, over, points)
    if found is not None:
        with place.container():
            _chart(now, found)
    return found


def _chart(now: Session, traded: Traded) -> None:
    words = ", ".join(_label(name) for name in traded.front.over)
    draw(
        _picture(now, traded),
        key="front",
        on_select=lambda: _picked_on_chart(traded),
        selection_mode=PICK,
        alt=f"{len(traded.solutions)} blends traded over {words}; the table below holds them.",
    )


def _picture(now: Session, traded: Traded) -> alt.LayerChart:
    over = traded.front.over
    rows = trade_rows(traded.front, traded.solutions, traded.spans, units())
    jump = jump_of(traded.front)
    ends = None if jump is None else (jump.place, jump.beside)
    return trade_chart(over, rows, _marks(now, traded), now.job.limits, now.job.currency, units(), ends)


def _marks(now: Session, traded: Traded) -> list[dict[str, Any]]:
    """Return the rings: the selected blend, then the best mix of each binder alone, each with a letter."""
    over, marks = traded.front.over, []
    rings = {"selected": now.solution, **traded.binders}
    for letter, (name, solution) in zip(ascii_uppercase, rings.items(), strict=False):
        row = mark_row(over, solution, None, units())
        fails = "" if row["verdict"] == "holds" else f" ({row['verdict']})"
        marks.append({"letter": letter, "name": f"{name}{fails}", **row})
    return marks


def _key(now: Session, traded: Traded) -> str:
    """Return how to read the chart: which way is better, the rings by letter, shapes and lines."""
    over = traded.front.over
    across = {"lower": "left", "higher": "right"}[quantity(over[1]).better]
    upright = {"lower": "down", "higher": "up"}[quantity(over[0]).better]
    rings = ", ".join(f"{mark['letter']} {mark['name']}" for mark in _marks(now, traded))
    return (
        f"Better lies {upright} and {across}. Rings: {rings}; each binder in the best mix of it alone. "
        "Circle: holds · diamond: uncertain · point at a blend for its likely range · dashed: your limit, "
        "where it is near."
    )


def _ids(traded: Traded) -> list[str]:
    return [blend_text(each.blend, each.water_ratio) for each in traded.front.blends]


def _picked_on_chart(traded: Traded) -> None:
    chosen = st.session_state["front"]["selection"].get(PICK) or []
    if chosen:
        pick(_ids(traded)[int(chosen[0]["id"]) - 1])


def _picked_in_table(traded: Traded) -> None:
    chosen = st.session_state["front_table"]["selection"]["rows"]
    if chosen:
        pick(_ids(traded)[chosen[0]])


def _picked_by_name(traded: Traded) -> None:
    place = st.session_state["front_choice"]
    if place is None:
        drop_pick()
    else:
        pick(_ids(traded)[place])


def _sentence(traded: Traded) -> str:
    front = traded.front
    first, last = (" at ".join(_told(traded, place)) for place in (0, -1))
    words = f"From {first} to {last}."
    if front.knee is not None:
        words += f" {bend_words(front.over, _told(traded, front.knee))}"
    return words


def _told(traded: Traded, place: int) -> list[str]:
    """Return the traded quantities of a blend; one without a unit carries its name."""
    blend, solution = traded.front.blends[place], traded.solutions[place]
    values = {name: quantity_words(name, blend.values[name], solution, units()) for name in traded.front.over}
    return [value if " " in value else f"{_label(name)} {value}" for name, value in values.items()]


def _cell(traded: Traded, place: int, name: str) -> str:
    """Return a traded quantity with its likely range."""
    solution, span = traded.solutions[place], traded.spans[place]
    value = quantity_words(name, traded.front.blends[place].values[name], solution, units())
    if name == CHANCE.name:
        words = ""
    elif name != "cost":
        words = range_words(name, solution.properties[name], units())
    else:
        ends = [quantity_words(name, each, solution, units()) for each in span or ()]
        words = span_words(*ends) if len(set(ends)) == 2 else ""
    unit = value.partition(" ")[2]
    return f"{value} ({words.removesuffix(f' {unit}')})" if words else value


def _cautions(traded: Traded) -> None:
    """Show the short cautions of all these blends together, in the order of the card."""
    keys = {key for solution in traded.solutions for key in solution.cautions}
    with st.expander("Cautions, with one or more of these blends"):
        st.markdown(bullets(words for key, words in CARD_CAUTIONS.items() if key in keys))


def _pickers(now: Session, traded: Traded) -> None:
    """Show the list to pick from; the files below it keep the table's own buttons off the last of these."""
    ids = _ids(traded)
    st.session_state["front_choice"] = ids.index(now.blend) if now.blend in ids else None
    left, right = st.columns([5, 2], vertical_alignment="bottom")
    left.selectbox(
        "Select a blend",
        range(len(ids)),
        key="front_choice",
        index=None,
        placeholder="the design's own blend",
        format_func=lambda place: f"{place + 1}: {', '.join(_told(traded, place))}",
        on_change=_picked_by_name,
        args=(traded,),
    )
    right.button("Back to the design's blend", on_click=drop_pick, disabled=not now.blend, width="stretch")
    st.download_button(
        "Save these blends as CSV",
        frontier_csv(traded.front, now.job.currency, units()),
        "give-and-take.csv",
        "text/csv",
        on_click="ignore",
        key="front_csv",
    )


def _table(now: Session, traded: Traded) -> None:
    rows = [_row(now, traded, place) for place in range(len(traded.solutions))]
    widths = {name: _WIDTHS.get(name, _NARROW) for name in rows[0]}
    st.dataframe(
        rows,
        hide_index=True,
        height=_HEAD + _ROW * len(rows) + 3,
        row_height=_ROW,
        column_config={name: st.column_config.TextColumn(width=width) for name, width in widths.items()},
        key="front_table",
        on_select=lambda: _picked_in_table(traded),
        selection_mode="single-row",
        alt="The blends of the chart, one a row",
    )


def _row(now: Session, traded: Traded, place: int) -> dict[str, str]:
    """Return a row: number and blend first, which a phone shows, then the figures and their ranges."""
    blend = traded.front.blends[place]
    mine = "● " if _ids(traded)[place] == now.blend else ""
    named = {
        name if name == "cost" else _label(name): _cell(traded, place, name) for name in traded.front.over
    }
    return {
        "no.": f"{mine}{place + 1}",
        "blend": blend_words(blend.blend, answers.catalogue()),
        **named,
        **({} if CHANCE.name in named else {"all limits": odds_words(blend.joint_probability)}),
    }


show()
