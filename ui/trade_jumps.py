"""The largest step of a frontier of cost, and why the cost jumps there: a coat of sealer, or a cast a day."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from optimizer.studies.frontier import Frontier, FrontierBlend

_LEAST: Final = 0.25
"""Share of the whole span of costs from which a step is a jump [-]; a choice of the drawing."""


@dataclass(frozen=True)
class Jump:
    """A jump of the cost between two neighbors of a frontier.

    Attributes
    ----------
    place : int
        Place of the dearer of the two.
    reason : str
        What is different there: coats of sealer, or casts a day.
    more : float
        What the dearer one costs more [currency].
    """

    place: int
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
    return Jump(dearer, reason, steps[largest]) if reason else None


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
    >>> jump_words(Jump(3, "2 coats of sealer for 1", 0.746), "EUR")
    '2 coats of sealer for 1: +0.75 EUR'
    """
    return f"{jump.reason}: +{jump.more:.2f} {currency}"
