"""Whole bags to buy for a need: the cheapest packs over price breaks, stock, freight and trips.

The shelf comes first. What is short is a whole choice of packs, breaks and deliveries, which
`optimizer.money.bag_model` makes; the money shown is then added up from the packs alone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from optimizer.errors import Fault, FileFaults
from optimizer.job_inputs import Price, Shop
from optimizer.money.bag_model import MILLIGRAM, cheapest_bags
from optimizer.money.bags import Bags, purchase_money
from optimizer.money.pours import pours_for_order


@dataclass(frozen=True)
class Purchase:
    """What to buy, what to take from the shelf, and what it costs.

    Attributes
    ----------
    bags : tuple[Bags, ...]
        Packs to buy, by material.
    from_stock : Mapping[str, float]
        Mass taken from the shelf, by material [kg].
    left : Mapping[str, float]
        Usable mass left over from stock and packs together, by material [kg].
    parts : Mapping[str, float]
        ``goods``, ``tax``, ``freight`` and ``trip`` of the whole purchase [currency].
    """

    bags: tuple[Bags, ...]
    from_stock: Mapping[str, float]
    left: Mapping[str, float]
    parts: Mapping[str, float]

    @property
    def total(self) -> float:
        """Money to pay now [currency]."""
        return math.fsum(self.parts.values())

    def packs(self, material: str) -> int:
        """Return the packs of a material bought, of every size together [count]."""
        return sum(line.packs for line in self.bags if line.material == material)


def buy_bags(
    needs_kg: Mapping[str, float], prices: Mapping[str, Price | Sequence[Price]], wage: float = 0.0
) -> Purchase:
    """Return the cheapest whole packs that cover a need beyond what stands on the shelf.

    Parameters
    ----------
    needs_kg : Mapping[str, float]
        Usable mass needed, by material [kg].
    prices : Mapping[str, Price | Sequence[Price]]
        The offer for each material, or several: other pack sizes, other sellers. Materials of one named
        `Price.supplier` come in one delivery, at the highest freight and trip that seller's offers state.
    wage : float
        Cost of an hour on the road [currency/h].

    Returns
    -------
    Purchase
        Packs, stock used, mass left over and the money by part.

    Raises
    ------
    FileFaults
        When a material is short and has no price.

    Examples
    --------
    62 kg needed and 10 kg on the shelf: three bags of 25 kg.

    >>> bought = buy_bags({"gypsum_cement": 62.0}, {"gypsum_cement": Price(pack=25, price=40, stock=10)})
    >>> bought.packs("gypsum_cement"), bought.total, bought.left["gypsum_cement"]
    (3, 120.0, 23.0)
    """
    offers = {name: _offers(prices.get(name, ())) for name in needs_kg}
    from_stock = {name: min(need, _stock(offers[name])) for name, need in needs_kg.items()}
    short = {name: need - from_stock[name] for name, need in needs_kg.items()}
    short = {name: mass for name, mass in short.items() if mass > MILLIGRAM}
    _refuse_unpriced(short, offers)
    choices = [(name, each) for name in short for each in offers[name]]
    bags = cheapest_bags(choices, short, wage) if short else ()
    left = {name: _stock(offers[name]) - from_stock[name] for name in needs_kg}
    for name, mass in short.items():
        left[name] += max(0.0, sum(line.usable for line in bags if line.material == name) - mass)
    return Purchase(bags, from_stock, left, purchase_money(bags, wage))


def stock_limits(prices: Mapping[str, Price], vessels: int, shop: Shop) -> Mapping[str, float]:
    """Return how much of each material one cavity may take when an order is made from the shelf alone.

    Parameters
    ----------
    prices : Mapping[str, Price]
        Materials; only those that state a `stock` are listed.
    vessels : int
        Good vessels to make [count].
    shop : Shop
        Rejects and waste, which draw on the same shelf.

    Returns
    -------
    Mapping[str, float]
        Most mass in one filled cavity, before waste, by material [kg].

    Examples
    --------
    >>> shelf = {"gypsum_cement": Price(pack=25, price=40, stock=12.0), "sand": Price(pack=25, price=5)}
    >>> stock_limits(shelf, 25, Shop(reject=0.0, waste=0.2))
    {'gypsum_cement': 0.4}
    """
    drawn = pours_for_order(vessels, shop) * (1.0 + shop.waste)
    stocks = {name: price.stock for name, price in prices.items() if price.stock is not None}
    return {name: stock / drawn if drawn else math.inf for name, stock in stocks.items()}


def _offers(stated: Price | Sequence[Price]) -> tuple[Price, ...]:
    return (stated,) if isinstance(stated, Price) else tuple(stated)


def _stock(offers: Sequence[Price]) -> float:
    """Return what is on the shelf [kg]; every offer of a material speaks of the same shelf."""
    return max((offer.stock or 0.0 for offer in offers), default=0.0)


def _refuse_unpriced(short: Mapping[str, float], offers: Mapping[str, Sequence[Price]]) -> None:
    faults = [
        Fault(
            f"prices.{name}",
            "no price",
            "a pack and its price",
            f"Give the price of {name}, or {mass:.3g} kg more of it in stock.",
        )
        for name, mass in short.items()
        if not offers[name]
    ]
    if faults:
        raise FileFaults(faults)
