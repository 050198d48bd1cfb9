"""Whole bags to buy for a need: the cheapest packs over price breaks, stock, freight and trips.

The shelf comes first. What is short is a whole choice of packs, breaks and deliveries, made
by an integer model; the money shown is then added up from the packs alone.

Columns of the model: packs bought of each offer at each price break (whole), whether that break is the one
reached, and for each delivery its freight, its trip and whether its freight falls away. The least and the
most packs of a break tie the first two together. A proved optimum is asked for, and the coverage is checked
again in whole packs.

Whole packs leave something over: how much, what it cost, and until when it keeps (`leftovers`).
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from optimizer.errors import Fault, FileFaults, VesselblendError
from optimizer.job import Price, Shop
from optimizer.money.capacity import pours_for_order, whole_down, whole_up
from optimizer.money.landed_cost import (
    Bags,
    delivery_of,
    landed_price,
    purchase_money,
    trip_money,
    usable_mass,
)
from optimizer.solvers.linear import LinearAnswer, LinearModel, LinearRow, solve_linear
from optimizer.solvers.status import Status

MILLIGRAM = 1e-6
"""Mass that no purchase is made for [kg]."""

_GAP = 1e-7
_SOONER = 1e-9

_CRUMB = 0.05
"""Rest of a pack not worth a word [kg]: what clings to a bag."""


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

    Packs, stock used, mass left over and the money by part.

    Parameters
    ----------
    needs_kg : Mapping[str, float]
        Usable mass needed, by material [kg].
    prices : Mapping[str, Price | Sequence[Price]]
        The offer for each material, or several: other pack sizes, other sellers. Materials of one named
        `Price.supplier` come in one delivery, at the highest freight and trip that seller's offers state.
    wage : float
        Cost of an hour on the road [currency/h].

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

    Most mass in one filled cavity, before waste, by material [kg].

    Parameters
    ----------
    prices : Mapping[str, Price]
        Materials; only those that state a `stock` are listed.
    vessels : int
        Good vessels to make [count].
    shop : Shop
        Rejects and waste, which draw on the same shelf.

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


@dataclass(frozen=True)
class _Step:
    """One price break of one offer: from `least` to `most` packs at `price` each."""

    least: int
    most: int
    price: float


@dataclass(frozen=True)
class _Line:
    """One offer in the model: its price breaks and the columns that hold packs and the break reached."""

    material: str
    offer: Price
    delivery: str
    steps: tuple[_Step, ...]
    packs: tuple[str, ...]
    taken: tuple[str, ...]

    @property
    def used(self) -> dict[str, float]:
        """Coefficients of "anything is bought of this offer"."""
        return dict.fromkeys(self.taken, 1.0)

    @property
    def goods(self) -> dict[str, float]:
        """Coefficients of its price before tax."""
        return {column: step.price for column, step in zip(self.packs, self.steps, strict=True)}


@dataclass
class _Draft:
    """Columns and rows of the model while they are put together."""

    upper: dict[str, float] = field(default_factory=dict)
    whole: dict[str, bool] = field(default_factory=dict)
    cost: dict[str, float] = field(default_factory=dict)
    rows: list[LinearRow] = field(default_factory=list)

    def column(self, name: str, upper: float = math.inf, *, whole: bool = True, cost: float = 0.0) -> str:
        self.upper[name], self.whole[name], self.cost[name] = upper, whole, cost
        return name

    def at_least(self, name: str, coefficients: Mapping[str, float], lower: float = 0.0) -> None:
        self.rows.append(LinearRow(name, coefficients, lower=lower))

    def model(self) -> LinearModel:
        return LinearModel(
            "bags",
            tuple(self.upper),
            np.zeros(len(self.upper)),
            np.array(list(self.upper.values())),
            np.array(list(self.cost.values())),
            tuple(self.rows),
            np.array(list(self.whole.values())),
        )


def cheapest_bags(
    offers: Sequence[tuple[str, Price]], short: Mapping[str, float], wage: float
) -> tuple[Bags, ...]:
    """Return the cheapest packs that cover what is short.

    Parameters
    ----------
    offers : Sequence[tuple[str, Price]]
        (material, offer); at least one for each material that is short.
    short : Mapping[str, float]
        Usable mass to buy, by material [kg].
    wage : float
        Cost of an hour on the road [currency/h].

    Raises
    ------
    VesselblendError
        When the solver gives no proven answer, or one that does not cover the need.
    """
    draft = _Draft()
    ceiling = _money_of_a_plain_purchase(offers, short, wage)
    lines = [
        _add_line(draft, place, material, offer, _steps(offer, short[material], ceiling))
        for place, (material, offer) in enumerate(offers)
    ]
    for place, (material, mass) in enumerate(short.items()):
        covers = {
            column: usable_mass(line.offer)
            for line in lines
            if line.material == material
            for column in line.packs
        }
        draft.at_least(f"need_{place}", covers, mass)
    for place, key in enumerate(dict.fromkeys(line.delivery for line in lines)):
        _add_delivery(draft, place, [line for line in lines if line.delivery == key], wage)
    answer = solve_linear(draft.model(), gap=_GAP)
    if answer.status is not Status.OPTIMAL:
        raise VesselblendError(f"no proven answer to which bags to buy: {answer.status.value}")
    return _read(answer, lines, short)


def _add_line(draft: _Draft, place: int, material: str, offer: Price, steps: Sequence[_Step]) -> _Line:
    carried = offer.freight_per_kg * offer.pack
    packs, taken = [], []
    for number, step in enumerate(steps):
        tag = f"{place}_{number}"
        cost = step.price * (1.0 + offer.tax) + carried
        count = draft.column(f"packs_{tag}", step.most, cost=cost)
        chosen = draft.column(f"taken_{tag}", 1.0)
        draft.at_least(f"least_{tag}", {count: 1.0, chosen: -step.least})
        draft.at_least(f"most_{tag}", {count: -1.0, chosen: step.most})
        packs.append(count)
        taken.append(chosen)
    draft.at_least(f"one_break_{place}", dict.fromkeys(taken, -1.0), -1.0)
    key = delivery_of(offer, place)
    return _Line(material, offer, key, tuple(steps), tuple(packs), tuple(taken))


def _add_delivery(draft: _Draft, place: int, lines: Sequence[_Line], wage: float) -> None:
    freight = draft.column(f"freight_{place}", whole=False, cost=1.0)
    trip = draft.column(f"trip_{place}", whole=False, cost=1.0)
    free = draft.column(f"free_{place}", 1.0)
    goods = {column: price for line in lines for column, price in line.goods.items()}
    stating = [line for line in lines if line.offer.free_freight_from is not None]
    states = {column: 1.0 for line in stating for column in line.taken}
    draft.at_least(f"free_only_if_stated_{place}", {**states, free: -1.0})
    for number, line in enumerate(stating):
        reach = (line.offer.free_freight_from or 0.0) - _SOONER
        draft.at_least(
            f"free_from_{place}_{number}", {**goods, **_times(-reach, line.used), free: -reach}, -reach
        )
    for number, line in enumerate(lines):
        flat, fetched = line.offer.freight, trip_money(line.offer, wage)
        draft.at_least(f"freight_{place}_{number}", {freight: 1.0, free: flat, **_times(-flat, line.used)})
        draft.at_least(f"trip_{place}_{number}", {trip: 1.0, **_times(-fetched, line.used)})


def _times(factor: float, coefficients: Mapping[str, float]) -> dict[str, float]:
    return {column: factor * value for column, value in coefficients.items()}


def _steps(offer: Price, mass: float, ceiling: float) -> tuple[_Step, ...]:
    """Return the price breaks that can matter, each up to the packs a plain purchase's money could buy."""
    starts = [1, *(max(1, math.ceil(start)) for start, _ in offer.breaks)]
    each = [offer.price, *(price for _, price in offer.breaks)]
    ends = [*(start - 1 for start in starts[1:]), math.inf]
    most = _most_packs(offer, starts[-1], min(each), mass, ceiling)
    return tuple(
        _Step(start, int(min(end, most)), price)
        for start, end, price in zip(starts, ends, each, strict=True)
        if start <= min(end, most)
    )


def _most_packs(offer: Price, last_break: int, cheapest: float, mass: float, ceiling: float) -> int:
    needed = whole_up(mass / usable_mass(offer))
    least_money = cheapest * (1.0 + offer.tax) + offer.freight_per_kg * offer.pack
    if least_money == 0.0:
        return max(needed, last_break)
    to_free_freight = whole_up((offer.free_freight_from or 0.0) / cheapest) if cheapest else 0
    affordable = max(needed, whole_down(ceiling / least_money))
    return min(max(needed, last_break, to_free_freight), affordable)


def _money_of_a_plain_purchase(
    offers: Sequence[tuple[str, Price]], short: Mapping[str, float], wage: float
) -> float:
    """Return what covers the need from each material's first offer: no better purchase costs more."""
    first = dict(reversed(offers))
    plain = [
        Bags(name, whole_up(mass / usable_mass(first[name])), first[name]) for name, mass in short.items()
    ]
    return sum(purchase_money(plain, wage).values())


def _read(answer: LinearAnswer, lines: Sequence[_Line], short: Mapping[str, float]) -> tuple[Bags, ...]:
    counts = [round(sum(answer[column] for column in line.packs)) for line in lines]
    bags = tuple(
        Bags(line.material, packs, line.offer) for line, packs in zip(lines, counts, strict=True) if packs
    )
    for material, mass in short.items():
        if sum(line.usable for line in bags if line.material == material) < mass - MILLIGRAM:
            raise VesselblendError(f"the bags found do not cover {material}")
    return bags


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
