"""Words only the page needs: chances in words, points of a frontier as sentences."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from optimizer.job import Limit
from optimizer.solution import Solution
from optimizer.units import System
from ui.words import bound_words, money, value_words

MARKS: Final[Mapping[str, str]] = {"yours": "●", "example": "○", "fitted": "◆"}
"""Shape beside a figure for whose it is: never color alone."""

UNREAD: Final = "Not while a field is missing or not understood: it would be an older job."
"""Why nothing is printed or saved while a field is at fault."""

_CHANCES: Final = (
    (0.99, "all but certain"),
    (0.90, "very likely"),
    (0.66, "likely"),
    (0.33, "about even"),
    (0.10, "unlikely"),
    (0.01, "very unlikely"),
)
"""Least chance and its words, after the scale of the IPCC guidance note of 2010 (from memory)."""


def chance_phrase(chance: float) -> str:
    """Return a chance in words and number.

    Examples
    --------
    >>> chance_phrase(0.84), chance_phrase(0.004), chance_phrase(1.0)
    ('likely (84 %)', 'next to impossible (under 1 %)', 'all but certain (over 99 %)')
    """
    words = next((word for least, word in _CHANCES if chance >= least), "next to impossible")
    if chance > 0.99:
        return f"{words} (over 99 %)"
    return f"{words} (under 1 %)" if chance < 0.01 else f"{words} ({chance:.0%})".replace("%)", " %)")


def quantity_words(name: str, value: float, solution: Solution, units: System) -> str:
    """Return a traded quantity with its unit; money in the job's currency."""
    return money(value, solution.job.currency) if name == "cost" else value_words(name, value, units)


def examples_words(count: int) -> str:
    """Return how many figures of money are still invented.

    Examples
    --------
    >>> examples_words(1), examples_words(0)
    ('○ 1 invented example among prices and wages: replace with yours', '● all prices and wages are yours')
    """
    if not count:
        return f"{MARKS['yours']} all prices and wages are yours"
    examples = f"invented example{'' if count == 1 else 's'}"
    return f"{MARKS['example']} {count} {examples} among prices and wages: replace with yours"


def mark_of(evidence: str) -> str:
    """Return the mark of a predicted figure: fitted to trials, or a shipped starting value.

    Examples
    --------
    >>> mark_of("calibrated"), mark_of("prior")
    ('◆', '○')
    """
    return MARKS["fitted" if evidence == "calibrated" else "example"]


def spoken_bound(limit: Limit, units: System) -> str:
    """Return a bound in words.

    Examples
    --------
    >>> spoken_bound(Limit("dry_mass", "<=", 380.0), "metric")
    'at most 380 g'
    """
    return bound_words(limit, units).replace("<=", "at most").replace(">=", "at least")
