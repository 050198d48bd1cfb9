"""Charts of give and take: the frontier with its doubts, the blend in hand, single binders, limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final, Literal

import altair as alt
import pandas as pd

from optimizer.nomenclature import quantity
from optimizer.shop import Limit
from optimizer.solution import Solution
from optimizer.studies.frontier import Frontier
from optimizer.units import System, display_value
from ui.charts import SHAPES, colored, layered
from ui.palette import PARTS

__all__ = ["PICK", "mark_row", "trade_chart", "trade_rows"]

PICK: Final = "pick"
"""Name of the chart's selection."""

_HEIGHT = 380
_ASIDE: Final = {"left": 8, "center": 0, "right": -8}
_SIDES: Final[tuple[Literal["left", "center", "right"], ...]] = ("left", "center", "right")


def trade_rows(
    front: Frontier, solutions: Sequence[Solution], spans: Sequence[tuple[float, float] | None], units: System
) -> list[dict[str, Any]]:
    """Return one row per blend of the frontier: places with low and high in shown units, verdict, id."""
    return [
        {"id": place, **mark_row(front.over, solution, span, units)}
        for place, (solution, span) in enumerate(zip(solutions, spans, strict=True), start=1)
    ]


def mark_row(
    over: Sequence[str], solution: Solution, span: tuple[float, float] | None, units: System
) -> dict[str, Any]:
    """Return where a blend stands on the axes ``x``, ``y`` and ``z``: the second, first, third quantity."""
    row: dict[str, Any] = {"verdict": _verdict(solution)}
    for axis, name in zip(("y", "x", "z"), over, strict=False):
        for part, value in zip(("", "_low", "_high"), _figures(name, solution, span), strict=True):
            row[f"{axis}{part}"] = display_value(value, name, units)[0]
    return row


def _figures(name: str, solution: Solution, span: tuple[float, float] | None) -> tuple[float, float, float]:
    if name == "cost":
        cost = solution.cost if solution.cost is not None else float("nan")
        return (cost, *(span or (cost, cost)))
    known = solution.properties[name]
    return known.value, known.low, known.high


def _verdict(solution: Solution) -> str:
    words = {verdict.verdict for verdict in solution.limits}
    return next((word for word in ("fails", "too close to call") if word in words), "meets")


def trade_chart(
    over: Sequence[str],
    rows: Sequence[Mapping[str, Any]],
    marks: Sequence[Mapping[str, Any]],
    limits: Sequence[Limit],
    currency: str,
    units: System,
) -> alt.LayerChart:
    """Return the frontier as points to pick, with whiskers, named marks and the limits as lines.

    Parameters
    ----------
    over
        Quantities: on the upright axis, on the level one and, where there is a third, as color.
    rows
        From `trade_rows`.
    marks
        From `mark_row`, each with a ``name``: the blend in hand first, then the binders alone.
    limits
        Limits of the job; those on the two axes are drawn.
    currency, units
        For the titles of the axes.
    """
    base = alt.Chart(pd.DataFrame(rows))
    x = _axis(alt.X, "x", over[1], currency, units)
    y = _axis(alt.Y, "y", over[0], currency, units)
    across = base.mark_rule(opacity=0.35).encode(x=alt.X("x_low:Q"), x2="x_high:Q", y=y)
    upright = base.mark_rule(opacity=0.35).encode(x=x, y=alt.Y("y_low:Q"), y2="y_high:Q")
    layers = [
        *(_limit_line(limit, over, units) for limit in limits if limit.property in over[:2]),
        colored(across, "line"),
        colored(upright, "line"),
        _points(base, x, y, over, currency, units),
        *_named(marks, x, y),
    ]
    return layered(layers, _HEIGHT)


def _points(
    base: alt.Chart, x: alt.X, y: alt.Y, over: Sequence[str], currency: str, units: System
) -> alt.Chart:
    pick = alt.selection_point(name=PICK, fields=["id"])
    shape = alt.Shape(
        "verdict:N", scale=alt.Scale(domain=list(SHAPES), range=list(SHAPES.values())), legend=None
    )
    if len(over) > 2:
        title = _title(over[2], currency, units)
        color = alt.Color("z:Q", title=title, legend=alt.Legend(orient="top", gradientLength=180))
    else:
        color = alt.Color("verdict:N", scale=alt.Scale(domain=list(PARTS)), legend=None)
    points: alt.Chart = (
        base.mark_point(filled=True, size=150, opacity=1, stroke="#7A7A7A", strokeWidth=1, cursor="pointer")
        .encode(x=x, y=y, shape=shape, color=color, tooltip=alt.value(None))
        .add_params(pick)
    )
    return points


def _named(marks: Sequence[Mapping[str, Any]], x: alt.X, y: alt.Y) -> list[alt.Chart]:
    """Return a ring and a name for each mark; names lean inward, that of the blend in hand hangs below."""
    frame = pd.DataFrame(marks, columns=["name", "x", "y"])
    low, reach = frame["x"].min(), max(frame["x"].max() - frame["x"].min(), 1e-12)
    thirds = (3.0 * (frame["x"] - low) / reach).clip(0.0, 2.0).fillna(0.0).astype(int)
    first = frame.index == 0
    ring = alt.Chart(frame).mark_point(filled=False, size=420, strokeWidth=3, opacity=1).encode(x=x, y=y)
    layers = [colored(ring, "third")]
    for rows, way in ((frame[first], 1), (frame[~first], -1)):
        for third, align in enumerate(_SIDES):
            there = rows[thirds[rows.index] == third]
            if there.empty:
                continue
            text = alt.Chart(there).mark_text(
                dy=22 * way, dx=_ASIDE[align], align=align, fontSize=13, fontWeight="bold"
            )
            layers.append(colored(text.encode(x=x, y=y, text="name:N"), "third"))
    return layers


def _limit_line(limit: Limit, over: Sequence[str], units: System) -> alt.Chart:
    bound = display_value(limit.bound, limit.property, units)[0]
    axis = "y" if limit.property == over[0] else "x"
    line = alt.Chart(pd.DataFrame({axis: [bound]})).mark_rule(strokeDash=[6, 4], strokeWidth=2)
    return colored(line.encode(**{axis: f"{axis}:Q"}), "fails")


def _axis(kind: type[Any], field: str, name: str, currency: str, units: System) -> Any:  # noqa: ANN401  X or Y
    return kind(f"{field}:Q", title=_title(name, currency, units), scale=alt.Scale(zero=False, padding=12))


def _title(name: str, currency: str, units: System) -> str:
    row = quantity(name)
    unit = currency if name == "cost" else display_value(1.0, name, units)[1]
    better = {"lower": "less is better", "higher": "more is better"}.get(row.better, "")
    return f"{row.label}{f' in {unit}' if unit else ''} ({better})"
