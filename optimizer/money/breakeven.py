"""Break-even order sizes between two blends.

Two prices meet: a blend that is dear in itself but fast needs few molds, a cheap slow one needs many. With
whole molds and molds already owned the cheaper blend can change more than once, so every size is counted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from optimizer.job import Shop
from optimizer.money.mold_turns import molds_needed, pours_needed
from optimizer.money.vessel_cost import order_charge

_CENT_DUST = 1e-9


@dataclass(frozen=True)
class OrderLine:
    """One blend as it is compared over order sizes.

    Attributes
    ----------
    name : str
        Name of the blend.
    per_vessel : float
        Cost of one good vessel without any mold [currency].
    turns : int
        Castings of one mold on a working day [count].
    casting_days : int
        Working days left for casting [count].
    """

    name: str
    per_vessel: float
    turns: int
    casting_days: int


@dataclass(frozen=True)
class Switch:
    """From `vessels` on, the blend `cheaper` costs less, until the next switch."""

    vessels: int
    cheaper: str


def order_money(line: OrderLine, vessels: int, shop: Shop) -> float:
    """Return the cost of an order of `vessels`, the molds bought for it charged to it [currency].

    Parameters
    ----------
    line : OrderLine
        The blend.
    vessels : int
        Good vessels ordered [count].
    shop : Shop
        Molds owned, their price and life, and rejects.
    """
    if vessels == 0:
        return 0.0
    if line.turns < 1:
        return math.inf
    pours = pours_needed(vessels, shop.reject, shop.finish_reject)
    charge = order_charge(vessels, molds_needed(pours, line.casting_days, line.turns), shop)
    worn = charge.per_casting / ((1.0 - shop.reject) * (1.0 - shop.finish_reject))
    return vessels * (line.per_vessel + worn + charge.per_good_vessel)


def break_even(first: OrderLine, second: OrderLine, shop: Shop, most: int = 10_000) -> tuple[Switch, ...]:
    """Return which of two blends is the cheaper at which order size, molds bought charged to the order.

    Parameters
    ----------
    first, second : OrderLine
        The blends.
    shop : Shop
        Molds owned, their price and life, and rejects.
    most : int
        Largest order looked at [count].

    Returns
    -------
    tuple[Switch, ...]
        The cheaper blend from one vessel on, then each size at which the other becomes the cheaper;
        empty when they cost the same throughout. Labor, mixer and shelf do not enter: they bear on dates.

    Examples
    --------
    With 28 molds of its own the slow blend is the cheaper up to the size that needs a 29th.

    >>> slow, fast = OrderLine("slow", 7.0, 1, 12), OrderLine("fast", 7.1, 5, 12)
    >>> break_even(slow, fast, Shop(molds=28, reject=0.0), most=345)
    (Switch(vessels=1, cheaper='slow'),)
    """
    switches: list[Switch] = []
    for vessels in range(1, most + 1):
        a, b = order_money(first, vessels, shop), order_money(second, vessels, shop)
        if math.isclose(a, b, rel_tol=_CENT_DUST):
            continue
        cheaper = first.name if a < b else second.name
        if not switches or switches[-1].cheaper != cheaper:
            switches.append(Switch(vessels, cheaper))
    return tuple(switches)
