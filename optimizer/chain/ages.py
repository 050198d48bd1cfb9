"""How unsure the demold time is: the clock behind it is drawn, the time itself is not linearized.

Demold time has a long tail. Where strength levels off just above what demolding needs, a little less of it
turns half an hour into half a day or into never, and no straight line through the best value sees that.
The sums behind the time (logs of both sets, of the gain rate and of strength over its need, and the split
of the strength) do follow straight lines.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit

from optimizer.chain.draws import COUNT, SHARES, drawn_sums, points_of
from optimizer.chain.timing import LONGEST, Clock, first_strong_age, wet_strength_at

if TYPE_CHECKING:
    from optimizer.chain.predict import Cast
    from optimizer.chain.spreads import Around

__all__ = ["Ages", "ages_of"]

Array = NDArray[np.float64]

_FAR: Final = 40.0
"""Log odds, and logs of strength, that stand for "all" or "none" inside the arithmetic."""

_STEP: Final = 0.05
"""Least step of a reserve above the best value where that is not enough [ln]."""


@dataclass(frozen=True)
class Ages:
    """Equally likely draws of one mix's clock, strengths over what demolding needs.

    Attributes
    ----------
    center : Clock
        At best values, each of shape (1,).
    drawn : Clock
        The draws, each of shape (draws,).
    floor : float
        The shop never demolds before this age [min].
    """

    center: Clock
    drawn: Clock
    floor: float

    @cached_property
    def strong(self) -> Array:
        """First ages with the strength that demolding needs, infinity for never, shape (draws,) [min]."""
        return first_strong_age(self.drawn, np.ones(COUNT), self.drawn.initial)

    def range(self) -> tuple[float, float]:
        """Return the 5 % and the 95 % point of the demold time [min]; infinity stands for never."""
        demold = np.maximum(np.maximum(self.strong, self.drawn.final), self.floor)
        low, high = np.exp(points_of(np.log(demold)))
        return float(low), float(high)

    def chance(self, age: float) -> float:
        """Return the chance to be strong enough at `age` [min]."""
        return 1.0 - float(np.interp(0.0, np.sort(_row(self.drawn, age)), SHARES, left=0.0, right=1.0))

    def lowest(self, age: float, confidence: float) -> float:
        """Return the log of strength over need that is reached at `age` [min] with `confidence`."""
        return points_of(_row(self.drawn, age), (1.0 - confidence,))[0]

    def reserve(self, age: float, confidence: float) -> float:
        """Return what best strength over need [ln] must be at `age` [min] to be enough with `confidence`.

        Notes
        -----
        Where a mix has just enough, two answers agree: how far its best value lies above the one reached
        with `confidence`, and its best value at the age by which it is strong with `confidence`. A mix that
        is made stronger or quicker moves them in opposite ways, so their mean leads to it in few steps;
        not above what the mix ever reaches, unless that itself is too little.
        """
        best, low = self._best(age), self.lowest(age, confidence)
        later = min(float(np.exp(points_of(np.log(self.strong), (confidence,))[0])), LONGEST)
        there = self._best(later) - min(self.lowest(later, confidence), 0.0)
        reserve = min((best - low + there) / 2.0, max(there, self._best(LONGEST)))
        return max(reserve, best + min(-low, _STEP)) if low < 0.0 else min(reserve, best)

    def _best(self, age: float) -> float:
        return float(_row(self.center, age)[0])


def ages_of(around: Around) -> Ages:
    """Draw the clock of one mix."""
    initial, final, rate, end, odds = drawn_sums(around, _sums).T
    share = expit(odds)
    clock = Clock(np.exp(initial), np.exp(np.maximum(final, initial)), np.exp(rate), end, share, 1.0 - share)
    center = around.center.clock
    center = replace(center, ln_end=center.ln_end - np.log(around.center.demold_need))
    return Ages(center, clock, around.center.bench.shop.demold_floor)


def _row(clock: Clock, age: float) -> Array:
    return np.log(np.maximum(wet_strength_at(clock, age), 1e-9))


def _sums(cast: Cast) -> Array:
    """Return the sums behind the demold time of each mix, shape (..., mixes, 5), see the module's head."""
    clock = cast.clock
    parts = (
        np.log(clock.initial),
        np.log(clock.final),
        np.log(clock.rate),
        np.maximum(clock.ln_end - np.log(cast.demold_need), -_FAR),
        np.clip(logit(clock.gypsum_weight), -_FAR, _FAR),
    )
    return np.stack(np.broadcast_arrays(*parts), axis=-1)
