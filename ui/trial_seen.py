"""Readings of trials beside what was expected of them, in words and digits."""

from __future__ import annotations

import math
from dataclasses import dataclass

from optimizer.calibration.fit import Fit, Seen
from optimizer.calibration.leave_out import LeftOut, Unexplained
from optimizer.calibration.measurement_errors import KINDS
from optimizer.calibration.record import Flagged
from optimizer.units import System, show, show_amount

_LISTED = 12

NOTES = (
    "* further off than before; ! does not fit the other trials and hardly counts; \u2264 an upper bound: "
    "taken out by then, perhaps ready earlier, and met when the castings were expected to be strong enough."
)
"""What the marks of a row mean."""


LEFT_OUT_HEADS = ("reading", "readings", "before", "now", "held before", "held now", "")
"""Heads of the table of `left_out_row`."""


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
    bound : bool
        True where a time out of the mold is an upper bound only.
    """

    trial: str
    reading: str
    before: str
    after: str
    seen: str
    mark: str
    bound: bool = False


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
        seen = f"out at {seen}" if reading.side else f"first out at {seen}"
    elif reading.side:
        seen = f"{'at least' if reading.side > 0 else 'at most'} {seen}"
    mark = "!" if one.flagged else "*" if one.worse else ""
    bound = reading.kind == "demold" and reading.side != 0
    return SeenRow(reading.trial, _reading_words(one), before, after, seen, mark, bound)


def flagged_words(one: Flagged, units: System) -> str:
    """Return what to do about a reading that does not fit the others, the reading with its unit.

    Examples
    --------
    >>> flagged_words(Flagged("2026-03-02-a", "end of pouring", 11.0, 4.2), "metric")[:44]
    'Trial 2026-03-02-a: end of pouring of 11 min'
    """
    quantity = next((kind.quantity for kind in KINDS.values() if kind.words == one.reading), "")
    value = _value(one.value, quantity, units) if quantity else f"{one.value:.4g}"
    return (
        f"Trial {one.trial}: {one.reading} of {value} does not fit all the others; it is kept, and hardly "
        "used. Look it up before you trust either."
    )


def _value(value: float, quantity: str, units: System) -> str:
    return show(value, quantity, units) if math.isfinite(value) else "never"


def _reading_words(one: Seen) -> str:
    age = one.reading.age
    words = KINDS[one.reading.kind].words
    timed = one.reading.kind.startswith("wet_") and math.isfinite(age)
    return f"{words}, {show_amount(age / 60.0, 'h', 2)} old" if timed else words


def moved_words(fit: Fit, units: System) -> tuple[str, ...]:
    """Return why rows moved away from what was seen, and what "never" means, a sentence for each row."""
    told = [words for one in fit.seen if (words := _moved(one, units))]
    left = len(told) - _LISTED
    return (*told[:_LISTED], *([f"And {left} more readings."] if left > 0 else []))


def _moved(one: Seen, units: System) -> str:
    parts = []
    if one.reading.kind == "demold" and not math.isfinite(max(one.before, one.after)):
        before, after = (f"{math.floor(1000.0 * share) / 10.0:g} %" for share in one.enough)
        parts.append(
            f'"never" counts against the figures: they expect at most {before} of the strength asked before '
            f"the fit and {after} after it"
        )
    if one.worse and one.pulled:
        pulling = " and ".join(f"{KINDS[pull.kind].words} of {pull.trial}" for pull in one.pulled)
        bound = "an upper bound that the prediction misses; " if one.reading.side else ""
        parts.append(f"{bound}moved further off, pulled by {pulling}")
    if not parts:
        return ""
    return f"{one.reading.trial}, {_reading_words(one)}: {'; '.join(parts)}."


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


def left_out_row(one: LeftOut) -> tuple[str, ...]:
    """Return how well one kind of reading is predicted from all other casts, under `LEFT_OUT_HEADS`."""
    kind = KINDS[one.kind]
    sizes = (f"{100.0 * x:.1f} %" if kind.log else f"{x:.1f}" for x in (one.before, one.after))
    shares = (f"{100.0 * x:.0f} %" for x in (one.inside_before, one.inside_after))
    return kind.words, str(one.readings), *sizes, *shares, "" if one.better else "no better"


def left_out_words(fit: Fit) -> str:
    """Return whether the fit predicts casts it has not seen better than the shipped figures do."""
    better = sum(one.better for one in fit.left_out)
    return (
        f"The fit predicts a cast it has not seen better in {better} of {len(fit.left_out)} kinds of "
        "reading. Held: readings within the stated range, which should hold 90 %."
    )


def unexplained_words(one: Unexplained) -> str:
    """Return that nothing explains a cast, and what to look for."""
    rare = "less than one in a million" if one.chance < 1e-6 else f"1 in {1.0 / one.chance:,.0f}"
    return (
        f"Trial {one.trial}: its readings together are too odd for the other casts ({rare}). Look for a bag, "
        "a weighing or a reading that was mixed up, or cast it again."
    )
