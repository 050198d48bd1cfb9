"""Cost of one good vessel by part, and the same cost as a straight line an optimizer can minimize.

Three stages carry three divisors. With casting rejects ``r1`` and finishing rejects ``r2``::

    cost = casting / ((1 - r1) (1 - r2)) + finishing / (1 - r2) + packing

A vessel lost late takes every earlier cost with it; one lost at demolding never meets the sealer.

At break-even order sizes two prices meet: a blend that is dear in itself but fast needs few molds, a cheap
slow one needs many. With whole molds and molds already owned the cheaper blend can change more than once, so
every size is counted.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from optimizer.job import Shop
from optimizer.money.capacity import molds_needed, pours_needed, whole_up
from optimizer.properties.arrays import Values

_CENT_DUST = 1e-9


@dataclass(frozen=True)
class CostParts:
    """Money in one good vessel.

    Attributes
    ----------
    parts : Mapping[str, float]
        Money by part [currency]; ``casting_rejects`` and ``finishing_rejects`` hold what the lost ones
        cost, so that every other part is what this one vessel took.
    """

    parts: Mapping[str, float]

    @property
    def per_good_vessel(self) -> float:
        """Sum of the parts [currency]."""
        return math.fsum(self.parts.values())


@dataclass(frozen=True)
class CostLine:
    """Cost of one good vessel as a straight line, shipping aside.

    Attributes
    ----------
    fixed : float
        Cost that no blend changes at this number of turns and coats [currency].
    per_powder_money : float
        Cost per unit of material money in one filled cavity, before waste [-].
    per_shelf_day : float
        Cost of one day of drying [currency/d].
    """

    fixed: float
    per_powder_money: float
    per_shelf_day: float

    def at(self, material_money: float, drying_days: float) -> float:
        """Return the cost without shipping for materials [currency/cavity] and drying [d]."""
        return self.fixed + self.per_powder_money * material_money + self.per_shelf_day * drying_days


@dataclass(frozen=True)
class MoldCharge:
    """What molds cost, split by how it is carried.

    Attributes
    ----------
    per_casting : float
        Wear of one casting, which rejects carry too [currency].
    per_good_vessel : float
        Molds bought for the order over the vessels ordered [currency].
    needed, bought : int
        Molds at work in the order and molds bought for it [count]; 0 in the ``wear`` view.
    """

    per_casting: float
    per_good_vessel: float
    needed: int = 0
    bought: int = 0


def mold_charge(shop: Shop, turns: int) -> MoldCharge:
    """Return what molds add to the cost of a vessel in the shop's view of molds.

    In the ``wear`` view each casting pays price over life. In the ``order`` view as `order_charge`, for the
    molds that so many days need. No turn at all costs infinitely much.

    Parameters
    ----------
    shop : Shop
        ``mold_view`` is ``wear`` or ``order``; `order_vessels` and `order_days` set the order.
    turns : int
        Castings of one mold on a working day [count].

    Examples
    --------
    >>> shop = Shop(mold_view="order", molds=0, order_vessels=300, order_days=12, reject=0.08, mold_price=28)
    >>> [round(mold_charge(shop, turns).per_good_vessel, 2) for turns in (1, 3, 5)]
    [2.61, 0.93, 0.56]
    """
    if shop.mold_view == "wear":
        return MoldCharge(shop.mold_price / shop.mold_life, 0.0)
    if turns < 1:
        return MoldCharge(0.0, math.inf)
    pours = pours_needed(shop.order_vessels, shop.reject, shop.finish_reject)
    return order_charge(shop.order_vessels, molds_needed(pours, shop.order_days, turns), shop)


def order_charge(vessels: float, at_work: int, shop: Shop, pours: int | None = None) -> MoldCharge:
    """Return what molds add to a vessel of an order that is charged for those bought for it.

    The order uses up the molds at work, or more where castings outlast them; castings are spread evenly. It
    pays whole for the molds beyond those owned; castings in owned molds pay their wear.

    Parameters
    ----------
    vessels : float
        Good vessels ordered [count].
    at_work : int
        Molds at work on the order [count].
    shop : Shop
        Molds owned, their price and life, rejects.
    pours : int | None
        Castings planned [count]; default: those expected to be needed.

    Examples
    --------
    327 castings at 80 a mold take five molds even where four are enough at a time.

    >>> order_charge(300, 4, Shop(reject=0.08, molds=3, mold_life=80)).bought
    2
    """
    if vessels == 0 or at_work == 0:
        return MoldCharge(0.0, 0.0)
    pours = pours_needed(vessels, shop.reject, shop.finish_reject) if pours is None else pours
    used = max(at_work, whole_up(pours / shop.mold_life))
    owned = min(used, shop.molds)
    wear = shop.mold_price / shop.mold_life * owned / used
    return MoldCharge(wear, (used - owned) * shop.mold_price / vessels, at_work, used - owned)


def shipping_cost(shipped_mass: Values, shop: Shop) -> Values:
    """Return the postage of vessels of `shipped_mass` grams, wax, lid and box included [currency].

    A parcel heavier than the last band costs infinitely much: no carrier named takes it.

    Examples
    --------
    >>> float(shipping_cost(700.0, Shop(shipping_bands=((500.0, 4.0), (1000.0, 6.5)))))
    6.5
    """
    if not shop.shipping_bands:
        return np.zeros(np.shape(shipped_mass))
    limits, costs = zip(*shop.shipping_bands, strict=True)
    return np.asarray(np.array([*costs, math.inf])[np.searchsorted(limits, shipped_mass)])


def shipping_edges(shop: Shop) -> tuple[tuple[float, float], ...]:
    """Return (heaviest empty vessel [g], postage [currency]) of each band a vessel can fall in.

    An optimizer that tries each row as a limit on the dry mass has tried every band.

    Examples
    --------
    >>> shipping_edges(Shop(shipping_bands=((300.0, 3.0), (500.0, 4.0), (1000.0, 6.5)), shipped_extras=320.0))
    ((180.0, 4.0), (680.0, 6.5))
    """
    if not shop.shipping_bands:
        return ((math.inf, 0.0),)
    edges = ((limit - shop.shipped_extras, cost) for limit, cost in shop.shipping_bands)
    return tuple((mass, cost) for mass, cost in edges if mass > 0.0)


def vessel_cost(
    powder_mass_cost: float,
    admixture_cost: float,
    water_cost: float,
    *,
    turns: int,
    coats: float,
    drying_days: float,
    shipped_mass: float,
    shop: Shop,
    molds: MoldCharge | None = None,
) -> CostParts:
    """Return what one good vessel costs, part by part.

    Parts that add up to the cost of one good vessel.

    Parameters
    ----------
    powder_mass_cost, admixture_cost, water_cost : float
        Money for powder, for pigment and admixtures, and for water in one filled cavity, before
        waste [currency].
    turns : int
        Castings of one mold on a working day [count].
    coats : float
        Coats of sealer [count].
    drying_days : float
        Days on the drying rack [d].
    shipped_mass : float
        Dry vessel and `Shop.shipped_extras` together [g].
    shop : Shop
        Wage, minutes, molds, rejects, packing and postage.
    molds : MoldCharge | None
        Charge for molds; None takes `mold_charge` in the shop's view, at `turns`.

    Examples
    --------
    >>> parts = vessel_cost(0.28, 0.0, 0.0, turns=5, coats=2, drying_days=3, shipped_mass=680, shop=Shop())
    >>> round(parts.per_good_vessel, 2)
    7.48
    """
    parts = cost_parts(
        powder_mass_cost,
        admixture_cost,
        water_cost,
        turns=turns,
        coats=coats,
        drying_days=drying_days,
        shipped_mass=shipped_mass,
        shop=shop,
        molds=molds,
    )
    return CostParts({name: float(part) for name, part in parts.items()})


def cost_parts(
    powder_mass_cost: Values,
    admixture_cost: Values,
    water_cost: Values,
    *,
    turns: Values,
    coats: Values,
    drying_days: Values,
    shipped_mass: Values,
    shop: Shop,
    molds: MoldCharge | None = None,
) -> dict[str, Values]:
    """Return the parts of `vessel_cost` of one vessel, or of one in each of many draws.

    Parameters
    ----------
    powder_mass_cost, admixture_cost, water_cost, turns, coats, drying_days, shipped_mass : Values
    shop : Shop
    molds : MoldCharge | None
        As for `vessel_cost`; figures, or arrays of one shape.
    """
    charge = _charges(shop, turns) if molds is None else (molds.per_casting, molds.per_good_vessel)
    casting = _casting_parts(powder_mass_cost, admixture_cost, water_cost, shop)
    casting["molds"] = charge[0]
    finishing = _finishing_parts(coats, drying_days, shop)
    packing = _packing_parts(shop) | {"shipping": shipping_cost(shipped_mass, shop)}
    poured, finished = sum(casting.values()), sum(finishing.values())
    demolded = poured / (1.0 - shop.reject)
    lost = shop.finish_reject / (1.0 - shop.finish_reject)
    rejects = {
        "casting_rejects": demolded - poured,
        # Where no coat seals, finishing costs infinitely much, of which nothing is lost without rejects.
        "finishing_rejects": (demolded + finished) * lost if lost else 0.0 * demolded,
    }
    parts = {**casting, **finishing, **rejects, **packing}
    return parts | {"molds": charge[0] + charge[1]}


def _charges(shop: Shop, turns: Values) -> tuple[Values, Values]:
    """Return what molds add to a casting and to a good vessel, worked out once a number of turns."""
    counts, places = np.unique(turns, return_inverse=True)
    charges = [mold_charge(shop, int(count)) for count in counts]
    shape = np.shape(turns)
    return (
        np.array([one.per_casting for one in charges])[places].reshape(shape),
        np.array([one.per_good_vessel for one in charges])[places].reshape(shape),
    )


def cost_coefficients(shop: Shop, turns: int, coats: float) -> CostLine:
    """Return the cost of one good vessel as a line in material money and drying days.

    ``line.at(materials, days) + shipping_cost(mass, shop)`` equals `vessel_cost`.

    Parameters
    ----------
    shop : Shop
        The same record `vessel_cost` takes.
    turns : int
        Castings of one mold on a working day [count].
    coats : float
        Coats of sealer [count].

    Examples
    --------
    >>> line = cost_coefficients(Shop(), turns=5, coats=2)
    >>> round(line.at(0.28, 3), 2)
    7.48
    """
    good = (1.0 - shop.reject) * (1.0 - shop.finish_reject)
    molds = mold_charge(shop, turns)
    poured = sum(_casting_parts(0.0, 0.0, 0.0, shop).values()) + molds.per_casting
    finished = sum(_finishing_parts(coats, 0.0, shop).values()) / (1.0 - shop.finish_reject)
    fixed = poured / good + finished + molds.per_good_vessel + sum(_packing_parts(shop).values())
    return CostLine(float(fixed), (1.0 + shop.waste) / good, shop.shelf_cost / (1.0 - shop.finish_reject))


def _casting_parts(powder: Values, admixture: Values, water: Values, shop: Shop) -> dict[str, Values]:
    return {
        "powder": powder,
        "admixture": admixture,
        "water": water,
        "waste": shop.waste * (powder + admixture + water),
        "casting_labor": shop.cast_minutes * shop.wage / 60.0,
    }


def _finishing_parts(coats: Values, drying_days: Values, shop: Shop) -> dict[str, Values]:
    return {
        "sealer": coats * shop.coat_cost,
        "sealing_labor": coats * shop.seal_minutes * shop.wage / 60.0,
        "shelf": drying_days * shop.shelf_cost,
    }


def _packing_parts(shop: Shop) -> dict[str, Values]:
    return {"packing_labor": shop.pack_minutes * shop.wage / 60.0, "packing": shop.packing_cost}


def price_floor(full_cost: float, fees: float = 0.0, profit: float = 0.0) -> float:
    """Return the lowest selling price that covers the cost, the fees and the wanted profit [currency].

    Parameters
    ----------
    full_cost : float
        Cost of one good vessel delivered [currency].
    fees, profit : float
        Each a fraction of the selling price, not of the cost.

    Raises
    ------
    ValueError
        When fees and profit take the whole price or more: then no price is high enough.

    Examples
    --------
    7.50 of cost, 10 % fees and 15 % profit of the price: 7.50 / 0.75.

    >>> price_floor(7.50, fees=0.10, profit=0.15)
    10.0
    """
    kept = 1.0 - fees - profit
    if kept <= 0.0:
        raise ValueError(f"fees {fees} and profit {profit} leave nothing of the price to pay the cost")
    return full_cost / kept


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

    The cheaper blend from one vessel on, then each size at which the other becomes the cheaper; empty when
    they cost the same throughout. Labor, mixer and shelf do not enter: they bear on dates.

    Parameters
    ----------
    shop : Shop
        Molds owned, their price and life, and rejects.
    most : int
        Largest order looked at [count].

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
