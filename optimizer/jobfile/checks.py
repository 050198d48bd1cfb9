"""What the values of a job must be together, where each alone looks right.

Every ``check_*`` function looks at one such rule and yields a complaint per breach.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from optimizer.job import Job
from optimizer.job_inputs import Bounds
from optimizer.materials import Catalogue

_SLACK: Final = 1e-9


@dataclass(frozen=True)
class Complaint:
    """A breach of one rule.

    Attributes
    ----------
    keys : tuple[str, ...]
        Dotted keys the rule is about; the first one is where the repair belongs.
    value, allowed, repair : str
        As in `optimizer.errors.Fault`.
    """

    keys: tuple[str, ...]
    value: str
    allowed: str
    repair: str


def complaints(job: Job, catalogue: Catalogue) -> tuple[Complaint, ...]:
    """Return every breach of the rules that bind values of `job` together."""
    lists = tuple(check_materials(job, catalogue))
    shares = () if lists else tuple(check_blend_bounds(job, catalogue))
    return (*lists, *check_geometry(job), *check_shift(job), *check_money(job), *shares)


def check_materials(job: Job, catalogue: Catalogue) -> Iterator[Complaint]:
    """Yield a complaint when nothing in the list would set."""
    roles = [catalogue.materials[name].role for name in job.materials if name in catalogue.materials]
    if job.materials and "binder" not in roles:
        binders = [name for name in catalogue if catalogue[name].role == "binder"]
        repair = f"Add a binder, such as {', '.join(binders[:3])}." if binders else "Add a binder."
        yield Complaint(("materials",), ", ".join(job.materials), "at least one binder", repair)


def check_geometry(job: Job) -> Iterator[Complaint]:
    """Yield a complaint when wall or base leave no hollow."""
    vessel = job.vessel
    if 2.0 * vessel.wall >= vessel.outer_diameter:
        keys = ("vessel.wall", "vessel.outer_diameter")
        allowed = f"less than half the outer diameter of {vessel.outer_diameter:g} mm"
        yield Complaint(keys, f"{vessel.wall:g} mm", allowed, "Check wall and outer_diameter.")
    if vessel.base >= vessel.height:
        keys = ("vessel.base", "vessel.height")
        allowed = f"less than the height of {vessel.height:g} mm"
        yield Complaint(keys, f"{vessel.base:g} mm", allowed, "Check base and height.")


def check_shift(job: Job) -> Iterator[Complaint]:
    """Yield a complaint when a shift is over before one mold is mixed for and filled."""
    shop = job.shop
    pour = max(shop.mixing + shop.prep, shop.cast_minutes / shop.people)
    if shop.shift < pour:
        keys = ("shop.shift", "shop.mixing", "shop.prep", "shop.cast_minutes", "shop.people")
        allowed = f"at least one pour, which takes {pour:g} min"
        yield Complaint(keys, f"{shop.shift:g} min", allowed, "Write the working time of a day.")


def check_money(job: Job) -> Iterator[Complaint]:
    """Yield complaints about shares of the price that leave nothing, and breaks that are no bargain."""
    kept = 1.0 - job.shop.fees - job.shop.profit
    if kept <= 0.0:
        keys = ("shop.profit", "shop.fees")
        value = f"fees {job.shop.fees:g} and profit {job.shop.profit:g}"
        yield Complaint(keys, value, "together below 1", "Write both as shares of the selling price.")
    for name, price in job.prices.items():
        if price.breaks and price.breaks[0][1] > price.price:
            keys = (f"prices.{name}.breaks", f"prices.{name}.price")
            allowed = f"at most the price of one pack, {price.price:g}"
            yield Complaint(
                keys, f"{price.breaks[0][1]:g}", allowed, "Write the price of one pack, not of all."
            )


def check_blend_bounds(job: Job, catalogue: Catalogue) -> Iterator[Complaint]:
    """Yield complaints about bounds that no blend of the listed materials can keep."""
    bounds = {name: _bounds(job, catalogue, name) for name in job.materials}
    crossed = [name for name, bound in bounds.items() if bound.least > bound.most]
    for name in crossed:
        keys = (f"bounds.{name}.min", f"bounds.{name}.max")
        allowed = f"at most the largest share, {bounds[name].most:g}"
        yield Complaint(keys, f"{bounds[name].least:g}", allowed, "Swap min and max, or lower the min.")
    if not crossed and bounds:
        yield from _check_whole(bounds, job.at_most_materials)


def _bounds(job: Job, catalogue: Catalogue, name: str) -> Bounds:
    """Return the stated bounds of a material, within the largest share its spec allows."""
    stated = job.bounds.get(name, Bounds())
    largest = catalogue[name].figure("max_share", 1.0) if name in catalogue.materials else 1.0
    return Bounds(stated.least, min(stated.most, largest))


def _check_whole(bounds: Mapping[str, Bounds], at_most: int | None) -> Iterator[Complaint]:
    keys = ("bounds", "materials", *(f"bounds.{name}" for name in bounds))
    most = math.fsum(bound.most for bound in bounds.values())
    if most < 1.0 - _SLACK:
        repair = "Raise a max, or add a material; the largest share in a spec file counts too."
        yield Complaint(keys, f"largest shares that sum to {most:g}", "a sum of 1 or more", repair)
        return
    forced = _forced(bounds)
    least = math.fsum(bounds[name].least for name in forced)
    if least > 1.0 + _SLACK:
        value = f"min values of {', '.join(forced)} that sum to {least:g}"
        yield Complaint(keys, value, "a sum of at most 1", "Lower a min: no blend can do without these.")
    needed = _fewest(bounds)
    if at_most is not None and at_most < needed:
        allowed = f"at least {needed}: fewer cannot fill a blend within their max"
        yield Complaint(("at_most_materials", *keys), f"{at_most}", allowed, "Raise it, or raise a max.")


def _forced(bounds: Mapping[str, Bounds]) -> list[str]:
    """Return the materials without which the others cannot fill a blend."""
    most = math.fsum(bound.most for bound in bounds.values())
    return [name for name, bound in bounds.items() if most - bound.most < 1.0 - _SLACK]


def _fewest(bounds: Mapping[str, Bounds]) -> int:
    """Return the least number of materials whose largest shares fill a blend."""
    total, shares = 0.0, sorted((bound.most for bound in bounds.values()), reverse=True)
    for count, share in enumerate(shares, start=1):
        total += share
        if total >= 1.0 - _SLACK:
            return count
    return len(shares)
