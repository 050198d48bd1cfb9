"""The charts of the page as altair specifications; nothing here knows of Streamlit.

Marks take their color from the theme by the part they play (`ui.palette`), and every color goes with a shape
or a word. Scales are the charts' own: every figure shown comes from the optimizer.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import altair as alt
import pandas as pd

from optimizer.job import Limit
from optimizer.nomenclature import quantity
from optimizer.solution import LimitVerdict, Solution
from optimizer.units import System
from ui.page_words import spoken_bound
from ui.palette import PARTS
from ui.words import judged_words, verdict_words

SHAPES: Final[Mapping[str, str]] = {"holds": "circle", "uncertain": "diamond", "fails": "cross"}
"""Shape of each verdict."""

CENTS: Final = ".2f"
"""Format of money on an axis."""

BARS: Final = "Line: the limit. Right of it: met. Bar: where the true value likely lies (5 % to 95 %)."
"""How to read the bars of `margin_chart`."""

_ROW, _ABOVE, _BELOW = 52, -12, 10
_WIDE = 1.08
_BESIDE = 1.7


def margin_rows(solutions: Mapping[str, Solution], units: System) -> list[dict[str, Any]]:
    """Return rows per limit, the tightest first: words, and places on a scale with the limit at 0.

    Parameters
    ----------
    solutions
        One or more blends judged by the same limits, by name; the first one sets the order.
    """
    first = next(iter(solutions.values()))
    ordered = sorted(first.limits, key=lambda v: (v.probability, v.margin))
    return [
        row
        for place, verdict in enumerate(ordered)
        for row in _limit_rows(place, verdict.limit, solutions, units)
    ]


def _limit_rows(
    place: int, limit: Limit, solutions: Mapping[str, Solution], units: System
) -> Iterator[dict[str, Any]]:
    found = {name: _verdict_on(limit, each) for name, each in solutions.items()}
    ends = {name: _ends(verdict, solutions[name]) for name, verdict in found.items()}
    reach = (
        max((abs(end) for pair in ends.values() for end in pair if math.isfinite(end)), default=1.0) or 1.0
    )
    bound = spoken_bound(limit, units)
    for number, (name, verdict) in enumerate(found.items()):
        low, high = ends[name]
        yield {
            "row": f"{place:02d}-{number}",
            "name": name,
            "property": limit.property,
            "limit": f"{quantity(limit.property).label}, {bound}",
            "seen": in_short(verdict_words(verdict, units)),
            "words": in_short(f"{quantity(limit.property).label} {verdict_words(verdict, units)}, {bound}"),
            "verdict": verdict.verdict,
            "told": judged_words(verdict),
            "low": max(low / reach, -1.0),
            "best": min(max(verdict.margin / reach, -1.0), 1.0) if verdict.margin == verdict.margin else None,
            "high": min(high / reach, 1.0),
        }


def in_short(words: str) -> str:
    """Return words that leave room beside them: a margin is a difference anyway.

    Examples
    --------
    >>> in_short("heat margin 4.6 °F difference")
    'heat margin 4.6 °F'
    """
    return words.replace(" °F difference", " °F")


def _verdict_on(limit: Limit, solution: Solution) -> LimitVerdict:
    return next(verdict for verdict in solution.limits if verdict.limit == limit)


def _ends(verdict: LimitVerdict, solution: Solution) -> tuple[float, float]:
    """Return the margins at the two ends of a property's range, worse one first [its unit]."""
    known = solution.properties.get(verdict.limit.property)
    values = (known.low, known.high) if known else (verdict.value, verdict.value)
    low, high = sorted(verdict.limit.margin(value) for value in values)
    return low, high


def margin_chart(rows: Sequence[Mapping[str, Any]]) -> alt.LayerChart:
    """Return a bar per row: its range from 5 % to 95 %, its best value, the limit as the tick at 0."""
    base = alt.Chart(pd.DataFrame(rows)).encode(y=alt.Y("row:O", axis=None))
    across = alt.Scale(domain=[-_WIDE, _WIDE])
    low = alt.X("low:Q", scale=across, axis=None)
    tick = colored(base.mark_tick(thickness=2, height=22, yOffset=_BELOW + 2).encode(x=alt.datum(0)), "line")
    bar = base.mark_bar(height=12, opacity=0.4, yOffset=_BELOW).encode(
        x=low, x2="high:Q", color=_color("verdict:N")
    )
    dot = base.mark_point(size=110, filled=True, opacity=1, yOffset=_BELOW).encode(
        x=alt.X("best:Q", scale=across), color=_color("verdict:N"), shape=_shape_of_verdict()
    )
    words = base.mark_text(align="left", yOffset=_ABOVE, fontSize=13, dx=2).encode(
        x=alt.datum(-_WIDE), text="words:N"
    )
    verdict = base.mark_text(align="right", yOffset=_ABOVE, fontSize=13, fontWeight="bold", dx=-2).encode(
        x=alt.datum(_WIDE), text="verdict:N", color=_color("verdict:N")
    )
    return layered([bar, tick, dot, colored(words, "text"), verdict], _ROW * len(rows))


def cost_chart(parts: Mapping[str, float]) -> alt.LayerChart:
    """Return the parts of a vessel's cost as bars, dearest on top, each with its words."""
    words = [f"{cost:.2f}  {name}" for name, cost in parts.items()]
    frame = pd.DataFrame({"words": words, "cost": list(parts.values())})
    return labeled_bars(frame, "cost", 22)


def labeled_bars(frame: pd.DataFrame, column: str, row: int) -> alt.LayerChart:
    """Return bars, `row` pixels each, with their words at the end, so that no axis has to be read."""
    scale = alt.Scale(domain=[0.0, _BESIDE * max(float(frame[column].max()), 1e-9)])
    base = alt.Chart(frame).encode(
        y=alt.Y("words:N", sort=None, axis=None), x=alt.X(f"{column}:Q", axis=None, scale=scale)
    )
    text = base.mark_text(align="left", dx=6, fontSize=13).encode(text="words:N")
    bars = colored(base.mark_bar(height=13), "holds")
    return layered([bars, colored(text, "text")], row * max(len(frame), 1))


def colored(chart: alt.Chart, part: str) -> alt.Chart:
    """Return a mark in the color of a part of `ui.palette.PARTS`; the theme fills it in, light or dark."""
    marked: alt.Chart = chart.transform_calculate(_part=f"'{part}'").encode(color=_color("_part:N"))
    return marked


def _color(field: str) -> alt.Color:
    return alt.Color(field, scale=alt.Scale(domain=list(PARTS)), legend=None)


def _shape_of_verdict() -> alt.Shape:
    return alt.Shape(
        "verdict:N", scale=alt.Scale(domain=list(SHAPES), range=list(SHAPES.values())), legend=None
    )


def layered(layers: Sequence[alt.Chart], height: int) -> alt.LayerChart:
    """Return marks over each other, `height` pixels high."""
    return alt.LayerChart(layer=list(layers), height=height)


def inked(chart: alt.LayerChart, ink: str) -> alt.LayerChart:
    """Return a chart whose axes are written in a color, without a frame around it."""
    axis = alt.AxisConfig(labelColor=ink, titleColor=ink, labelFontSize=12, titleFontSize=13)
    legend = alt.LegendConfig(labelColor=ink, titleColor=ink)
    chart.config = alt.Config(axis=axis, legend=legend, view=alt.ViewConfig(stroke=None))
    return chart
