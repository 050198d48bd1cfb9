"""What is asked of an order plan: the order, the blends that could make it, and what is wrong with them."""

from __future__ import annotations

import datetime
import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from optimizer.errors import Fault
from optimizer.job import Price, Shop
from optimizer.jobfile.keys import range_faults
from optimizer.money.landed_cost import check_price

MOST_VESSELS = 1_000_000
"""Largest order that is planned [count]."""

_LAST_YEAR = 9900


@dataclass(frozen=True)
class Times:
    """What a blend takes in one draw of what is not known of it; as the fields of `Candidate`.

    Attributes
    ----------
    demold_time, drying_time, working_window, coats : float
        From powder meeting water to leaving the mold [min], drying [d], time to pour [min], coats of
        sealer [count]; infinite for never.
    """

    demold_time: float
    drying_time: float
    working_window: float
    coats: float


@dataclass(frozen=True)
class Candidate:
    """One blend as an order sees it.

    Attributes
    ----------
    name : str
        Name shown in the ranking.
    powders : Mapping[str, float]
        Powder in one filled cavity, before waste, by material [kg].
    demold_time : float
        From powder meeting water to leaving the mold [min].
    drying_time : float
        From demolding to constant mass [d].
    working_window : float
        From powder meeting water to the end of pouring [min].
    coats : float
        Coats of sealer [count].
    dry_mass : float
        One empty vessel at constant mass [g].
    admixtures : Mapping[str, float]
        Pigments and admixtures in one filled cavity, before waste, by material [kg].
    water : float
        Water in one filled cavity, before waste [kg].
    drawn : tuple[Times, ...]
        What the times and coats may be, equally likely; empty where they are known.
    never_cast : bool
        True for a blend of which one is to be cast and burned before the order.
    chance : float | None
        Chance that the blend holds all limits of the job [-]; None where nobody asked.
    sure : bool
        Whether that chance is the one asked for.
    beyond_best_values : Mapping[str, float]
        Money in one good vessel by part, on average over what is not known, less that at best values
        [currency].
    """

    name: str
    powders: Mapping[str, float]
    demold_time: float
    drying_time: float
    working_window: float
    coats: float
    dry_mass: float
    admixtures: Mapping[str, float] = field(default_factory=dict)
    water: float = 0.0
    drawn: tuple[Times, ...] = ()
    never_cast: bool = False
    chance: float | None = None
    sure: bool = True
    beyond_best_values: Mapping[str, float] = field(default_factory=dict)

    @property
    def materials(self) -> Mapping[str, float]:
        """Everything bought that goes into one filled cavity, by material [kg]."""
        return {**self.powders, **self.admixtures}

    def taking(self, times: Times) -> Candidate:
        """Return the blend as it is where it takes `times`."""
        return replace(self, **vars(times))


@dataclass(frozen=True)
class OrderRequest:
    """So many good vessels by a date, from one studio.

    Attributes
    ----------
    vessels : int
        Good vessels ordered [count].
    start : datetime.date
        First day on which casting may begin.
    due : datetime.date
        Last day on which the packed vessels may leave.
    shop : Shop
        Molds owned, people, hours, calendar and money rules.
    prices : Mapping[str, Price]
        Price and stock by material.
    may_buy_molds : bool
        False when the order must be made with the molds owned.
    """

    vessels: int
    start: datetime.date
    due: datetime.date
    shop: Shop
    prices: Mapping[str, Price] = field(default_factory=dict)
    may_buy_molds: bool = True


class _Amount(NamedTuple):
    """An amount of a blend; `above`: nothing at all is not enough."""

    name: str
    allowed: str
    repair: str
    above: bool = False

    def holds(self, value: float) -> bool:
        return (value > 0.0 if self.above else value >= 0.0) and math.isfinite(value)


_CANDIDATE = (
    _Amount(
        "demold_time", "more than 0 min", "Give the time from powder meeting water to demolding.", above=True
    ),
    _Amount("drying_time", "0 d or more", "Give the days from demolding to constant mass."),
    _Amount("working_window", "more than 0 min", "Give the time in which the mix pours.", above=True),
    _Amount("coats", "0 or more", "Give the coats of sealer, 0 for none."),
    _Amount("dry_mass", "more than 0 g", "Give the mass of one dry vessel.", above=True),
    _Amount("water", "0 kg or more", "Give the water in one cavity."),
)


def check_shop(shop: Shop) -> list[Fault]:
    """Return every fault of a shop record that an order plan or a cost would trip over.

    Examples
    --------
    >>> [fault.where for fault in check_shop(Shop(reject=1.0, shift=8.0, prep=10.0))]
    ['shop.reject', 'shop.shift']
    """
    return [*range_faults(shop, "shop"), *_shift_faults(shop), *_other_shop_faults(shop)]


def _amount_faults(candidate: Candidate, where: str) -> list[Fault]:
    values = [(rule, getattr(candidate, rule.name)) for rule in _CANDIDATE]
    return [
        Fault(f"{where}.{rule.name}", f"{value}", rule.allowed, rule.repair)
        for rule, value in values
        if not rule.holds(value)
    ]


def _shift_faults(shop: Shop) -> list[Fault]:
    pour = max(shop.prep, shop.cast_minutes / shop.people if shop.people > 0.0 else 0.0)
    if not 0.0 < shop.shift < pour:
        return []
    repair = "Lengthen the shift, or check the minutes of one casting."
    return [Fault("shop.shift", f"{shop.shift:g} min", f"{pour:g} min or more, the time of one pour", repair)]


def _other_shop_faults(shop: Shop) -> list[Fault]:
    faults = []
    if not 0.0 <= shop.fees + shop.profit < 1.0:
        repair = "Give fees and profit as shares of the selling price that leave something for the cost."
        faults.append(Fault("shop.fees", f"{shop.fees} + {shop.profit}", "together less than 1", repair))
    if not shop.working_days or not set(shop.working_days) <= set(range(7)):
        repair = "Name at least one working day."
        faults.append(
            Fault("shop.working_days", f"{shop.working_days}", "0 for Monday to 6 for Sunday", repair)
        )
    limits = [limit for limit, _ in shop.shipping_bands]
    if any(later <= sooner for sooner, later in itertools.pairwise(limits)):
        repair = "Sort the shipping bands by mass, lightest first."
        faults.append(Fault("shop.shipping_bands", f"{limits}", "masses in ascending order", repair))
    return faults


def check_request(request: OrderRequest) -> list[Fault]:
    """Return every fault of an order: its size, its dates, its shop and its prices."""
    faults = check_shop(request.shop)
    for name, price in request.prices.items():
        faults += check_price(price, f"prices.{name}")
    if request.vessels < 0:
        repair = "Give the good vessels ordered."
        faults.append(Fault("order.vessels", f"{request.vessels}", "0 or more", repair))
    if request.vessels > MOST_VESSELS:
        repair = "Split the order into parts with dates of their own."
        allowed = f"up to {MOST_VESSELS:,}, the largest order planned"
        faults.append(Fault("order.vessels", f"{request.vessels}", allowed, repair))
    if request.start.year > _LAST_YEAR:
        repair = "Check the year of the start."
        faults.append(Fault("order.start", f"{request.start}", f"a year up to {_LAST_YEAR}", repair))
    if request.due < request.start:
        repair = "Give a later due date, or an earlier start."
        faults.append(Fault("order.due", f"{request.due}", f"{request.start} or later", repair))
    if request.shop.molds == 0 and not request.may_buy_molds:
        repair = "Let molds be bought, or give the molds owned."
        faults.append(Fault("shop.molds", "0", "1 or more when none may be bought", repair))
    return faults


def check_candidate(candidate: Candidate, request: OrderRequest) -> list[Fault]:
    """Return every fault of a blend as an order sees it.

    Parameters
    ----------
    request : OrderRequest
        The order, for its prices, window and shipping bands.
    """
    shop, where = request.shop, candidate.name
    faults = _amount_faults(candidate, where)
    for name, mass in candidate.materials.items():
        if not 0.0 <= mass < math.inf:
            faults.append(
                Fault(f"{where}.{name}", f"{mass}", "0 kg or more", f"Give the {name} in one cavity.")
            )
        if name not in request.prices:
            faults.append(
                Fault(f"prices.{name}", "no price", "a pack and its price", f"Give the price of {name}.")
            )
    if 0.0 < candidate.working_window < shop.mixing + shop.pour_minutes:
        allowed = f"{shop.mixing + shop.pour_minutes:g} min or more, to mix and to pour one mold"
        repair = "Choose a blend with a longer window, cool the water, or mix for a shorter time."
        faults.append(Fault(f"{where}.working_window", f"{candidate.working_window:g} min", allowed, repair))
    if shop.shipping_bands and candidate.dry_mass + shop.shipped_extras > shop.shipping_bands[-1][0]:
        heaviest = shop.shipping_bands[-1][0] - shop.shipped_extras
        repair = "Add a shipping band for this mass, or choose a lighter blend."
        faults.append(
            Fault(f"{where}.dry_mass", f"{candidate.dry_mass:g} g", f"up to {heaviest:g} g", repair)
        )
    return faults
