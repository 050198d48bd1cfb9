"""How well readings and expectations agree, before and after a calibration, kind by kind."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from optimizer.calibration.fit import Fit, Seen
from optimizer.calibration.measurement_errors import KINDS

__all__ = ["Agreement", "agreement", "compared", "left_over"]


@dataclass(frozen=True)
class Agreement:
    """One kind of reading.

    Attributes
    ----------
    kind : str
        Key of `optimizer.calibration.measurement_errors.KINDS`.
    readings : int
        How many were compared; flagged ones and bounds are not [count].
    before, after : float
        Root mean square of reading less expectation, with the shipped and with the fitted figures
        [of the log, or the unit].
    """

    kind: str
    readings: int
    before: float
    after: float


def agreement(fit: Fit) -> tuple[Agreement, ...]:
    """Return how far readings are off, for each kind that was read."""
    return tuple(_agreements(fit))


def _agreements(fit: Fit) -> Iterator[Agreement]:
    for kind in KINDS:
        seen = compared(fit, kind)
        if seen:
            before = [left_over(one, one.before) for one in seen]
            after = [left_over(one, one.after) for one in seen]
            yield Agreement(kind, len(seen), _root(before), _root(after))


def compared(fit: Fit, kind: str) -> list[Seen]:
    """Return the readings of one kind that are neither flagged nor mere bounds nor expected "never"."""
    return [
        one
        for one in fit.seen
        if one.reading.kind == kind
        and not one.reading.side
        and not one.flagged
        and math.isfinite(one.before)
        and math.isfinite(one.after)
    ]


def left_over(one: Seen, expected: float) -> float:
    """Return reading less expectation [of the log, or the unit]."""
    value = one.reading.value
    return math.log(value / expected) if KINDS[one.reading.kind].log else value - expected


def _root(values: Sequence[float]) -> float:
    return math.sqrt(math.fsum(value**2 for value in values) / len(values))
