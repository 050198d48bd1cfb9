"""Mold turns on the clock: castings one mold gives in a day, and the molds and pours an order needs.

The clock of one mold. A turn is `prep` minutes (empty, clean, fill) and then the demold time. `n` turns
and the `prep` that leaves the mold clean fit a shift when ``n (demold + prep) + prep <= shift``, so

    turns = floor((shift - prep) / (demold + prep)).

Where molds may stand full overnight, that last `prep` is used to fill them again. The casting then has
until the next morning: ``(n + 1) (demold + prep) <= 24 h``. The demold time is counted from the end
of filling although it starts when powder meets water: this errs on the slow side, by the minutes of mixing.

An order takes so many castings that enough of them come good with a stated chance. Each casting comes good
with the same chance, so the good ones are binomial. The share itself is known no better than from a hundred
castings (assumption: about what a studio has seen of one vessel), so it follows the beta distribution of
that many, and the castings lost a beta-binomial one (Skellam 1948, from memory).
"""

from __future__ import annotations

import math
from bisect import bisect_left
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from optimizer.job import Shop

DAY = 1440.0
"""Minutes of a day [min]."""

_ROUNDING = 1e-9

CASTINGS_SEEN: Final = 100.0
"""Castings that a stated share of rejects is taken to rest on [count]; assumption."""

GOOD_ENOUGH: Final = 0.9
"""Chance with which an order's castings give the vessels ordered [-]; assumption."""


def whole_up(number: float) -> int:
    """Return the least whole number not below `number`, forgiving what binary fractions add.

    Examples
    --------
    >>> whole_up(0.1 * 3 / 0.1), whole_up(3.01)
    (3, 4)
    """
    return math.ceil(number - _ROUNDING * max(1.0, abs(number)))


def whole_down(number: float) -> int:
    """Return the greatest whole number not above `number`, forgiving what binary fractions take.

    Examples
    --------
    >>> whole_down((0.1 + 0.7) * 10), whole_down(7.9)
    (8, 7)
    """
    return math.floor(number + _ROUNDING * max(1.0, abs(number)))


def turns_per_day(demold_time: float, shop: Shop) -> int:
    """Return how many castings one mold gives on a working day.

    Parameters
    ----------
    demold_time : float
        From powder meeting water to leaving the mold [min].
    shop : Shop
        Shift, minutes of preparation, and whether molds may stand full overnight.

    Returns
    -------
    int
        Turns [count]; 0 when the casting does not leave its mold in time for a daily turn.

    Examples
    --------
    >>> turns_per_day(35.0, Shop(shift=420.0, prep=10.0))
    9
    >>> turns_per_day(600.0, Shop(shift=420.0, prep=10.0, overnight=True))
    1
    """
    return int(turns_in_draws(np.asarray(demold_time), shop))


def turns_in_draws(demold_times: NDArray[np.float64], shop: Shop) -> NDArray[np.float64]:
    """Return `turns_per_day` of each of many demold times [min], shape (...) [count]."""
    turn = demold_times + shop.prep
    by_day = _down((shop.shift - shop.prep) / turn)
    if not shop.overnight or shop.shift < shop.prep:
        return np.maximum(by_day, 0.0)
    return np.minimum(by_day + 1.0, _down(DAY / turn))


def _down(numbers: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return `whole_down` of each number."""
    return np.asarray(np.floor(numbers + _ROUNDING * np.maximum(1.0, np.abs(numbers))))


def demold_edges(shop: Shop, longest: float = math.inf) -> tuple[tuple[int, float], ...]:
    """Return for each number of turns the longest demold time that still gives it.

    An optimizer that tries each row as a limit on the demold time has tried every count of turns.

    Parameters
    ----------
    shop : Shop
        Shift, preparation, overnight rule; the shop's own floor on demolding ends the list.
    longest : float
        Demold time the job allows [min]; no edge lies beyond it.

    Returns
    -------
    tuple[tuple[int, float], ...]
        (turns [count], latest demold time [min]), fewest turns first; empty when no turn fits.

    Examples
    --------
    >>> demold_edges(Shop(shift=420.0, prep=10.0, demold_floor=90.0))
    ((1, 400.0), (2, 195.0), (3, 126.66...), (4, 92.5))
    >>> demold_edges(Shop(shift=420.0, prep=10.0, demold_floor=90.0), longest=150.0)
    ((2, 150.0), (3, 126.66...), (4, 92.5))
    """
    shortest = max(shop.demold_floor, shop.mixing)
    edges: list[tuple[int, float]] = []
    turns = 1
    while (edge := _latest(turns, shop)) >= shortest:
        if edge >= longest:
            edges = [(turns, longest)]
        else:
            edges.append((turns, edge))
        turns += 1
    return tuple(edges) if longest >= shortest else ()


def _latest(turns: int, shop: Shop) -> float:
    working = shop.shift - shop.prep
    if working < 0.0:
        return -math.inf
    if not shop.overnight:
        return working / turns - shop.prep
    by_day = working / (turns - 1) if turns > 1 else math.inf
    return min(by_day, DAY / turns) - shop.prep


def pours_needed(vessels: float, reject: float, finish_reject: float = 0.0) -> int:
    """Return the castings to pour so that `vessels` good ones are expected.

    Parameters
    ----------
    vessels : float
        Good vessels wanted [count].
    reject, finish_reject : float
        Lost at demolding [fraction of castings] and after sealing [fraction of those left].

    Examples
    --------
    300 good vessels at 8 % rejects:

    >>> pours_needed(300, 0.08)
    327
    """
    return whole_up(vessels / ((1.0 - reject) * (1.0 - finish_reject)))


def molds_needed(pours: int, casting_days: float, turns: int) -> int:
    """Return the molds that give `pours` castings in `casting_days` days at `turns` a day.

    Raises
    ------
    ValueError
        When no turn or no day is given, for then no number of molds is enough.

    Examples
    --------
    >>> [molds_needed(327, 12, turns) for turns in (1, 3, 5)]
    [28, 10, 6]
    """
    if pours == 0:
        return 0
    if turns < 1 or casting_days <= 0.0:
        raise ValueError(f"no number of molds gives {pours} pours at {turns} turns in {casting_days} days")
    return whole_up(pours / (casting_days * turns))


def chance_of_enough(pours: int, vessels: int, good_share: float) -> float:
    """Return the chance that at least `vessels` of `pours` castings come good [-].

    Parameters
    ----------
    pours, vessels
        Castings, and good ones wanted [count].
    good_share
        Mean share of castings that come good [-], above 0.

    Examples
    --------
    Where nothing is ever lost, as many as are poured:

    >>> chance_of_enough(10, 10, 1.0), chance_of_enough(9, 10, 1.0)
    (1.0, 0.0)
    """
    if pours < vessels or good_share >= 1.0:
        return float(pours >= vessels)
    from scipy.special import betaln, gammaln

    good, lost = CASTINGS_SEEN * good_share, CASTINGS_SEEN * (1.0 - good_share)
    k = np.arange(pours - vessels + 1.0)
    ways = gammaln(pours + 1.0) - gammaln(k + 1.0) - gammaln(pours - k + 1.0)
    return float(np.exp(ways + betaln(k + lost, pours - k + good) - betaln(lost, good)).sum())


def pours_for_order(vessels: int, shop: Shop, chance: float = GOOD_ENOUGH) -> int:
    """Return the fewest castings that give the vessels ordered with a chance.

    Parameters
    ----------
    vessels
        Good vessels ordered [count].
    shop
        Shares lost at demolding and after sealing.
    chance
        Chance that they give as many [-].

    Examples
    --------
    327 are enough for 300 only on average:

    >>> pours_for_order(300, Shop(reject=0.08))
    341
    """
    return _fewest(vessels, (1.0 - shop.reject) * (1.0 - shop.finish_reject), chance)


@lru_cache(maxsize=4096)
def _fewest(vessels: int, good_share: float, chance: float) -> int:
    if vessels <= 0 or good_share >= 1.0:
        return max(0, vessels)

    def enough(pours: int) -> bool:
        return chance_of_enough(pours, vessels, good_share) >= chance

    most = whole_up(vessels / good_share)
    while not enough(most):
        most += 1 + most // 16
    return vessels + bisect_left(range(vessels, most), True, key=enough)
