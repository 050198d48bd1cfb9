"""Charts of trade-offs: the frontier with its doubts, the selected blend, single binders, limits.

The axes reach to all blends and rings, near limits, whiskers up to the edge. The largest step of the cost is
named: a coat of sealer, or a cast a day.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import altair as alt
import numpy as np
import pandas as pd

from optimizer.job import Limit
from optimizer.nomenclature import CHANCE, quantity
from optimizer.solution import Solution
from optimizer.studies.frontier import Frontier, FrontierBlend
from optimizer.units import System, display_value
from ui.charts import CENTS, SHAPES, colored, layered
from ui.palette import PARTS

PICK: Final = "pick"
"""Name of the chart's selection."""

_POINTED: Final = alt.selection_point(
    name="pointed", fields=["id"], on="pointerover", clear="pointerout", nearest=False, empty=False
)
"""The blend pointed at: its likely range alone is drawn."""

_HEIGHT = 380
_TOUCH: Final = 0.08
"""Parts of an axis within which two rings share their letters."""

_LEAST: Final = 0.25
"""Share of the whole span of costs from which a step is a jump [-]; a choice of the drawing."""

_FAR: Final = 1.0
"""Spreads of the blends and rings beyond which a limit stays off the chart."""

_WHISKER: Final = 0.3
"""Spreads of the blends and rings that whiskers may add at each end."""

_PAD: Final = 0.08
"""Spreads left free at each end, so that rings and letters stay inside."""


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
    row: dict[str, Any] = {"verdict": solution.verdict}
    for axis, name in zip(("y", "x", "z"), over, strict=False):
        for part, value in zip(("", "_low", "_high"), _figures(name, solution, span), strict=True):
            row[f"{axis}{part}"] = display_value(value, name, units)[0]
    return row


def _figures(name: str, solution: Solution, span: tuple[float, float] | None) -> tuple[float, float, float]:
    if name == "cost":
        cost = solution.cost if solution.cost is not None else float("nan")
        return (cost, *(span or (cost, cost)))
    if name == CHANCE.name:
        return (solution.joint_probability or 0.0,) * 3
    known = solution.properties[name]
    return known.value, known.low, known.high


def trade_chart(
    over: Sequence[str],
    rows: Sequence[Mapping[str, Any]],
    marks: Sequence[Mapping[str, Any]],
    limits: Sequence[Limit],
    currency: str,
    units: System,
    jump: tuple[int, int] | None = None,
) -> alt.LayerChart:
    """Return the frontier as points to pick, lettered rings and limits; a range where one points at a blend.

    Parameters
    ----------
    over
        Quantities: on the upright axis, on the level one and, where there is a third, as color.
    rows
        From `trade_rows`.
    marks
        From `mark_row`, each with a ``letter``: the selected blend first, then the binders alone.
    limits
        Limits of the job; those on the two axes are drawn where they are near the blends.
    jump
        Places of the two blends between which the cost jumps; the words for it stand below the chart, where
        they cover no point on a narrow one.
    """
    bounds = {"x": _bounds(limits, over[1], units), "y": _bounds(limits, over[0], units)}
    reaches = {axis: _reach(axis, rows, marks, bounds[axis]) for axis in ("x", "y")}
    base = alt.Chart(clipped(rows, reaches))
    x = _axis(alt.X, "x", over[1], _title(over[1], currency, units), reaches["x"])
    y = _axis(alt.Y, "y", over[0], _title(over[0], currency, units), reaches["y"])
    seen = alt.when(_POINTED, empty=False).then(alt.value(0.8)).otherwise(alt.value(0.0))
    across = base.mark_rule(clip=True).encode(x=alt.X("x_low:Q"), x2="x_high:Q", y=y, opacity=seen)
    upright = base.mark_rule(clip=True).encode(x=x, y=alt.Y("y_low:Q"), y2="y_high:Q", opacity=seen)
    line = base.mark_line(strokeWidth=1.5, opacity=0.6).encode(x=x, y=y, order="id:Q")
    layers = [
        *(_limit_line(axis, bound) for axis, reach in reaches.items() for bound in reach.limits),
        *([colored(line, "line")] if len(over) == 2 else []),
        colored(across, "line"),
        colored(upright, "line"),
        *_jumped(rows, jump, x, y),
        _points(base, x, y, over, currency, units),
        *_named(marks, x, y, reaches),
    ]
    return layered(layers, _HEIGHT)


def _bounds(limits: Sequence[Limit], name: str, units: System) -> list[float]:
    return [display_value(each.bound, name, units)[0] for each in limits if each.property == name]


def _reach(
    axis: str, rows: Sequence[Mapping[str, Any]], marks: Sequence[Mapping[str, Any]], bounds: Sequence[float]
) -> Reach:
    places = [row[axis] for row in (*rows, *marks)]
    whiskers = [row[f"{axis}_{part}"] for row in rows for part in ("low", "high")]
    return reach_of(places, whiskers, bounds)


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
        base.mark_point(filled=True, size=110, opacity=1, stroke="#7A7A7A", strokeWidth=1, cursor="pointer")
        .encode(x=x, y=y, shape=shape, color=color, tooltip=alt.value(None))
        .add_params(pick, _POINTED)
    )
    return points


def _jumped(
    rows: Sequence[Mapping[str, Any]], jump: tuple[int, int] | None, x: alt.X, y: alt.Y
) -> list[alt.Chart]:
    """Return a heavy line between the blends where the cost jumps."""
    if jump is None:
        return []
    ends = pd.DataFrame([{"x": rows[place]["x"], "y": rows[place]["y"]} for place in jump])
    return [colored(alt.Chart(ends).mark_line(strokeWidth=5).encode(x=x, y=y, order="y:Q"), "fails")]


def _named(
    marks: Sequence[Mapping[str, Any]], x: alt.X, y: alt.Y, reaches: Mapping[str, Reach]
) -> list[alt.Chart]:
    """Return a ring for each mark and its letter beside it; rings close together share one row of letters."""
    frame = pd.DataFrame(marks, columns=["letter", "x", "y"]).dropna()
    ring = alt.Chart(frame).mark_point(filled=False, size=420, strokeWidth=3, opacity=1).encode(x=x, y=y)
    text = alt.Chart(_joined(frame, reaches)).mark_text(
        dx=13, dy=-13, align="left", fontSize=14, fontWeight="bold"
    )
    return [colored(ring, "third"), colored(text.encode(x=x, y=y, text="letter:N"), "third")]


def _joined(frame: pd.DataFrame, reaches: Mapping[str, Reach]) -> pd.DataFrame:
    """Return the letters with those of rings near each other joined at the first of these."""
    kept: list[dict[str, Any]] = []
    for letter, x, y in frame.itertuples(index=False):
        row = {"letter": letter, "x": x, "y": y}
        beside = next((each for each in kept if _touch(each, row, reaches)), None)
        if beside is None:
            kept.append(row)
        else:
            beside["letter"] = f"{beside['letter']} {row['letter']}"
    return pd.DataFrame(kept, columns=["letter", "x", "y"])


def _touch(one: Mapping[str, Any], other: Mapping[str, Any], reaches: Mapping[str, Reach]) -> bool:
    return all(
        abs(one[axis] - other[axis]) < _TOUCH * (reach.high - reach.low) for axis, reach in reaches.items()
    )


def _limit_line(axis: str, bound: float) -> alt.Chart:
    line = alt.Chart(pd.DataFrame({axis: [bound]})).mark_rule(strokeDash=[6, 4], strokeWidth=2)
    return colored(line.encode(**{axis: f"{axis}:Q"}), "fails")


def _axis(kind: type[Any], field: str, name: str, title: str, reach: Reach) -> Any:  # noqa: ANN401  X or Y
    form = CENTS if name == "cost" else alt.Undefined
    scale = alt.Scale(zero=False, nice=False, domain=[reach.low, reach.high])
    return kind(
        f"{field}:Q", title=title, scale=scale, axis=alt.Axis(tickCount=6, labelOverlap=True, format=form)
    )


def _title(name: str, currency: str, units: System) -> str:
    unit = currency if name == "cost" else display_value(1.0, name, units)[1]
    return f"{quantity(name).label}{f', {unit}' if unit else ''}"


@dataclass(frozen=True)
class Jump:
    """A jump of the cost between two neighbors of a frontier.

    Attributes
    ----------
    place, beside : int
        Places of the dearer and of the cheaper of the two.
    reason : str
        What is different there: coats of sealer, or casts a day.
    more : float
        What the dearer one costs more [currency].
    """

    place: int
    beside: int
    reason: str
    more: float


def jump_of(front: Frontier) -> Jump | None:
    """Return the largest step of the cost that has a reason; None where no such step stands out."""
    if front.over[0] != "cost" or len(front.over) > 2 or len(front.blends) < 3:
        return None
    costs = [blend.values["cost"] for blend in front.blends]
    steps = [abs(after - before) for before, after in pairwise(costs)]
    largest = max(range(len(steps)), key=steps.__getitem__)
    if steps[largest] < _LEAST * (max(costs) - min(costs)) or steps[largest] <= 0.0:
        return None
    dearer = largest if costs[largest] > costs[largest + 1] else largest + 1
    cheaper = largest + 1 if dearer == largest else largest
    reason = _reason(front.blends[cheaper], front.blends[dearer])
    return Jump(dearer, cheaper, reason, steps[largest]) if reason else None


def _reason(cheaper: FrontierBlend, dearer: FrontierBlend) -> str:
    if dearer.coats > cheaper.coats >= 0:
        return f"{dearer.coats} coats of sealer for {cheaper.coats}"
    if dearer.turns < cheaper.turns:
        return f"{dearer.turns} casts per mold a day for {cheaper.turns}"
    return ""


def jump_words(jump: Jump, currency: str) -> str:
    """Return a jump in words.

    Examples
    --------
    >>> jump_words(Jump(3, 4, "2 coats of sealer for 1", 0.746), "EUR")
    '2 coats of sealer for 1: +0.75 EUR'
    """
    return f"{jump.reason}: +{jump.more:.2f} {currency}"


@dataclass(frozen=True)
class Reach:
    """Ends of an axis, and the limits on it that are near enough to be drawn.

    Attributes
    ----------
    low, high : float
        Ends, in shown units.
    limits : tuple[float, ...]
        Bounds between them.
    """

    low: float
    high: float
    limits: tuple[float, ...] = ()


def reach_of(places: Iterable[float], whiskers: Iterable[float], limits: Iterable[float]) -> Reach:
    """Return how far an axis reaches.

    Parameters
    ----------
    places : Iterable[float]
        Where blends and rings stand; those that are not finite are passed over.
    whiskers : Iterable[float]
        Ends of likely ranges; they widen the axis a little, and are cut where it ends.
    limits : Iterable[float]
        Bounds; those far from all blends stay off.

    Examples
    --------
    >>> reach_of([30.0, 50.0], [20.0, float("inf")], [180.0])
    Reach(low=21.44, high=58.56, limits=())
    >>> reach_of([30.0, 50.0], [], [60.0]).limits
    (60.0,)
    """
    known = _finite(places)
    if not known.size:
        return Reach(0.0, 1.0)
    low, high = float(known.min()), float(known.max())
    spread = high - low or max(0.1 * abs(high), 0.1)
    near = tuple(bound for bound in limits if low - _FAR * spread <= bound <= high + _FAR * spread)
    ends = np.array([*whiskers, low, high], dtype=float)
    floor = max(float(np.nanmin(ends)), low - _WHISKER * spread)
    roof = min(float(np.nanmax(ends)), high + _WHISKER * spread)
    floor, roof = min(floor, *near, floor), max(roof, *near, roof)
    pad = _PAD * (roof - floor or spread)
    start = floor - pad
    return Reach(max(start, 0.0) if low >= 0.0 and start < 0.0 else start, roof + pad, near)


def clipped(rows: Sequence[Mapping[str, Any]], reaches: Mapping[str, Reach]) -> pd.DataFrame:
    """Return rows with the whiskers of each axis cut at its ends; an end that is never goes to the edge."""
    frame = pd.DataFrame(rows)
    for axis, reach in reaches.items():
        for part in ("low", "high"):
            name = f"{axis}_{part}"
            frame[name] = frame[name].astype(float).clip(reach.low, reach.high)
    return frame


def _finite(values: Iterable[float]) -> np.ndarray[Any, np.dtype[np.float64]]:
    found = np.array([np.nan if value is None else value for value in values], dtype=float)
    kept: np.ndarray[Any, np.dtype[np.float64]] = found[np.isfinite(found)]
    return kept
