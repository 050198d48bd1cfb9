"""The integer model of a purchase: which packs, at which price break, in which deliveries.

Variables: packs bought of each offer at each price break (whole), whether that break is the one reached, and
for each delivery its freight, its trip and whether its freight falls away. The least packs and the most packs
of a break tie the two together. Solved to a gap of zero; the status is read in our own words and the
coverage checked again with the packs as whole numbers.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from optimizer.errors import VesselblendError
from optimizer.money.bags import Bags, delivery_of, purchase_money, trip_money, usable_mass
from optimizer.money.turns import whole_down, whole_up
from optimizer.shop import Price
from optimizer.solvers.quiet import quiet_stdout
from optimizer.solvers.status import Status, from_pulp

if TYPE_CHECKING:
    import pulp

__all__ = ["MILLIGRAM", "cheapest_bags"]

MILLIGRAM = 1e-6
"""Mass that no purchase is made for [kg]."""


@dataclass(frozen=True)
class _Step:
    """One price break of one offer: from `least` to `most` packs at `price` each."""

    least: int
    most: int
    price: float


@dataclass(frozen=True)
class _Line:
    """One offer in the model, with its variables: `packs` and `taken` by step, and their sums."""

    material: str
    offer: Price
    delivery: str
    packs: list[pulp.LpVariable]
    goods: pulp.LpAffineExpression
    used: pulp.LpAffineExpression


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
    import pulp

    model = pulp.LpProblem("bags", pulp.LpMinimize)
    lines = _add_lines(model, offers, short, wage)
    for material, mass in short.items():
        covers = [usable_mass(line.offer) * sum(line.packs) for line in lines if line.material == material]
        model += pulp.lpSum(covers) >= mass
    bought = [line.goods * (1.0 + line.offer.tax) for line in lines]
    carried = [line.offer.pack * line.offer.freight_per_kg * sum(line.packs) for line in lines]
    model.setObjective(pulp.lpSum(bought + carried + _add_deliveries(model, lines, wage)))
    with quiet_stdout():
        model.solve(pulp.HiGHS(msg=False, gapRel=0.0, gapAbs=0.0, threads=1, mip_feasibility_tolerance=1e-9))
    if from_pulp(model.status, model.sol_status) is not Status.OPTIMAL:
        raise VesselblendError("no proven answer to which bags to buy")
    return _read(lines, short)


def _add_lines(
    model: pulp.LpProblem, offers: Sequence[tuple[str, Price]], short: Mapping[str, float], wage: float
) -> list[_Line]:
    import pulp

    ceiling = _money_of_a_plain_purchase(offers, short, wage)
    lines = []
    for place, (material, offer) in enumerate(offers):
        steps = _steps(offer, short[material], ceiling)
        packs = [_whole(model, f"packs_{place}_{step}", each.most) for step, each in enumerate(steps)]
        taken = [_whole(model, f"taken_{place}_{step}", 1) for step in range(len(steps))]
        for count, chosen, step in zip(packs, taken, steps, strict=True):
            model += count >= step.least * chosen
            model += count <= step.most * chosen
        used = pulp.lpSum(taken)
        model += used <= 1
        goods = pulp.lpSum(step.price * count for step, count in zip(steps, packs, strict=True))
        lines.append(_Line(material, offer, delivery_of(offer, place), packs, goods, used))
    return lines


def _add_deliveries(model: pulp.LpProblem, lines: Sequence[_Line], wage: float) -> list[pulp.LpVariable]:
    import pulp

    money = []
    for place, key in enumerate(dict.fromkeys(line.delivery for line in lines)):
        members = [line for line in lines if line.delivery == key]
        freight = model.add_variable(f"freight_{place}", 0)
        trip = model.add_variable(f"trip_{place}", 0)
        free = _whole(model, f"free_{place}", 1)
        goods = pulp.lpSum(line.goods for line in members)
        stating = [line for line in members if line.offer.free_freight_from is not None]
        model += free <= pulp.lpSum(line.used for line in stating)
        for line in stating:
            model += goods >= line.offer.free_freight_from * (free + line.used - 1)
        for line in members:
            model += freight >= line.offer.freight * (line.used - free)
            model += trip >= trip_money(line.offer, wage) * line.used
        money += [freight, trip]
    return money


def _whole(model: pulp.LpProblem, name: str, most: int) -> pulp.LpVariable:
    return model.add_variable(name, 0, most, cat="Integer")


def _steps(offer: Price, mass: float, ceiling: float) -> list[_Step]:
    """Return the price breaks that can matter, each up to the packs a plain purchase's money could buy."""
    starts = [1, *(max(1, math.ceil(start)) for start, _ in offer.breaks)]
    each = [offer.price, *(price for _, price in offer.breaks)]
    needed = whole_up(mass / usable_mass(offer))
    free = offer.free_freight_from or 0.0
    cheapest = min(each)
    most = max(needed, starts[-1], whole_up(free / cheapest) if cheapest > 0.0 else 0)
    least_money = cheapest * (1.0 + offer.tax) + offer.freight_per_kg * offer.pack
    if least_money > 0.0:
        most = min(most, max(needed, whole_down(ceiling / least_money)))
    ends = [*(start - 1 for start in starts[1:]), most]
    steps = [_Step(*step) for step in zip(starts, ends, each, strict=True)]
    return [_Step(step.least, min(step.most, most), step.price) for step in steps if _within(step, most)]


def _within(step: _Step, most: int) -> bool:
    return step.least <= min(step.most, most)


def _money_of_a_plain_purchase(
    offers: Sequence[tuple[str, Price]], short: Mapping[str, float], wage: float
) -> float:
    """Return what covers the need from each material's first offer: no better purchase costs more."""
    first = dict(reversed(offers))
    plain = [
        Bags(name, whole_up(mass / usable_mass(first[name])), first[name]) for name, mass in short.items()
    ]
    return sum(purchase_money(plain, wage).values())


def _read(lines: Sequence[_Line], short: Mapping[str, float]) -> tuple[Bags, ...]:
    counts = [(line, round(sum(count.value() for count in line.packs))) for line in lines]
    bags = tuple(Bags(line.material, packs, line.offer) for line, packs in counts if packs)
    for material, grouped in itertools.groupby(bags, key=lambda line: line.material):
        if sum(line.usable for line in grouped) < short[material] - MILLIGRAM:
            raise VesselblendError(f"the bags found do not cover {material}")
    if {line.material for line in bags} != set(short):
        raise VesselblendError("the bags found leave a material out")
    return bags
