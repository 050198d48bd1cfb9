"""What certainty costs: the best blend at several chances, worked out one after the other when asked for.

With the likely range of a cost, kept for as long as the page is served.
"""

from __future__ import annotations

from typing import Final

import altair as alt
import pandas as pd
import streamlit as st

from optimizer.solution import Solution
from optimizer.studies.explain import cost_moves
from optimizer.units import odds_words
from ui import answers
from ui.answers import in_hand
from ui.charts import CENTS, colored, layered
from ui.cost_words import cost_range_words
from ui.jobs import blend_text
from ui.plain_text import plain
from ui.question import Question, catalogue
from ui.state import Session, pick
from ui.widgets import draw
from ui.words import blend_words, money

_CHANCES: Final = (0.2, 0.4, 0.6, 0.8, 0.9)
"""Chances that all limits hold together at which the best blend is looked for [-]."""

_ON: Final = "certainty_of"
_SAME: Final = 0.005
_HEIGHT: Final = 230


@st.fragment
def show_certainty(now: Session) -> None:
    """Show cost against chance, once asked for: each point is a design of its own."""
    if now.solution.cost is None or not now.solution.limits:
        st.caption("Needs prices and at least one limit.")
        return
    if st.session_state.get(_ON) != now.asked:
        st.caption("The best blend at five chances, one after the other: some seconds.")
        st.button("Work it out", key="certainty_on", on_click=_turn, args=(now,))
        return
    found = _worked_out(now)
    if found:
        _show(now, found)


def _turn(now: Session) -> None:
    """Begin to work out the curve of this question, or leave off."""
    st.session_state[_ON] = None if st.session_state.get(_ON) == now.asked else now.asked


def _worked_out(now: Session) -> list[Solution]:
    """Return the designs, telling how many of them are done; to leave off keeps those that are."""
    place = st.empty()
    found = []
    for done, chance in enumerate(_CHANCES):
        with place.container():
            st.progress(value=done / len(_CHANCES), text=plain(f"{done} of {len(_CHANCES)} designs"))
            st.button("Cancel", key=f"certainty_off_{done}", on_click=_turn, args=(now,))
        found.append(answers.at_confidence(now.asked, chance))
    place.empty()
    return [each for each in found if each.mix is not None and each.cost is not None]


def _show(now: Session, found: list[Solution]) -> None:
    rows = _rows(found)
    draw(
        _chart(rows, now.solution),
        key="certainty",
        alt="Chance and cost: "
        + "; ".join(f"{odds_words(row['chance'])}, {money(row['cost'], now.job.currency)}" for row in rows),
    )
    with st.container(horizontal=True):
        for way, those in _ways(now.solution, found).items():
            for each in those:
                _offer(now, way, each)


def _ways(mine: Solution, found: list[Solution]) -> dict[str, list[Solution]]:
    """Return the one other blend of the curve to look at each way, where there is one."""
    cost, chance = mine.cost or 0.0, mine.joint_probability or 0.0
    cheaper = [each for each in found if (each.cost or 0.0) < cost - _SAME]
    surer = [each for each in found if (each.joint_probability or 0.0) > chance + _SAME]
    both = [each for each in cheaper if each in surer]
    return {
        "Cheaper and surer": both[-1:],
        "Cheaper, less sure": [each for each in cheaper if each not in surer][-1:],
        "Surer": [each for each in surer if each not in cheaper][:1],
    }


def _offer(now: Session, way: str, other: Solution) -> None:
    """Offer another blend of the curve; once taken the whole page runs again, not this part of it alone."""
    assert other.mix is not None
    more = (other.cost or 0.0) - (now.solution.cost or 0.0)
    chance = odds_words(other.joint_probability or 0.0)
    if st.button(
        plain(f"{way}: {more:+.2f}, {chance}"),
        key=f"take {way}",
        help=plain(blend_words(other.mix.blend, answers.catalogue())),
    ):
        pick(blend_text(other.mix.blend, other.mix.water_ratio))
        st.rerun()


def _rows(found: list[Solution]) -> list[dict[str, float]]:
    """Return the points by chance; where two designs are the same blend, one point."""
    points = {round(each.joint_probability or 0.0, 3): each for each in found}
    return [
        {"chance": points[chance].joint_probability or 0.0, "cost": points[chance].cost or 0.0}
        for chance in sorted(points)
    ]


def _chart(rows: list[dict[str, float]], here: Solution) -> alt.LayerChart:
    frame = pd.DataFrame(rows)
    spot = pd.DataFrame(
        [{"chance": here.joint_probability or 0.0, "cost": here.cost or 0.0, "words": "you are here"}]
    )
    x = alt.X(
        "chance:Q",
        title="chance that all limits hold together",
        scale=alt.Scale(domain=[0.0, 1.0]),
        axis=alt.Axis(format="%", tickCount=5),
    )
    y = alt.Y(
        "cost:Q",
        title=f"cost, {here.job.currency}",
        scale=alt.Scale(zero=False, padding=14),
        axis=alt.Axis(format=CENTS),
    )
    line = alt.Chart(frame).mark_line(strokeWidth=2, point={"size": 60, "filled": True}).encode(x=x, y=y)
    dot = alt.Chart(spot).mark_point(size=170, filled=True, opacity=1, shape="diamond").encode(x=x, y=y)
    word = alt.Chart(spot).mark_text(dy=-16, fontSize=13).encode(x=x, y=y, text="words:N")
    return layered([colored(line, "holds"), colored(dot, "fails"), colored(word, "text")], _HEIGHT)


@st.cache_data(max_entries=128, show_spinner=False)
def cost_told(asked: Question, blend: str) -> str:
    """Return where the cost of the selected blend likely lies and what moves it; empty without a cost."""
    solution = in_hand(asked, blend)
    if solution.expected is None or solution.cost is None:
        return ""
    span = (solution.expected.low, solution.expected.high)
    return cost_range_words(solution.cost, span, cost_moves(solution, catalogue()), solution.job.currency)
