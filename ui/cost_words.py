"""The likely range of a vessel's cost in words: whether it moves at all, and with what."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from optimizer.materials import Catalogue
from optimizer.studies.check import Comparison
from ui.words import label_of, money

_AT_END: Final = 0.1
"""Part of the range within which the shown cost counts as standing at its end."""

_HARDLY: Final = 0.015
"""Width of a range, its ends as printed, up to which it is no range [currency]."""

_WAYS: Final[Mapping[str, tuple[str, str]]] = {
    "sealer_coats": ("it takes fewer coats of sealer", "it takes more coats of sealer"),
    "drying_time": ("it dries sooner", "it dries later"),
    "dry_mass": ("it comes out lighter", "it comes out heavier"),
    "demold_time": ("it leaves the mold sooner", "it leaves the mold later"),
}
"""What is so at the low and at the high end of each driver."""


def cost_range_words(
    cost: float, span: tuple[float, float], moves: Mapping[str, tuple[float, float]], currency: str
) -> str:
    """Return where the cost of a good vessel likely lies, and what would move it.

    Parameters
    ----------
    cost : float
        As shown [currency].
    span : tuple[float, float]
        Its 5 % and 95 % points [currency].
    moves : Mapping[str, tuple[float, float]]
        From `optimizer.studies.explain.cost_moves` [currency].

    Examples
    --------
    >>> cost_range_words(7.413, (7.411, 7.414), {}, "EUR")
    'Hardly moves with what is unsure of the blend'
    >>> cost_range_words(7.34, (6.38, 7.35), {"sealer_coats": (-0.96, 0.0), "dry_mass": (0.0, 0.01)}, "EUR")
    'Likely 6.38 EUR to 7.35 EUR: less if it takes fewer coats of sealer; hardly more'
    """
    low, high = span
    if round(high, 2) - round(low, 2) <= _HARDLY:
        return "Hardly moves with what is unsure of the blend"
    ends = f"{money(low, currency)} to {money(high, currency)}"
    if math.isinf(high):
        ends = f"{money(low, currency)} or more, without end where no number of coats seals it"
    dearer = {(name, end): pair[end] for name, pair in moves.items() for end in (0, 1)}
    cheaper = {each: -move for each, move in dearer.items()}
    less = _side("less", cost - low, high - low, cheaper)
    more = _side("more", high - cost, high - low, dearer)
    return f"Likely {ends}: {less}; {more}"


def _side(way: str, room: float, width: float, moves: Mapping[tuple[str, int], float]) -> str:
    """Return what moves the cost most one way; nothing does where it stands at that end."""
    if not moves or (room <= _AT_END * width and math.isfinite(room)):
        return f"hardly {way}"
    name, end = max(moves, key=lambda each: moves[each])
    return f"{way} if {_WAYS[name][end]}"


def even_price_words(comparison: Comparison, catalogue: Catalogue) -> tuple[str, ...]:
    """Return at which price of each powder that only one of two blends has both cost the same."""
    currency = comparison.candidate.job.currency
    return tuple(
        f"Both cost the same at {money(even, currency)} a kilogram of {label_of(name, catalogue)}, landed; "
        f"now {money(now, currency)}."
        for name, (now, even) in comparison.even_prices.items()
    )
