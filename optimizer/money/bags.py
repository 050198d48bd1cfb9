"""Packs of one kind, and what a purchase of several kinds costs at the door."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from optimizer.job_inputs import Price
from optimizer.money.landed_cost import pack_price

_DUST = 1e-9


@dataclass(frozen=True)
class Bags:
    """Packs of one kind to buy.

    Attributes
    ----------
    material : str
        Material in them.
    packs : int
        Packs to buy [count].
    offer : Price
        The offer they are bought at.
    """

    material: str
    packs: int
    offer: Price

    @property
    def usable(self) -> float:
        """Mass that ends in mixes [kg]."""
        return self.packs * usable_mass(self.offer)

    @property
    def goods(self) -> float:
        """Price of the packs before tax [currency]."""
        return self.packs * pack_price(self.offer, self.packs)


def usable_mass(offer: Price) -> float:
    """Return what one pack gives to mixes [kg]."""
    return offer.pack * (1.0 - offer.lost)


def trip_money(offer: Price, wage: float) -> float:
    """Return the cost of one trip to fetch an offer [currency]."""
    return offer.trip_distance * offer.trip_rate + offer.trip_hours * wage


def delivery_of(offer: Price, place: int) -> str:
    """Return the key of the delivery an offer comes in: its seller, or its own `place` in the list."""
    return offer.supplier or f"offer {place}"


def purchase_money(bags: Sequence[Bags], wage: float = 0.0) -> Mapping[str, float]:
    """Return the money of a purchase by part: ``goods``, ``tax``, ``freight`` and ``trip`` [currency].

    One seller's packs come in one delivery, at the highest freight and trip their offers state. That
    freight falls away once the delivery's goods reach the highest `Price.free_freight_from` among them.

    Examples
    --------
    >>> purchase_money([Bags("sand", 4, Price(pack=25, price=5, tax=0.2, freight=9, freight_per_kg=0.1))])
    {'goods': 20.0, 'tax': 4.0, 'freight': 19.0, 'trip': 0.0}
    """
    deliveries: dict[str, list[Bags]] = {}
    for place, line in enumerate(bags):
        deliveries.setdefault(delivery_of(line.offer, place), []).append(line)
    by_mass = math.fsum(line.packs * line.offer.pack * line.offer.freight_per_kg for line in bags)
    return {
        "goods": math.fsum(line.goods for line in bags),
        "tax": math.fsum(line.goods * line.offer.tax for line in bags),
        "freight": by_mass + math.fsum(_flat_freight(lines) for lines in deliveries.values()),
        "trip": math.fsum(
            max(trip_money(line.offer, wage) for line in lines) for lines in deliveries.values()
        ),
    }


def _flat_freight(lines: Sequence[Bags]) -> float:
    stated = [line.offer.free_freight_from for line in lines if line.offer.free_freight_from is not None]
    if stated and math.fsum(line.goods for line in lines) >= max(stated) - _DUST:
        return 0.0
    return max(line.offer.freight for line in lines)
