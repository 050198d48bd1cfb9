"""The charts of the page as altair specifications; nothing here knows of Streamlit.

Marks take their color from the theme by the part they play (`ui.palette`), and every color goes with a shape
or a word. Scales are the charts' own: every figure shown comes from the optimizer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import altair as alt
import pandas as pd

from optimizer.nomenclature import quantity
from optimizer.solution import LimitVerdict
from optimizer.units import System
from ui.palette import PARTS
from ui.words import bound_words, verdict_words

__all__ = ["SHAPES", "colored", "cost_chart", "margin_chart", "margin_rows"]

SHAPES: Final[Mapping[str, str]] = {"meets": "circle", "too close to call": "diamond", "fails": "cross"}
"""Shape of each verdict."""

_ROW, _ABOVE, _BELOW = 52, -12, 10
_WIDE = 1.08


def margin_rows(
    verdicts: Sequence[LimitVerdict], ranges: Mapping[str, tuple[float, float]], units: System
) -> list[dict[str, Any]]:
    """Return one row per limit, the tightest first: words, and places on a scale with the limit at 0.

    Parameters
    ----------
    verdicts
        The limits judged.
    ranges
        Low and high of each property [its unit].
    units
        Units of the words.

    Examples
    --------
    A best value 5 to the good on a scale that ends at 10 lies half way.

    >>> from optimizer.shop import Limit
    >>> mass = LimitVerdict(Limit("dry_mass", "<=", 365.0), "g", 360.0, 5.0, 0.9, "meets")
    >>> row = margin_rows([mass], {"dry_mass": (355.0, 364.0)}, "metric")[0]
    >>> row["low"], row["best"], row["high"]
    (0.1, 0.5, 1.0)
    """
    ordered = sorted(verdicts, key=lambda v: (v.probability, v.margin))
    return [_margin_row(k, each, ranges.get(each.limit.property), units) for k, each in enumerate(ordered)]


def _margin_row(
    place: int, verdict: LimitVerdict, span: tuple[float, float] | None, units: System
) -> dict[str, Any]:
    limit = verdict.limit
    ends = sorted(limit.margin(each) for each in span or (verdict.value, verdict.value))
    reach = max(abs(ends[0]), abs(ends[1]), abs(verdict.margin), 1e-9)
    bound = bound_words(limit, units).replace("<=", "at most").replace(">=", "at least")
    return {
        "place": place,
        "name": quantity(limit.property).label,
        "words": f"{quantity(limit.property).label}: {verdict_words(verdict, units)}, {bound}",
        "verdict": verdict.verdict,
        "low": ends[0] / reach,
        "best": verdict.margin / reach,
        "high": ends[1] / reach,
    }


def margin_chart(rows: Sequence[Mapping[str, Any]]) -> alt.LayerChart:
    """Return a bar per limit: its range from 5 % to 95 %, its best value, the limit as the tick at 0."""
    base = alt.Chart(pd.DataFrame(rows)).encode(y=alt.Y("place:O", axis=None))
    across = alt.Scale(domain=[-_WIDE, _WIDE])
    low = alt.X("low:Q", scale=across, axis=None)
    best = alt.X("best:Q", scale=across)
    tick = colored(base.mark_tick(thickness=2, height=26, yOffset=_BELOW).encode(x=alt.datum(0)), "line")
    bar = base.mark_bar(height=12, opacity=0.4, yOffset=_BELOW).encode(
        x=low, x2="high:Q", color=_color("verdict:N")
    )
    dot = base.mark_point(size=110, filled=True, opacity=1, yOffset=_BELOW).encode(
        x=best, color=_color("verdict:N"), shape=_shape_of_verdict()
    )
    words = base.mark_text(align="left", yOffset=_ABOVE, fontSize=13, dx=2).encode(
        x=alt.datum(-_WIDE), text="words:N"
    )
    verdict = base.mark_text(align="right", yOffset=_ABOVE, fontSize=13, fontWeight="bold", dx=-2).encode(
        x=alt.datum(_WIDE), text="verdict:N", color=_color("verdict:N")
    )
    layers = bar + tick + dot + colored(words, "text") + verdict
    return _plain(layers.properties(height=_ROW * len(rows)))


def cost_chart(parts: Mapping[str, float]) -> alt.LayerChart:
    """Return the parts of a vessel's cost as bars, dearest on top, each with its words."""
    frame = pd.DataFrame({"part": list(parts), "cost": list(parts.values())})
    axis = alt.Axis(labelLimit=140, ticks=False, domain=False, labelPadding=6, labelOverlap=False)
    base = alt.Chart(frame).encode(
        y=alt.Y("part:N", sort=None, title=None, axis=axis), x=alt.X("cost:Q", axis=None)
    )
    bars = colored(base.mark_bar(height=12), "meets")
    money = alt.Text("cost:Q", format=".2f")
    text = colored(base.mark_text(align="left", dx=4, fontSize=12).encode(text=money), "text")
    return _plain((bars + text).properties(height=22 * len(parts)))


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


def _plain(chart: alt.LayerChart) -> alt.LayerChart:
    plain: alt.LayerChart = chart.configure_view(stroke=None)
    return plain
