"""What whole packs leave over after an order: how much, what it cost, and until when it keeps."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

from optimizer.job_inputs import Price
from optimizer.money.landed_cost import landed_price
from optimizer.money.purchase import Purchase

_CRUMB = 0.05
"""Rest of a pack not worth a word [kg]: what clings to a bag."""


@dataclass(frozen=True)
class Leftover:
    """One material that is left over.

    Attributes
    ----------
    material : str
        Material.
    mass : float
        Usable mass left over from the shelf and the packs bought [kg].
    worth : float
        Its landed price in the packs bought, or in the usual order when none are [currency].
    keeps_until : datetime.date | None
        Last day of its shelf life, counted from the start of casting; None when none is stated.
    spoils : bool
        True when the shelf life ends before the last casting: then it does not even last the order.
    """

    material: str
    mass: float
    worth: float
    keeps_until: datetime.date | None
    spoils: bool


def leftovers(
    purchase: Purchase,
    prices: Mapping[str, Price],
    wage: float,
    start: datetime.date,
    last_cast: datetime.date | None,
) -> tuple[Leftover, ...]:
    """Return what is left over of each material, 50 g and more.

    Parameters
    ----------
    purchase : Purchase
        Packs bought, stock used and mass left.
    prices : Mapping[str, Price]
        Offer by material.
    wage : float
        Cost of an hour on the road [currency/h].
    start, last_cast : datetime.date
        First and last day of casting; packs are taken to be bought for the first.

    Examples
    --------
    Three bags for 62 kg leave 13 kg of 1.60 a kilogram, which keep to the end of the year.

    >>> from optimizer.money.purchase import buy_bags
    >>> offers = {"gypsum_cement": Price(pack=25, price=40, shelf_life=24)}
    >>> bought, day = buy_bags({"gypsum_cement": 62.0}, offers), datetime.date(2026, 12, 7)
    >>> left = leftovers(bought, offers, 20.0, day, day)[0]
    >>> left.mass, round(left.worth, 2), str(left.keeps_until), left.spoils
    (13.0, 20.8, '2026-12-31', False)
    """
    return tuple(
        _leftover(name, mass, purchase.packs(name), prices[name], wage, start, last_cast)
        for name, mass in purchase.left.items()
        if mass >= _CRUMB
    )


def _leftover(
    name: str,
    mass: float,
    packs: int,
    price: Price,
    wage: float,
    start: datetime.date,
    last_cast: datetime.date | None,
) -> Leftover:
    worth = mass * landed_price(price, wage, packs or None).per_usable_kg
    if price.shelf_life is None:
        return Leftover(name, mass, worth, None, spoils=False)
    until = start + datetime.timedelta(days=int(price.shelf_life))
    return Leftover(name, mass, worth, until, spoils=last_cast is not None and until < last_cast)
