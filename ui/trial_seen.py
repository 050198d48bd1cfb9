"""Readings of trials beside what was expected of them, in words and digits."""

from __future__ import annotations

import math
from dataclasses import dataclass

from optimizer.calibration.fit import Fit, Seen
from optimizer.calibration.lab_errors import KINDS
from optimizer.units import System, show, show_amount

__all__ = ["NOTES", "SeenRow", "seen_row", "seen_rows", "worse_words"]

NOTES = (
    "* further off than before; ! does not fit the other trials and hardly counts; a time out of the mold is "
    "met when the castings were expected to be strong enough by then."
)
"""What the marks of a row mean."""


@dataclass(frozen=True)
class SeenRow:
    """One reading as shown.

    Attributes
    ----------
    trial, reading : str
        Which.
    before, after, seen : str
        Expected with the shipped and the fitted figures, and read; with units.
    mark : str
        ``*`` made worse by the fit, ``!`` flagged.
    """

    trial: str
    reading: str
    before: str
    after: str
    seen: str
    mark: str


def seen_rows(fit: Fit, units: System) -> tuple[SeenRow, ...]:
    """Return every reading used, trial by trial."""
    order = list(KINDS)
    rows = sorted(fit.seen, key=lambda one: (one.reading.place, order.index(one.reading.kind)))
    return tuple(seen_row(one, units) for one in rows)


def seen_row(one: Seen, units: System) -> SeenRow:
    """Return one reading as shown."""
    reading = one.reading
    quantity = KINDS[reading.kind].quantity
    before, after, seen = (
        _value(value * reading.whole, quantity, units) for value in (one.before, one.after, reading.value)
    )
    if reading.kind == "demold":
        seen = f"out at {seen}"
    elif reading.side:
        seen = f"{'at least' if reading.side > 0 else 'at most'} {seen}"
    mark = "!" if one.flagged else "*" if one.worse else ""
    return SeenRow(reading.trial, _reading_words(one), before, after, seen, mark)


def _value(value: float, quantity: str, units: System) -> str:
    return show(value, quantity, units) if math.isfinite(value) else "never"


def _reading_words(one: Seen) -> str:
    age = one.reading.age
    words = KINDS[one.reading.kind].words
    timed = one.reading.kind.startswith("wet_") and math.isfinite(age)
    return f"{words}, {show_amount(age / 60.0, 'h', 2)} old" if timed else words


def worse_words(fit: Fit) -> str:
    """Return how many readings the fit took further off; empty when none."""
    worse = [one for one in fit.seen if one.worse and not one.flagged]
    if not worse:
        return ""
    kinds = ", ".join(dict.fromkeys(KINDS[one.reading.kind].words for one in worse))
    return (
        f"{len(worse)} of {len(fit.seen)} readings are further off than before ({kinds}): the "
        "figures cannot meet all readings at once."
    )
