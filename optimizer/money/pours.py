"""How many castings an order takes, so that enough of them come good with a stated chance.

Each casting comes good with the same chance, so the good ones are binomial. The share itself is known no
better than from a hundred castings (assumption: about what a studio has seen of one vessel), so it follows
the beta distribution of that many, and the castings lost a beta-binomial one (Skellam 1948, from memory).
"""

from __future__ import annotations

from bisect import bisect_left
from functools import lru_cache
from typing import Final

import numpy as np

from optimizer.job_inputs import Shop
from optimizer.money.mold_turns import whole_up

CASTINGS_SEEN: Final = 100.0
"""Castings that a stated share of rejects is taken to rest on [count]; assumption."""

GOOD_ENOUGH: Final = 0.9
"""Chance with which an order's castings give the vessels ordered [-]; assumption."""


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
