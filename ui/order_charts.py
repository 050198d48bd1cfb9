"""Charts of an order and of prices: the calendar, what holds it back, break-even, landed prices."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence

import altair as alt
import pandas as pd

from optimizer.money.schedule import DayPlan
from ui.charts import CENTS, colored, labeled_bars, layered
from ui.palette import PARTS

_LINES = (("holds", [1, 0]), ("fails", [8, 4]))


def calendar_chart(days: Sequence[DayPlan], due: datetime.date, hours: float) -> alt.LayerChart:
    """Return the hours of work of each day, the hours there are as a line, and the due date.

    Parameters
    ----------
    due
        Last day on which the order may leave.
    hours
        Hours of work there are on one day [h].
    """
    rows = [
        {
            "day": pd.Timestamp(day.day),
            "next": pd.Timestamp(day.day) + pd.Timedelta(hours=20),
            "hours": day.minutes / 60.0,
            "cast": f"{day.cast}" if day.cast else "",
            "part": "holds" if day.day <= due else "fails",
        }
        for day in days
    ]
    frame = pd.DataFrame(rows, columns=["day", "next", "hours", "cast", "part"])
    x = alt.X("day:T", title=None, axis=alt.Axis(format="%a %d %b", labelOverlap=True))
    y = alt.Y("hours:Q", title="hours of work", scale=alt.Scale(domain=[0.0, 1.35 * hours]))
    color = alt.Color("part:N", scale=alt.Scale(domain=list(PARTS)), legend=None)
    bars = alt.Chart(frame).mark_bar().encode(x=x, x2="next:T", y=y, y2=alt.datum(0.0), color=color)
    cast = alt.Chart(frame).mark_text(dy=-7, dx=2, align="left", fontSize=11).encode(x=x, y=y, text="cast:N")
    full = alt.Chart(pd.DataFrame({"hours": [hours]})).mark_rule(strokeDash=[3, 3]).encode(y="hours:Q")
    end = pd.DataFrame({"day": [pd.Timestamp(due) + pd.Timedelta(hours=22)], "words": ["due"]})
    line = alt.Chart(end).mark_rule(strokeWidth=2.5, strokeDash=[6, 4]).encode(x="day:T")
    word = alt.Chart(end).mark_text(align="left", dx=5, fontSize=13, fontWeight="bold")
    named = word.encode(x="day:T", y=alt.datum(1.28 * hours), text="words:N")
    layers = [
        bars,
        colored(cast, "text"),
        colored(full, "line"),
        colored(line, "fails"),
        colored(named, "fails"),
    ]
    return layered(layers, 220)


def rates_chart(rates: Mapping[str, float], words: Mapping[str, str]) -> alt.LayerChart:
    """Return the castings a day that each resource alone could keep up, the slowest on top."""
    finite = {name: rate for name, rate in rates.items() if math.isfinite(rate)}
    ordered = sorted(finite, key=lambda name: finite[name])
    frame = pd.DataFrame(
        {"words": [f"{finite[n]:.0f}  {words[n]}" for n in ordered], "rate": [finite[n] for n in ordered]}
    )
    return labeled_bars(frame, "rate", 30)


def curve_chart(frame: pd.DataFrame, order: int, currency: str) -> alt.LayerChart:
    """Return the cost of one vessel by order size for two blends, named above the chart."""
    base = alt.Chart(frame).encode(
        x=alt.X("vessels:Q", title="vessels in the order"),
        y=alt.Y(
            "cost:Q", title=f"{currency} a vessel", scale=alt.Scale(zero=False), axis=alt.Axis(format=CENTS)
        ),
    )
    layers: list[alt.Chart] = []
    names = list(dict.fromkeys(frame["blend"]))
    dashes = alt.Scale(domain=names, range=[dash for _, dash in _LINES[: len(names)]])
    key = alt.Legend(orient="top", direction="vertical", title=None, symbolSize=700, labelLimit=0)
    for name, (part, _) in zip(names, _LINES, strict=False):
        own = base.transform_filter(alt.FieldEqualPredicate(field="blend", equal=name))
        line = own.mark_line(strokeWidth=2.5).encode(
            strokeDash=alt.StrokeDash("blend:N", scale=dashes, legend=key)
        )
        layers.append(colored(line, part))
    here = alt.Chart(pd.DataFrame({"vessels": [order]})).mark_rule(strokeWidth=2, strokeDash=[3, 3])
    layers.append(colored(here.encode(x="vessels:Q"), "line"))
    return layered(layers, 330)


def steps_chart(frame: pd.DataFrame, currency: str, mass: str) -> alt.LayerChart:
    """Return the landed price of one `mass` (kg or lb) by the packs bought at once, as steps with points."""
    base = alt.Chart(frame).encode(
        x=alt.X("packs:Q", title="packs bought at once", axis=alt.Axis(tickMinStep=1)),
        y=alt.Y("price:Q", title=f"{currency} per usable {mass}", axis=alt.Axis(format=CENTS, tickCount=5)),
    )
    line = colored(base.mark_line(interpolate="step-after", strokeWidth=2.5), "holds")
    dots = colored(base.mark_point(filled=True, size=45, opacity=1), "holds")
    return layered([line, dots], 280)
