"""What a working day can cast with one blend: turns of a mold, molds, labor, mixer, rack, and the calendar.

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

import datetime
import math
from bisect import bisect_left
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, Literal, cast

import numpy as np
from numpy.typing import NDArray

from optimizer.job import Shop
from optimizer.money.request import Candidate

DAY = 1440.0
"""Minutes of a day [min]."""

_ROUNDING = 1e-9

CASTINGS_SEEN: Final = 100.0
"""Castings that a stated share of rejects is taken to rest on [count]; assumption."""

GOOD_ENOUGH: Final = 0.9
"""Chance with which an order's castings give the vessels ordered [-]; assumption."""

RESOURCES = ("molds", "labor", "mixer", "shelf", "drying")
"""What can hold an order back, by name."""


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

    Turns [count]; 0 when the casting does not leave its mold in time for a daily turn.

    Parameters
    ----------
    demold_time : float
        From powder meeting water to leaving the mold [min].
    shop : Shop
        Shift, minutes of preparation, and whether molds may stand full overnight.

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

    (turns [count], latest demold time [min]), fewest turns first; empty when no turn fits.

    Parameters
    ----------
    shop : Shop
        Shift, preparation, overnight rule; the shop's own floor on demolding ends the list.
    longest : float
        Demold time the job allows [min]; no edge lies beyond it.

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


@dataclass(frozen=True)
class Capacity:
    """The bounds of a working day, and the minutes and days a vessel takes.

    Attributes
    ----------
    day_molds, night_molds : float
        Castings that leave their molds within the shift, and those left in them overnight [count].
    labor : float
        Minutes of work, all people together [min].
    mixer : float
        Castings that the day's mixes fill [count].
    shelf : float
        Places on the drying rack [count].
    cast_minutes, seal_minutes, pack_minutes : float
        Work on one casting, on sealing one vessel (all coats) and on packing one [min].
    shelf_days, drying_days : int
        Days after its casting on which a vessel leaves the drying rack if no work waits, its seal cured, and
        on whose morning it is dry [calendar d].
    seal_days, test_burn_days : int
        Days to a cured seal [calendar d] and days of test burns [working d].
    """

    day_molds: float
    night_molds: float
    labor: float
    mixer: float
    shelf: float
    cast_minutes: float
    seal_minutes: float
    pack_minutes: float
    shelf_days: int
    drying_days: int
    seal_days: int
    test_burn_days: int


def molds_per_mix(working_window: float, shop: Shop) -> int:
    """Return the molds one mix fills: as many as the bucket, the working window and the molds allow.

    Examples
    --------
    A window of 9 min, 5 of them spent mixing, leaves time for four molds at a minute each.

    >>> molds_per_mix(9.0, Shop(mixing=5.0, pour_minutes=1.0, molds_per_mix=6, molds=10))
    4
    """
    time = working_window - shop.mixing
    if time < 0.0:
        return 0
    return whole_down(min(shop.molds_per_mix, _ratio(time, shop.pour_minutes), shop.molds))


def capacity(candidate: Candidate, shop: Shop) -> Capacity:
    """Return what a working day can do with this blend in this shop.

    Parameters
    ----------
    candidate : Candidate
        Demold time, working window, drying time and coats.
    shop : Shop
        Molds at work, people, shift, mixes and shelf.
    """
    turns = turns_per_day(candidate.demold_time, shop)
    by_day = min(turns, turns_per_day(candidate.demold_time, replace(shop, overnight=False)))
    dry = _morning_dry(candidate.drying_time, shop)
    cure = shop.seal_days if candidate.coats > 0 else 0
    return Capacity(
        day_molds=shop.molds * by_day,
        night_molds=shop.molds * (turns - by_day),
        labor=shop.shift * shop.people,
        mixer=shop.mixes_per_day * molds_per_mix(candidate.working_window, shop),
        shelf=shop.shelf_places,
        cast_minutes=shop.cast_minutes,
        seal_minutes=shop.seal_minutes * candidate.coats,
        pack_minutes=shop.pack_minutes,
        shelf_days=dry + cure,
        drying_days=dry,
        seal_days=cure,
        test_burn_days=shop.test_burn_days,
    )


def _morning_dry(drying_time: float, shop: Shop) -> int:
    """Return the days after casting on whose morning a vessel is dry, drying from the end of a shift."""
    return max(1, whole_up(drying_time + min(shop.shift, DAY) / DAY))


def day_rates(bounds: Capacity, shop: Shop) -> Mapping[str, float]:
    """Return the castings a day that each resource alone could keep up [count/d].

    Labor counts every stage of a casting, for sealing and packing take their minutes from the same
    shift; vessels lost on the way need no more of it. A place on the shelf is taken from the day of casting
    until the seal has cured, in calendar days; days off between only lengthen that.
    """
    kept = 1.0 - shop.reject
    sold = kept * (1.0 - shop.finish_reject)
    minutes = bounds.cast_minutes + kept * bounds.seal_minutes + sold * bounds.pack_minutes
    return {
        "molds": bounds.day_molds + bounds.night_molds,
        "labor": _ratio(bounds.labor, minutes),
        "mixer": bounds.mixer,
        "shelf": bounds.shelf / bounds.shelf_days,
    }


def without(bounds: Capacity, resource: str) -> Capacity:
    """Return the same day with one of `RESOURCES` no longer holding anything back."""
    return _LIFTED[resource](bounds)


def _ratio(amount: float, each: float) -> float:
    return math.inf if each == 0.0 else amount / each


_LIFTED: Final[Mapping[str, Callable[[Capacity], Capacity]]] = {
    "molds": lambda bounds: replace(bounds, day_molds=math.inf),
    "labor": lambda bounds: replace(bounds, labor=math.inf),
    "mixer": lambda bounds: replace(bounds, mixer=math.inf),
    "shelf": lambda bounds: replace(bounds, shelf=math.inf),
    "drying": lambda bounds: replace(bounds, drying_days=1, shelf_days=1 + bounds.seal_days),
}


@lru_cache(maxsize=64)
def _calendar(working_days: tuple[int, ...], holidays: tuple[datetime.date, ...]) -> np.busdaycalendar:
    mask = [day in working_days for day in range(7)]
    return np.busdaycalendar(weekmask=mask, holidays=np.array(holidays, dtype="datetime64[D]"))


def _of(shop: Shop) -> np.busdaycalendar:
    return _calendar(shop.working_days, shop.holidays)


def next_working(day: datetime.date, shop: Shop) -> datetime.date:
    """Return `day` when people work on it, else the first later day on which they do.

    Examples
    --------
    >>> next_working(datetime.date(2026, 12, 5), Shop())
    datetime.date(2026, 12, 7)
    """
    return shift_working(day, 0, shop)


def shift_working(day: datetime.date, count: int, shop: Shop) -> datetime.date:
    """Return the working day `count` working days after `day`, or before it when `count` is negative.

    A day without work counts as the next working day, or as the one before when `count` is negative.

    Examples
    --------
    >>> shift_working(datetime.date(2026, 12, 4), 1, Shop())
    datetime.date(2026, 12, 7)
    """
    roll: Literal["forward", "backward"] = "forward" if count >= 0 else "backward"
    moved = np.busday_offset(np.datetime64(day), count, roll=roll, busdaycal=_of(shop))
    return cast(datetime.date, moved.item())


def working_days_between(first: datetime.date, last: datetime.date, shop: Shop) -> int:
    """Return the working days from `first` to `last`, both counted; 0 when `last` comes first.

    Examples
    --------
    >>> working_days_between(datetime.date(2026, 12, 1), datetime.date(2026, 12, 8), Shop())
    6
    """
    if last < first:
        return 0
    after = np.datetime64(last) + np.timedelta64(1, "D")
    return int(np.busday_count(np.datetime64(first), after, busdaycal=_of(shop)))


def working_flags(first: datetime.date, count: int, shop: Shop) -> list[bool]:
    """Return for each of `count` calendar days from `first` on whether people work on it.

    Examples
    --------
    >>> working_flags(datetime.date(2026, 12, 4), 4, Shop())
    [True, False, False, True]
    """
    days = np.datetime64(first) + np.arange(count)
    return cast(list[bool], np.is_busday(days, busdaycal=_of(shop)).tolist())
