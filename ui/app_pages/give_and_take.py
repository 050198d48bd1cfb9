"""What a caster pays for each minute, gram or point: the frontier, from which a blend is picked."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import streamlit as st

from optimizer.errors import NoBlend
from optimizer.nomenclature import PROPERTIES, quantity
from optimizer.studies.frontier import frontier_faults
from ui import answers
from ui.blends import blend_text
from ui.page_words import quantity_words
from ui.state import Session, drop_pick, pick, session, units
from ui.trade_answers import Traded
from ui.trade_answers import traded as traded_answer
from ui.trade_charts import PICK, mark_row, trade_chart, trade_rows
from ui.widgets import draw
from ui.words import blend_words

_NONE = "none"
_POINTS = (12, 24, 60)


def show() -> None:
    """Show the page."""
    now = session()
    st.title("Give and take", anchor=False)
    st.caption("Every blend here meets the limits, and none is beaten in all quantities at once.")
    over, points = _choices()
    fault = frontier_faults(over)
    if fault:
        st.error(f"Choose others: {fault}.")
        return
    with st.container(height=470, border=False):
        traded = _traded(now, over, points)
        if traded is None:
            return
        _chart(now, traded)
    st.markdown(_sentence(traded))
    _pickers(now, traded)
    _table(now, traded)


def _choices() -> tuple[tuple[str, ...], int]:
    names = [
        name for name in PROPERTIES if not frontier_faults((name, "cost" if name != "cost" else "whiteness"))
    ]
    columns = st.columns(4)
    common: dict[str, Any] = {"format_func": _label, "bind": "query-params", "persist_state": "session"}
    first = columns[0].selectbox("Give", names, index=names.index("cost"), key="give", **common)
    second = columns[1].selectbox("Take", names, index=names.index("demold_time"), key="take", **common)
    third = columns[2].selectbox("And", [_NONE, *names], key="and", **common)
    points = columns[3].selectbox("Blends", _POINTS, index=1, key="points", persist_state="session")
    return tuple(name for name in (first, second, third) if name != _NONE), int(points or _POINTS[0])


def _label(name: str) -> str:
    return "nothing more" if name == _NONE else quantity(name).label


def _traded(now: Session, over: tuple[str, ...], points: int) -> Traded | None:
    try:
        with st.spinner("Looking for the best blend at each step", show_time=True):
            return traded_answer(now.asked, over, points)
    except NoBlend:
        st.info("No blend meets the limits, so there is nothing to trade.")
        st.page_link("app_pages/bench.py", label="See the smallest changes that would do")
        return None


def _chart(now: Session, traded: Traded) -> None:
    over = traded.front.over
    rows = trade_rows(traded.front, traded.solutions, traded.spans, units())
    words = ", ".join(_label(name) for name in over)
    draw(
        trade_chart(over, rows, _marks(now, traded), now.job.limits, now.job.currency, units()),
        key="front",
        on_select=lambda: _picked_on_chart(traded),
        selection_mode=PICK,
        alt=f"{len(rows)} blends traded over {words}; the table below holds them.",
    )
    st.caption(
        "Circle: meets · diamond: too close to call · ring: in hand, and each binder alone · "
        "whiskers: likely range · dashed: your limit."
    )


def _marks(now: Session, traded: Traded) -> list[dict[str, Any]]:
    over, marks = traded.front.over, []
    for name, solution in {"in hand": now.solution, **traded.binders}.items():
        row = mark_row(over, solution, None, units())
        fails = "" if row["verdict"] == "meets" else f" ({row['verdict']})"
        marks.append({"name": f"{name}{fails}", **row})
    return marks


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
    first, last = (" at ".join(_values(traded, place)) for place in (0, -1))
    words = f"From {first} to {last}."
    if front.knee is not None:
        words += (
            f" The bend lies at {' at '.join(_values(traded, front.knee))}: past it, each step costs more."
        )
    return words


def _values(traded: Traded, place: int) -> list[str]:
    blend, solution = traded.front.blends[place], traded.solutions[place]
    return [quantity_words(name, blend.values[name], solution, units()) for name in traded.front.over]


def _pickers(now: Session, traded: Traded) -> None:
    ids = _ids(traded)
    st.session_state["front_choice"] = ids.index(now.blend) if now.blend in ids else None
    left, right = st.columns([5, 2], vertical_alignment="bottom")
    left.selectbox(
        "Take a blend in hand",
        range(len(ids)),
        key="front_choice",
        index=None,
        placeholder="the design's own blend",
        format_func=lambda place: f"{place + 1}: {', '.join(_values(traded, place))}",
        on_change=_picked_by_name,
        args=(traded,),
    )
    right.button("Back to the design's blend", on_click=drop_pick, disabled=not now.blend, width="stretch")


def _table(now: Session, traded: Traded) -> None:
    rows = [_row(now, traded, place) for place in range(len(traded.solutions))]
    st.dataframe(
        rows,
        hide_index=True,
        height=280,
        key="front_table",
        on_select=lambda: _picked_in_table(traded),
        selection_mode="single-row",
        alt="The blends of the chart, one a row",
    )
    st.download_button(
        "Save these blends as CSV",
        traded.csv,
        "give-and-take.csv",
        "text/csv",
        on_click="ignore",
        key="front_csv",
    )


def _row(now: Session, traded: Traded, place: int) -> dict[str, str]:
    blend = traded.front.blends[place]
    mine = "●" if _ids(traded)[place] == now.blend else ""
    values: Sequence[str] = _values(traded, place)
    named = {_label(name): value for name, value in zip(traded.front.over, values, strict=True)}
    return {
        "in hand": mine,
        "no.": str(place + 1),
        **named,
        "blend": blend_words(blend.blend, answers.catalogue()),
    }


show()
