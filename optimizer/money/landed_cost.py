"""What a kilogram of a material really costs once it stands, usable, on the caster's shelf.

Of one kind at its usual order (`landed_price`), and of the packs of several kinds bought together.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from optimizer.errors import Fault
from optimizer.job import Price
from optimizer.jobfile.keys import range_faults

_DUST = 1e-9


@dataclass(frozen=True)
class Landed:
    """Landed price of a material and what it is made of.

    Attributes
    ----------
    per_usable_kg : float
        Money for one kilogram that ends in a mix [currency/kg].
    parts : Mapping[str, float]
        ``goods``, ``tax``, ``freight``, ``trip`` and ``lost``, each per usable kilogram
        [currency/kg]; they add up to `per_usable_kg`.
    packs : float
        Packs of the order the price holds for [count].
    pack_price : float
        Price of one pack in that order, before tax [currency].
    """

    per_usable_kg: float
    parts: Mapping[str, float]
    packs: float
    pack_price: float


def pack_price(price: Price, packs: float) -> float:
    """Return the price of one pack, before tax, in an order of `packs` packs [currency].

    Examples
    --------
    >>> steps = Price(pack=22.68, price=14.0, breaks=((10, 13.5), (20, 13.0)))
    >>> [pack_price(steps, packs) for packs in (9, 10, 25)]
    [14.0, 13.5, 13.0]
    """
    reached = [each for start, each in price.breaks if packs >= start]
    return reached[-1] if reached else price.price


def landed_price(price: Price, wage: float, packs: float | None = None) -> Landed:
    """Return what one usable kilogram costs at the shelf.

    Parameters
    ----------
    price : Price
        Pack, price, tax, freight, trip, price breaks and loss.
    wage : float
        Cost of an hour spent fetching it [currency/h].
    packs : float | None
        Packs bought at once [count]; None takes `Price.packs_per_order`.

    Notes
    -----
    Tax is a fraction of the goods' price before tax, not of freight. The loss is a fraction of the
    bought mass, so everything paid is divided by (1 - lost), not multiplied by (1 + lost).

    Examples
    --------
    A 25 kg bag at 40.00, 20 % tax on the price, 10.00 freight, 4 % of the bag lost: 58.00 for 24 kg.

    >>> landed_price(Price(pack=25, price=40, tax=0.2, freight=10, lost=0.04), wage=20).per_usable_kg
    2.416...
    """
    count = price.packs_per_order if packs is None else packs
    mass = count * price.pack
    each = pack_price(price, count)
    paid = {
        "goods": each / price.pack,
        "tax": price.tax * each / price.pack,
        "freight": price.freight / mass + price.freight_per_kg,
        "trip": (price.trip_distance * price.trip_rate + price.trip_hours * wage) / mass,
    }
    total = sum(paid.values())
    per_usable = total / (1.0 - price.lost)
    return Landed(per_usable, {**paid, "lost": per_usable - total}, count, each)


def check_price(price: Price, where: str = "price") -> list[Fault]:
    """Return every fault of one price record, each with its repair; an empty list when it is sound.

    Parameters
    ----------
    price : Price
        The record to look at.
    where : str
        Place named in the faults, such as ``job.toml:prices.gypsum_cement``.

    Examples
    --------
    >>> [fault.where for fault in check_price(Price(pack=25, price=40, breaks=((10, 9.0), (5, 9.5))))]
    ['price.breaks']
    """
    return [*range_faults(price, where), *_break_faults(price.breaks, f"{where}.breaks")]


def _break_faults(breaks: tuple[tuple[float, float], ...], where: str) -> list[Fault]:
    starts = [start for start, _ in breaks]
    faults = []
    if any(later <= sooner for sooner, later in itertools.pairwise(starts)):
        repair = "Sort the price breaks by packs, fewest first, each number of packs once."
        faults.append(Fault(where, f"{starts}", "packs in ascending order", repair))
    if any(start < 1 or each < 0 for start, each in breaks):
        repair = "Give each break as packs from 1 up and the price of one pack."
        faults.append(Fault(where, f"{list(breaks)}", "packs 1 or more, price 0 or more", repair))
    return faults


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
