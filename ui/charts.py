"""The charts of the page as altair specifications; nothing here knows of Streamlit.

Colors are those of Okabe and Ito (2008), told apart with every kind of color sight, and each goes with a
shape and a word. Scales are ours alone: every figure shown comes from the optimizer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import altair as alt

from optimizer.solution import LimitVerdict
from optimizer.units import System
from ui.words import bound_words, verdict_words
from optimizer.nomenclature import quantity

__all__ = ["COLORS", "SHAPES", "cost_chart", "margin_chart", "margin_rows"]

COLORS: Final[Mapping[str, str]] = {
    "meets": "#0079B8",
    "too close to call": "#7A7A7A",
    "fails": "#D55E00",
}
"""Color of each verdict: at least 3:1 against the light and the dark page."""

SHAPES: Final[Mapping[str, str]] = {"meets": "circle", "too close to call": "diamond", "fails": "cross"}
"""Shape of each verdict."""

_ROW = 58
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
    """Return a bar per limit: its range from 5 % to 95 %, its best value, the limit as the line at 0."""
    base = alt.Chart(alt.Data(values=list(rows))).encode(
        y=alt.Y("place:O", axis=None),
        color=_verdict_color(legend=False),
    )
    across = alt.Scale(domain=[-_WIDE, _WIDE])
    x = alt.X("low:Q", scale=across, axis=None)
    bar = base.mark_bar(height=12, opacity=0.45, yOffset=14).encode(x=x, x2="high:Q")
    dot = base.mark_point(size=110, filled=True, opacity=1, yOffset=14).encode(
        x=alt.X("best:Q", scale=across),
        shape=alt.Shape("verdict:N", scale=_scale(SHAPES), legend=None),
    )
    line = alt.Chart(alt.Data(values=[{"at": 0}])).mark_rule(strokeWidth=2, color="#7A7A7A").encode(x="at:Q")
    words = base.mark_text(align="left", yOffset=-8, fontSize=13, dx=2).encode(
        x=alt.datum(-_WIDE), text="words:N", color=alt.ColorValue("#7A7A7A")
    )
    verdict = base.mark_text(align="right", yOffset=-8, fontSize=13, fontWeight="bold", dx=-2).encode(
        x=alt.datum(_WIDE), text="verdict:N"
    )
    chart: alt.LayerChart = (bar + line + dot + words + verdict).properties(height=_ROW * max(len(rows), 1))
    return chart.configure_view(stroke=None)


def cost_chart(parts: Mapping[str, float], currency: str) -> alt.LayerChart:
    """Return the parts of a vessel's cost as bars, dearest on top, each with its words."""
    rows = [{"part": name, "cost": cost, "words": f"{cost:.2f}"} for name, cost in parts.items()]
    base = alt.Chart(alt.Data(values=rows)).encode(
        y=alt.Y("part:N", sort=None, title=None, axis=alt.Axis(labelLimit=140, ticks=False, domain=False)),
        x=alt.X("cost:Q", title=f"{currency} in one good vessel", axis=alt.Axis(grid=False, tickCount=4)),
    )
    bars = base.mark_bar(height=14, color=COLORS["meets"])
    text = base.mark_text(align="left", dx=4, fontSize=12, color="#7A7A7A").encode(text="words:N")
    return (bars + text).properties(height=26 * max(len(rows), 1) + 40)


def _verdict_color(*, legend: bool) -> alt.Color:
    return alt.Color("verdict:N", scale=_scale(COLORS), legend=alt.Legend(title=None) if legend else None)


def _scale(values: Mapping[str, str]) -> alt.Scale:
    return alt.Scale(domain=list(values), range=list(values.values()))
