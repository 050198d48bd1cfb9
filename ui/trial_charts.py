"""Chart of a calibration: what was seen against what was expected, before and after the fit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from optimizer.calibration.measurement_errors import KINDS
from optimizer.units import System, display_value
from ui.charts import colored, layered

_HEIGHT = 340


def seen_chart(rows: Sequence[dict[str, Any]], kind: str, units: System) -> alt.LayerChart:
    """Return readings of one kind against what was expected: crosses before, dots after, a line where equal.

    Parameters
    ----------
    rows
        From `ui.trial_seen.seen_rows`, of one kind.
    kind
        Key of `optimizer.calibration.measurement_errors.KINDS`.
    """
    name = KINDS[kind].quantity
    frame = pd.DataFrame(
        [{key: _shown(row[key], name, units) for key in ("seen", "before", "after")} for row in rows]
    )
    ends = (float(frame.min().min()), float(frame.max().max()))
    scale = alt.Scale(domain=list(ends), nice=True, padding=10)
    word = unit_word(kind, units)
    x = alt.X("seen:Q", title=f"{KINDS[kind].words} measured{word}", scale=scale)
    line = alt.Chart(pd.DataFrame({"seen": ends, "level": ends})).mark_line(strokeDash=[4, 4])
    base = alt.Chart(frame)
    marks = [colored(line.encode(x=x, y=alt.Y("level:Q", scale=scale)), "line")]
    for column, part, shape in (("before", "fails", "cross"), ("after", "holds", "circle")):
        y = alt.Y(f"{column}:Q", title=f"expected{word}", scale=scale)
        dots = base.mark_point(filled=True, size=90, opacity=0.9, shape=shape)
        marks.append(colored(dots.encode(x=x, y=y), part))
    return layered(marks, _HEIGHT)


def unit_word(kind: str, units: System) -> str:
    """Return the unit a kind of reading is shown in, behind a comma; empty for none."""
    word = display_value(1.0, KINDS[kind].quantity, units)[1]
    return f", {word}" if word else ""


def _shown(value: float, name: str, units: System) -> float:
    return display_value(value, name, units)[0]
