"""What is wrong with a shop, an order or a blend before it is planned, each fault with its repair."""

from __future__ import annotations

import itertools
import math
from typing import NamedTuple

from optimizer.errors import Fault
from optimizer.money.landed import check_price
from optimizer.money.request import Candidate, OrderRequest
from optimizer.shop import MOLD_VIEWS, Shop

__all__ = ["check_candidate", "check_request", "check_shop"]


class _Range(NamedTuple):
    """Allowed values of one field; `above` and `below` exclude the end."""

    name: str
    allowed: str
    repair: str
    least: float = 0.0
    most: float = math.inf
    above: bool = False
    below: bool = False

    def holds(self, value: float) -> bool:
        low = value > self.least if self.above else value >= self.least
        high = value < self.most if self.below else value <= self.most
        return low and high and math.isfinite(value)


_REJECT = "Give the share of castings lost, such as 0.08 for 8 %; at 100 % no good vessel is ever made."

_SHOP = (
    _Range("wage", "0 or more", "Give the cost of an hour without a minus sign."),
    _Range(
        "shift", "more than 0 min, at most 24 h", "Give the minutes worked in a day.", 0.0, 1440.0, above=True
    ),
    _Range("prep", "0 min or more", "Give the minutes to empty, clean and fill one mold."),
    _Range("people", "more than 0", "Give how many people work, 0.5 for half a day.", above=True),
    _Range("molds", "0 or more", "Give the molds owned, 0 if there are none yet."),
    _Range("mold_price", "0 or more", "Give the price of one mold without a minus sign."),
    _Range("mold_life", "1 or more castings", "Give the castings one mold lasts.", 1.0),
    _Range("order_vessels", "0 or more", "Give the size of the order."),
    _Range("order_days", "more than 0 d", "Give the casting days of the order.", above=True),
    _Range("reject", "0 or more, less than 1", _REJECT, 0.0, 1.0, below=True),
    _Range("finish_reject", "0 or more, less than 1", _REJECT, 0.0, 1.0, below=True),
    _Range("waste", "0 or more", "Give the slurry mixed in excess as a share of what the molds hold."),
    _Range("cast_minutes", "0 min or more", "Give the work on one casting."),
    _Range("seal_minutes", "0 min or more", "Give the work on one coat."),
    _Range("pack_minutes", "0 min or more", "Give the work on packing one vessel."),
    _Range("pour_minutes", "0 min or more", "Give the time to pour one mold."),
    _Range("molds_per_mix", "1 or more", "Give the molds one bucket fills.", 1.0),
    _Range("mixes_per_day", "1 or more", "Give the mixes made in a day at most.", 1.0),
    _Range("shelf_places", "1 or more", "Give the places on the drying shelf.", 1.0),
    _Range("seal_days", "0 d or more", "Give the days a seal cures."),
    _Range("test_burn_days", "0 d or more", "Give the days of test burns, 0 for none."),
    _Range("pack_days", "0 d or more", "Give the days the last boxes take."),
)

_CANDIDATE = (
    _Range(
        "demold_time", "more than 0 min", "Give the time from powder meeting water to demolding.", above=True
    ),
    _Range("drying_time", "0 d or more", "Give the days from demolding to constant mass."),
    _Range("working_window", "more than 0 min", "Give the time in which the mix pours.", above=True),
    _Range("coats", "0 or more", "Give the coats of sealer, 0 for none."),
    _Range("dry_mass", "more than 0 g", "Give the mass of one dry vessel.", above=True),
    _Range("water", "0 kg or more", "Give the water in one cavity."),
)


def check_shop(shop: Shop, where: str = "shop") -> list[Fault]:
    """Return every fault of a shop record that an order plan or a cost would trip over.

    Parameters
    ----------
    shop : Shop
        The record to look at.
    where : str
        Place named in the faults.

    Examples
    --------
    >>> [fault.where for fault in check_shop(Shop(reject=1.0, shift=8.0, prep=10.0))]
    ['shop.reject', 'shop.shift']
    """
    return [*_ranges(_SHOP, shop, where), *_shift_faults(shop, where), *_other_shop_faults(shop, where)]


def _ranges(rules: tuple[_Range, ...], record: object, where: str) -> list[Fault]:
    values = [(rule, getattr(record, rule.name)) for rule in rules]
    return [
        Fault(f"{where}.{rule.name}", f"{value}", rule.allowed, rule.repair)
        for rule, value in values
        if not rule.holds(value)
    ]


def _shift_faults(shop: Shop, where: str) -> list[Fault]:
    pour = max(shop.prep, shop.cast_minutes / shop.people if shop.people > 0.0 else 0.0)
    if not 0.0 < shop.shift < pour:
        return []
    repair = "Lengthen the shift, or check the minutes of one casting."
    return [
        Fault(f"{where}.shift", f"{shop.shift:g} min", f"{pour:g} min or more, the time of one pour", repair)
    ]


def _other_shop_faults(shop: Shop, where: str) -> list[Fault]:
    faults = []
    if shop.mold_view not in MOLD_VIEWS:
        allowed = ", ".join(MOLD_VIEWS)
        faults.append(Fault(f"{where}.mold_view", shop.mold_view, allowed, "Write one of these words."))
    if not 0.0 <= shop.fees + shop.profit < 1.0:
        repair = "Give fees and profit as shares of the selling price that leave something for the cost."
        faults.append(Fault(f"{where}.fees", f"{shop.fees} + {shop.profit}", "together less than 1", repair))
    if not shop.working_days or not set(shop.working_days) <= set(range(7)):
        repair = "Name at least one working day."
        faults.append(
            Fault(f"{where}.working_days", f"{shop.working_days}", "0 for Monday to 6 for Sunday", repair)
        )
    limits = [limit for limit, _ in shop.shipping_bands]
    if any(later <= sooner for sooner, later in itertools.pairwise(limits)):
        repair = "Sort the shipping bands by mass, lightest first."
        faults.append(Fault(f"{where}.shipping_bands", f"{limits}", "masses in ascending order", repair))
    return faults


def check_request(request: OrderRequest, where: str = "order") -> list[Fault]:
    """Return every fault of an order: its size, its dates, its shop and its prices.

    Parameters
    ----------
    request : OrderRequest
        The order.
    where : str
        Place named in the faults of size and dates.
    """
    faults = check_shop(request.shop)
    for name, price in request.prices.items():
        faults += check_price(price, f"prices.{name}")
    if request.vessels < 0:
        repair = "Give the good vessels ordered."
        faults.append(Fault(f"{where}.vessels", f"{request.vessels}", "0 or more", repair))
    if request.due < request.start:
        repair = "Give a later due date, or an earlier start."
        faults.append(Fault(f"{where}.due", f"{request.due}", f"{request.start} or later", repair))
    if request.shop.molds == 0 and not request.may_buy_molds:
        repair = "Let molds be bought, or give the molds owned."
        faults.append(Fault("shop.molds", "0", "1 or more when none may be bought", repair))
    return faults


def check_candidate(candidate: Candidate, request: OrderRequest) -> list[Fault]:
    """Return every fault of a blend as an order sees it.

    Parameters
    ----------
    candidate : Candidate
        The blend.
    request : OrderRequest
        The order, for its prices, window and shipping bands.
    """
    shop, where = request.shop, candidate.name
    faults = _ranges(_CANDIDATE, candidate, where)
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
