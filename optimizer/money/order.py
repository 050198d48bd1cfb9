"""The plan of an order: pours, molds, bags, dates, what holds it back, its cost in both views of molds.

The best few blends for an order are ranked with molds charged to the order and with wear only.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import Final

from optimizer.errors import FileFaults
from optimizer.job import Shop
from optimizer.money.capacity import (
    RESOURCES,
    Capacity,
    capacity,
    day_rates,
    next_working,
    pours_for_order,
    turns_per_day,
    whole_up,
    without,
    working_days_between,
)
from optimizer.money.landed_cost import landed_price
from optimizer.money.lateness_options import Remedy, find_remedies, search_molds
from optimizer.money.purchase import Leftover, Purchase, buy_bags, leftovers
from optimizer.money.request import Candidate, OrderRequest, Times, check_candidate, check_request
from optimizer.money.schedule import Schedule, make_schedule, most_vessels, ready_date
from optimizer.money.vessel_cost import (
    CostParts,
    MoldCharge,
    OrderLine,
    order_charge,
    price_floor,
    vessel_cost,
)

_LEVELS: Final = 10
_ENDS: Final = (0.05, 0.95)

IN_TIME, PERHAPS, LATE = "in time", "perhaps in time", "late"
"""What a plan says of its date."""

TIE = 0.01
"""Costs that lie this close are called the same [fraction of the lower cost]."""


@dataclass(frozen=True)
class OrderPlan:
    """How one blend makes an order.

    Attributes
    ----------
    request : OrderRequest
        What was asked; its start is the first day of casting, after the trial where there is one.
    candidate : Candidate
        The blend.
    trial : datetime.date | None
        Day on which one vessel is cast for a test burn; None where the blend needs no trial.
    vessels, pours, turns : int
        Good vessels, castings to pour so that as many come good with the chance
        `optimizer.money.capacity.GOOD_ENOUGH`, and castings of one mold on a working day [count].
    meets_date : bool
        True when the plan is ready by the due date.
    schedule : Schedule | None
        Day by day; None when this blend cannot be cast in this shop at all, or not within ten years.
    molds_at_work, molds_to_buy : int
        Molds the plan uses and how many of them are bought [count].
    molds_worn : float
        Molds' lives that the castings use up, owned and bought together [count].
    rates : Mapping[str, float]
        Castings a day that each resource alone could keep up [count/d].
    bottleneck : str
        One of `RESOURCES`: ``drying`` when the wait for the last casting to dry is longer than all the
        casting, else the resource with the lowest rate. Empty for an order of nothing.
    relief : Mapping[str, datetime.date | None]
        Ready date, planned anew, if a resource held nothing back.
    earliest : datetime.date | None
        Earliest ready date with as many molds as are of use, or with those owned if none may be bought.
    earliest_molds : int
        Least molds at work that reach `earliest` [count].
    ready_owned : datetime.date | None
        Ready date with the molds owned alone; None when they do not make the order in any time planned.
    soonest : datetime.date | None
        Ready date of one vessel alone: drying, sealing and test burns take that long whatever the shop has.
    most_vessels : int
        Good vessels this plan makes: those ordered, or as many as ten years give, the longest plan [count].
    purchase : Purchase
        Whole bags to buy.
    leftovers : tuple[Leftover, ...]
        What the whole bags leave over.
    cost_order, cost_wear : CostParts
        Expected cost of one good vessel with the molds bought charged to this order, and with wear only. A
        blend that cannot be cast is charged no molds.
    price_floor : float
        Lowest price of one vessel over the cost charged to this order, fees and profit included [currency].
    line : OrderLine
        The plan as `optimizer.money.vessel_cost` compares it at other sizes.
    """

    request: OrderRequest
    candidate: Candidate
    trial: datetime.date | None
    vessels: int
    pours: int
    turns: int
    meets_date: bool
    schedule: Schedule | None
    molds_at_work: int
    molds_to_buy: int
    molds_worn: float
    rates: Mapping[str, float]
    bottleneck: str
    relief: Mapping[str, datetime.date | None]
    earliest: datetime.date | None
    earliest_molds: int
    ready_owned: datetime.date | None
    soonest: datetime.date | None
    most_vessels: int
    purchase: Purchase
    leftovers: tuple[Leftover, ...]
    cost_order: CostParts
    cost_wear: CostParts
    price_floor: float
    line: OrderLine

    @cached_property
    def ready_range(self) -> tuple[datetime.date | None, datetime.date | None]:
        """Ready dates that nine of ten orders keep to, with the same molds; None for never.

        The plan's own date is held, for which castings are counted that most orders do not need. Found when
        first asked for, for it takes many plans.
        """
        if not self.vessels:
            return self.ready, self.ready
        shop = replace(self.request.shop, molds=self.molds_at_work)
        early, late = _ready_range(self.request, self.candidate, shop, self.trial)
        if self.ready is None:
            return early, None
        return min(early or self.ready, self.ready), late and max(late, self.ready)

    @property
    def status(self) -> str:
        """``in time`` where nine of ten orders are, ``perhaps in time`` where the plan is, else ``late``."""
        if not self.meets_date:
            return LATE
        late = self.ready_range[1]
        return IN_TIME if late is not None and late <= self.request.due else PERHAPS

    @property
    def total(self) -> float:
        """What all vessels cost, bought molds charged to the order [currency]."""
        return self.vessels * self.cost_order.per_good_vessel

    @cached_property
    def remedies(self) -> tuple[Remedy, ...]:
        """Changes to the shop as it stands that make the date, each confirmed by a plan of its own.

        Empty when the molds owned make it in nine of ten orders. Where only the late end of the range is past
        the date, changes with which the plan is ready as long before it as the range is. Found when first
        asked for, for it takes many plans.
        """
        if not self.owned_make_it:
            return find_remedies(self.request, self.candidate)
        late = self.ready_range[1]
        if self.status != PERHAPS or late is None or self.ready is None:
            return ()
        sooner = self.request.due - (late - self.ready)
        return find_remedies(replace(self.request, due=sooner), self.candidate)

    @property
    def owned_make_it(self) -> bool:
        """Whether the molds owned make the date at best values."""
        return self.ready_owned is not None and self.ready_owned <= self.request.due

    @property
    def ready(self) -> datetime.date | None:
        """The day the order may leave; None when it cannot be made."""
        return self.schedule.ready if self.schedule else None

    @property
    def casts_per_day(self) -> float:
        """Mean castings of a day with casting [count/d]."""
        days = self.schedule.casting_days if self.schedule else 0
        return self.pours / days if days else 0.0


def plan_order(request: OrderRequest, candidate: Candidate) -> OrderPlan:
    """Return how one blend makes an order.

    With the molds owned when they make the date, else with the fewest bought molds that make it, else with
    the molds owned again (or, where there are none, those of the earliest date). A blend never cast is cast
    on the first day and burned before the order is cast.

    Parameters
    ----------
    request : OrderRequest
        Vessels, dates, shop and prices.
    candidate : Candidate
        The blend, with its materials for one cavity and its times.

    Raises
    ------
    FileFaults
        All faults of the request and of the candidate at once.
    """
    faults = [*check_request(request), *check_candidate(candidate, request)]
    if faults:
        raise FileFaults(faults)
    trial = next_working(request.start, request.shop) if candidate.never_cast and request.vessels else None
    if trial is not None:
        request = replace(request, start=_after_trial(request, capacity(candidate, request.shop), trial))
    molds = search_molds(request, candidate)
    shop = replace(request.shop, molds=molds.at_work)
    bounds = capacity(candidate, shop)
    rates = day_rates(bounds, shop)
    made = make_schedule(request.vessels, bounds, shop, request.start)
    purchase = _purchase(request, candidate)
    pours = pours_for_order(request.vessels, shop)
    charge = order_charge(request.vessels, molds.at_work if made else 0, request.shop, pours)
    order, wear, bare = _costs(request, candidate, purchase, charge)
    return OrderPlan(
        request=request,
        candidate=candidate,
        trial=trial,
        vessels=request.vessels,
        pours=pours,
        turns=turns_per_day(candidate.demold_time, shop),
        meets_date=made is not None and made.ready <= request.due,
        schedule=made,
        molds_at_work=molds.at_work,
        molds_to_buy=charge.bought,
        molds_worn=pours / shop.mold_life,
        rates=rates,
        bottleneck=_bottleneck(rates, bounds, made),
        relief=_relief(request, bounds),
        earliest=molds.earliest,
        earliest_molds=molds.earliest_molds,
        ready_owned=molds.ready_owned,
        soonest=_soonest(request, bounds),
        most_vessels=request.vessels if made else most_vessels(bounds, shop, request.start),
        purchase=purchase,
        leftovers=_leftovers(request, purchase, made),
        cost_order=order,
        cost_wear=wear,
        price_floor=price_floor(order.per_good_vessel, shop.fees, shop.profit),
        line=_line(request, candidate, bare, made),
    )


def _after_trial(request: OrderRequest, bounds: Capacity, trial: datetime.date) -> datetime.date:
    """Return the first day of casting once one vessel cast on `trial` has dried, is sealed and burned."""
    shop = replace(request.shop, reject=0.0, finish_reject=0.0, pack_days=1)
    burned = _soonest(replace(request, shop=shop), bounds, trial)
    return trial if burned is None else next_working(burned, shop)


def _purchase(request: OrderRequest, candidate: Candidate) -> Purchase:
    shop = request.shop
    filled = pours_for_order(request.vessels, shop) * (1.0 + shop.waste)
    needs = {name: filled * mass for name, mass in candidate.materials.items()}
    return buy_bags(needs, {name: request.prices[name] for name in needs}, shop.wage)


def _leftovers(request: OrderRequest, purchase: Purchase, made: Schedule | None) -> tuple[Leftover, ...]:
    last = made.last_cast if made else None
    return leftovers(purchase, request.prices, request.shop.wage, request.start, last)


def _costs(
    request: OrderRequest, candidate: Candidate, purchase: Purchase, charge: MoldCharge
) -> tuple[CostParts, CostParts, CostParts]:
    """Return the expected cost: molds charged to the order, with wear only, and with no molds at all."""
    shop = request.shop

    def money(materials: Mapping[str, float]) -> float:
        return math.fsum(mass * _per_kg(name, request, purchase) for name, mass in materials.items())

    def cost(molds: MoldCharge) -> CostParts:
        parts = vessel_cost(
            money(candidate.powders),
            money(candidate.admixtures),
            candidate.water * shop.water_price,
            turns=0,
            coats=candidate.coats,
            drying_days=candidate.drying_time,
            shipped_mass=candidate.dry_mass + shop.shipped_extras,
            shop=shop,
            molds=molds,
        ).parts
        beyond = candidate.beyond_best_values
        return CostParts({name: part + beyond.get(name, 0.0) for name, part in parts.items()})

    return cost(charge), cost(MoldCharge(shop.mold_price / shop.mold_life, 0.0)), cost(MoldCharge(0.0, 0.0))


def _per_kg(name: str, request: OrderRequest, purchase: Purchase) -> float:
    """Return the landed price at the packs this order buys, or at the usual order when it buys none."""
    packs = purchase.packs(name)
    return landed_price(request.prices[name], request.shop.wage, packs or None).per_usable_kg


def _bottleneck(rates: Mapping[str, float], bounds: Capacity, made: Schedule | None) -> str:
    slowest = min(rates, key=lambda name: rates[name])
    if made is None:
        return slowest
    cast = [day.day for day in made.days if day.cast]
    if not cast:
        return ""
    return "drying" if bounds.drying_days > (cast[-1] - cast[0]).days + 2 else slowest


def _relief(request: OrderRequest, bounds: Capacity) -> Mapping[str, datetime.date | None]:
    def ready(resource: str) -> datetime.date | None:
        return ready_date(request.vessels, without(bounds, resource), request.shop, request.start)

    return {resource: ready(resource) for resource in RESOURCES}


def _soonest(
    request: OrderRequest, bounds: Capacity, start: datetime.date | None = None
) -> datetime.date | None:
    """Return when one casting alone would be ready, whatever the molds, hands and places."""
    free = replace(bounds, day_molds=math.inf, labor=math.inf, mixer=math.inf, shelf=math.inf)
    return ready_date(min(1, request.vessels), free, request.shop, start or request.start)


def _line(request: OrderRequest, candidate: Candidate, bare: CostParts, made: Schedule | None) -> OrderLine:
    turns = turns_per_day(candidate.demold_time, request.shop)
    days = working_days_between(request.start, request.due, request.shop)
    if made and made.last_cast:
        days -= working_days_between(made.last_cast, made.ready, request.shop) - 1
    return OrderLine(candidate.name, bare.per_good_vessel, turns, max(1, days))


def _ready_range(
    request: OrderRequest, candidate: Candidate, shop: Shop, trial: datetime.date | None
) -> tuple[datetime.date | None, datetime.date | None]:
    """Return the 5 % and the 95 % point of the ready date; None for never.

    Over times, coats of sealer and castings that fail: each draw of the blend's times has a number of
    castings of its own, at one of `_LEVELS` equally likely points of the law of `optimizer.money.capacity`.
    """
    own = Times(candidate.demold_time, candidate.drying_time, candidate.working_window, candidate.coats)
    draws = candidate.drawn or (own,) * _LEVELS
    levels = [(k + 0.5) / _LEVELS for k in range(_LEVELS)]
    pours = [pours_for_order(request.vessels, shop, level) for level in levels]

    @cache
    def ready(bounds: Capacity, count: int) -> datetime.date | None:
        start = request.start if trial is None else _after_trial(request, bounds, trial)
        return ready_date(request.vessels, bounds, shop, start, pours=count)

    dates = [
        ready(capacity(candidate.taking(times), shop), pours[k % _LEVELS])
        if math.isfinite(times.drying_time) and math.isfinite(times.coats)
        else None
        for k, times in enumerate(draws)
    ]
    dates.sort(key=lambda day: day or datetime.date.max)
    early, late = (dates[max(0, whole_up(end * len(dates)) - 1)] for end in _ENDS)
    return early, late


@dataclass(frozen=True)
class Ranked:
    """One blend in the ranking.

    Attributes
    ----------
    plan : OrderPlan
        Its plan.
    rank_order, rank_wear : int
        Rank among the blends shown, from 1, with molds charged to this order, and with wear only.
    tied_order, tied_wear : bool
        True when the cost of that view lies within 1 % of the cost of the first blend of its group, those as
        sure as asked or not, in time or late: too close to call by money.
    """

    plan: OrderPlan
    rank_order: int
    rank_wear: int
    tied_order: bool = False
    tied_wear: bool = False


def rank_candidates(
    request: OrderRequest, candidates: Iterable[Candidate], best: int = 5, keep: str = ""
) -> tuple[Ranked, ...]:
    """Return the best few blends for an order in both views of molds.

    As `rank_plans`.

    Parameters
    ----------
    candidates : Iterable[Candidate]
        The blends, each with a name of its own.
    best : int
        How many to return [count].
    keep : str
        Name of a blend that is returned in any case.

    Raises
    ------
    FileFaults
        All faults of the request and of the first candidate that has any.
    """
    return rank_plans([plan_order(request, candidate) for candidate in candidates], best, keep)


def rank_plans(plans: Sequence[OrderPlan], best: int = 5, keep: str = "") -> tuple[Ranked, ...]:
    """Return the best few plans, ordered by their rank with molds charged to the order.

    Blends as sure as the job asks come before those that are not; among either, plans in time come before
    late ones. Of those in time the cheaper goes first, and among costs within 1 %
    the one that is ready first; of the late ones the one that is ready first, whatever it costs. The best by
    wear is always shown.

    Parameters
    ----------
    plans : Sequence[OrderPlan]
        The plans of one order, each of a blend with a name of its own.
    best : int
        How many to return [count].
    keep : str
        Name of a blend that is returned in any case.
    """
    by_order = _sorted(plans, _order_money)
    kept = by_order[:best]
    by_wear = _sorted(plans, _wear_money)
    if by_wear and by_wear[0] not in kept:
        kept[-1] = by_wear[0]
    kept += [plan for plan in by_order if plan.candidate.name == keep and plan not in kept]
    order, wear = _sorted(kept, _order_money), _sorted(kept, _wear_money)
    return tuple(
        Ranked(
            plan,
            place,
            wear.index(plan) + 1,
            _tied(plan, order, _order_money),
            _tied(plan, wear, _wear_money),
        )
        for place, plan in enumerate(order, start=1)
    )


def _order_money(plan: OrderPlan) -> float:
    return plan.cost_order.per_good_vessel


def _wear_money(plan: OrderPlan) -> float:
    return plan.cost_wear.per_good_vessel


def _group(plan: OrderPlan) -> int:
    """Return 0 for a plan in time, 1 for a late one, 2 for a blend that cannot be cast; 3 more if unsure."""
    place = 2 if plan.schedule is None else 0 if plan.meets_date else 1
    return place if plan.candidate.sure else place + 3


def _sorted(plans: Sequence[OrderPlan], cost: Callable[[OrderPlan], float]) -> list[OrderPlan]:
    out: list[OrderPlan] = []
    for unsure in (0, 3):
        in_time, late, never = ([p for p in plans if _group(p) == unsure + place] for place in range(3))
        late.sort(key=lambda plan: (_ready(plan), cost(plan)))
        out += [*_ties_by_date(in_time, cost), *late, *sorted(never, key=cost)]
    return out


def _ties_by_date(plans: Sequence[OrderPlan], cost: Callable[[OrderPlan], float]) -> Iterable[OrderPlan]:
    """Yield plans by cost, those within 1 % of the cheapest of their tie by the day they are ready."""
    left = sorted(plans, key=cost)
    while left:
        tie = [plan for plan in left if cost(plan) <= cost(left[0]) * (1.0 + TIE)]
        yield from sorted(tie, key=lambda plan: (_ready(plan), cost(plan)))
        left = left[len(tie) :]


def _ready(plan: OrderPlan) -> datetime.date:
    return plan.ready or datetime.date.max


def _tied(plan: OrderPlan, ranked: Sequence[OrderPlan], cost: Callable[[OrderPlan], float]) -> bool:
    group = [each for each in ranked if _group(each) == _group(plan)]
    low, high = sorted((cost(plan), cost(group[0])))
    return plan is not group[0] and high <= low * (1.0 + TIE)
