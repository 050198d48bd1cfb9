"""From a job file to a `Job`, or to all the file's faults at once.

What pydantic finds is put into our words, with a repair each. What values must be together, where each alone
looks right, is looked at by the ``check_*`` functions: one rule each, a complaint per breach.
"""

from __future__ import annotations

import copy
import json
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from optimizer.errors import Fault, FileFaults
from optimizer.job import Bounds, Candle, Job, Price, Shop, Vessel, ring_volume
from optimizer.jobfile.keys import BOUNDS, CANDLE, HOMES, PRICE, SHOP, TOP, UNTITLED, VESSEL
from optimizer.key_kinds import keys_of
from optimizer.materials import Catalogue, unknown_repair
from optimizer.nomenclature import PROPERTIES
from optimizer.toml_files import parse_toml, read_text, shown_key, shown_value

if TYPE_CHECKING:
    from pydantic import BaseModel

_GEOMETRY: Final = ("outer_diameter", "height", "wall")
_MOST_ENTRIES: Final = 200
_MOST_INTEGER: Final = 10**15

_SLACK: Final = 1e-9

_KEYS: Final = {"vessel": VESSEL, "candle": CANDLE, "shop": SHOP, "prices": PRICE, "bounds": BOUNDS}
_KNOWN: Final[dict[object, Sequence[str]]] = {
    "limits": PROPERTIES,
    **{table: [key.name for key in keys] for table, keys in _KEYS.items()},
}
_MISSING: Final = {
    "currency": ('a code such as "EUR" or "USD"', 'Add currency = "EUR" or another code.'),
    "pack": ('such as "25 kg"', 'Add pack = "25 kg" with your figure.'),
    "price": ("such as 41.50", "Add price = 41.50 with your figure."),
}
"""What is asked for where it is missing; materials and vessel are asked for with the catalogue at hand."""

_STAND_INS: Final[dict[tuple[int, object], Any]] = {
    (1, "currency"): "EUR",
    (1, "materials"): [],
    (1, "vessel"): {},
    (3, "pack"): "1 kg",
    (3, "price"): 0.0,
}
"""Values in place of those at fault, by depth and key, so that the rest of the file can be looked at."""


def read_job(source: str | Path, catalogue: Catalogue, *, name: str = "") -> Job:
    """Read a job from a file or from the text of one.

    A string with a line break or an equals sign is text, and so is an empty one; `name` is what faults call
    the file: its path, or "job", where left out. `Job.stated` holds the keys that the file states.

    Raises
    ------
    FileFaults
        All faults of the file.
    """
    if isinstance(source, str) and (not source.strip() or re.search(r"[=\n]", source)):
        return parse_job(source, catalogue, name or "job")
    where = name or str(source)
    return parse_job(read_text(Path(source), where), catalogue, where)


def parse_job(text: str, catalogue: Catalogue, where: str) -> Job:
    """Read a job from the text of a job file; `where` names the file in faults.

    Raises
    ------
    FileFaults
        All faults of the file, also if it is empty, too large, not TOML, or crowded beyond any job.
    """
    data = parse_toml(text, where)
    if excesses := _excesses(data, where):
        raise FileFaults(excesses)
    found = Faults(where)
    form: Any = read_form(data, found)
    objective, maximize = form.objective or ("cost", False)
    limits = (getattr(form.limits, name, None) for name in data.get("limits", ())) if form.limits else ()
    job = Job(
        **{"title": UNTITLED, **_values(Job, form)},
        currency=form.currency,
        materials=_materials(found, data, catalogue),
        vessel=_vessel(found, form.vessel, data.get("vessel", {})),
        shop=Shop(**_values(Shop, form.shop)),
        candle=None if form.candle is None else Candle(**_values(Candle, form.candle)),
        limits=tuple(limit for group in limits for limit in group or ()),
        prices={name: Price(**_values(Price, each)) for name, each in (form.prices or {}).items()},
        bounds={name: Bounds(**_values(Bounds, each)) for name, each in (form.bounds or {}).items()},
        objective=objective,
        maximize=maximize,
        stated=frozenset(_stated(data)),
    )
    for section in ("prices", "bounds"):
        _check_names(found, data, section, catalogue)
    found.complain(complaints(job, catalogue))
    found.raise_any()
    return job


def _values(record: type, form: Any) -> dict[str, Any]:  # noqa: ANN401  a model of the record
    """Return the values that a table states, by record field."""
    stated = set() if form is None else form.model_fields_set
    return {key.field or key.name: getattr(form, key.name) for key in keys_of(record) if key.name in stated}


def _stated(data: Mapping[str, Any], prefix: str = "") -> Iterator[str]:
    for name, value in data.items():
        key = f"{prefix}{shown_key(name)}"
        if isinstance(value, dict):
            yield from _stated(value, f"{key}.")
        else:
            yield key


def _materials(found: Faults, data: dict[str, Any], catalogue: Catalogue) -> tuple[str, ...]:
    raw = data.get("materials")
    if not isinstance(raw, list) or not raw:
        value = "nothing" if raw is None else shown_value(raw)
        binders = [name for name in catalogue if catalogue[name].role == "binder"][:2]
        repair = f"Write a list such as materials = {json.dumps(binders)}."
        found.fault("materials", value, "a list of material names in quotes", repair)
        return ()
    good: list[str] = []
    for name in raw:
        problem = _material_problem(name, good, catalogue, found.where)
        if problem:
            found.fault("materials", shown_value(name), *problem)
        else:
            good.append(name)
    return tuple(good)


def _material_problem(
    name: object, seen: list[str], catalogue: Catalogue, where: str
) -> tuple[str, str] | None:
    """Return what is allowed and the repair where `name` cannot join the list."""
    if not isinstance(name, str):
        return "a material's name in quotes", "Write the name in quotes."
    if name in seen:
        return "each material once", "Take the second mention out."
    if name not in catalogue.materials:
        near = ", ".join(nearest(name, catalogue))
        return f"a known material; nearest: {near}", unknown_repair(name, where)
    if catalogue[name].role == "water":
        return "dry materials", "Take it out: water is always there."
    return None


def _vessel(found: Faults, form: Any, raw: object) -> Vessel:  # noqa: ANN401  a model of the record
    values = _values(Vessel, form)
    if _volume_missing(raw):
        place = "vessel.cavity_volume" if raw else "vessel"
        repair = 'Fill the mold with water, weigh it (1 g is 1 mL) and write cavity_volume = "215 mL".'
        allowed = "cavity_volume by water fill, or outer_diameter, height and wall"
        found.fault(place, "nothing", allowed, repair)
    if "cavity_volume" not in values:
        ring = Vessel(cavity_volume=1.0, **values)
        values["cavity_volume"] = ring_volume(ring.outer_diameter, ring.height, ring.wall, ring.base)
    return Vessel(**values)


def _volume_missing(raw: object) -> bool:
    """Return whether a vessel's table lacks its volume; not so where a misspelt key may be meant for it."""
    if not isinstance(raw, dict) or raw.keys() - {key.name for key in VESSEL}:
        return False
    return "cavity_volume" not in raw and not all(name in raw for name in _GEOMETRY)


def _check_names(found: Faults, data: Mapping[str, Any], section: str, catalogue: Catalogue) -> None:
    """Note a fault per table ``[section.material]`` of a material that is not listed."""
    raw, materials = data.get(section, {}), data.get("materials")
    listed = [name for name in materials if isinstance(name, str)] if isinstance(materials, list) else []
    for name in raw if isinstance(raw, dict) else ():
        known = name in catalogue.materials
        # Where the list itself is at fault, a table of a known material may only be its echo.
        if name in listed or (known and found.faulty("materials")):
            continue
        at = f"{section}.{shown_key(name)}"
        if known:
            value, repair = "a table of a material not in materials", f"put {name} into materials"
            found.fault(at, value, "tables of listed materials", f"Take this table out, or {repair}.")
        else:
            near = ", ".join(nearest(name, catalogue))
            found.fault(at, "an unknown material", f"nearest: {near}", unknown_repair(name, found.where))


def _excesses(value: object, where: str, keys: tuple[object, ...] = ()) -> list[Fault]:
    """Return faults of values no reader should be troubled with."""
    at = f"{where}:{'.'.join(map(shown_key, keys))}" if keys else where
    if isinstance(value, int) and abs(value) > _MOST_INTEGER:
        return [Fault(at, "a number beyond any size", "ordinary numbers", "Check the number.")]
    if not isinstance(value, dict | list):
        return []
    if len(value) > _MOST_ENTRIES:
        allowed = f"at most {_MOST_ENTRIES} entries in one place"
        return [Fault(at, f"{len(value)} entries", allowed, "Check that this is a job file.")]
    items = value.items() if isinstance(value, dict) else enumerate(value, start=1)
    return [fault for name, item in items for fault in _excesses(item, where, (*keys, name))]


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


class Faults:
    """Faults of one file while it is read; `where` names the file in them."""

    def __init__(self, where: str) -> None:
        self.where = where
        self._faults: list[Fault] = []
        self._keys: set[str] = set()

    def fault(self, key: str, value: str, allowed: str, repair: str) -> None:
        """Note one fault of the dotted `key`."""
        self._keys.add(key)
        self._faults.append(Fault(f"{self.where}:{key}", value, allowed, repair))

    def complain(self, complaints: Iterable[Complaint]) -> None:
        """Note the complaints, less those about a key that had a fault before: they may only be its echo."""
        for each in [each for each in complaints if not any(self.faulty(key) for key in each.keys)]:
            self.fault(each.keys[0], each.value, each.allowed, each.repair)

    def faulty(self, key: str) -> bool:
        """Return whether a fault was noted for `key`, the table it is in, or a key in it."""
        return any(
            key == known or key.startswith(f"{known}.") or known.startswith(f"{key}.") for known in self._keys
        )

    def raise_any(self) -> None:
        """Raise all noted faults; `FileFaults`."""
        if self._faults:
            raise FileFaults(self._faults)


def read_form(data: dict[str, Any], found: Faults) -> BaseModel:
    """Return the values of a job file's tables; faults are noted, and what is at fault is as if left out."""
    from pydantic import ValidationError

    from optimizer.jobfile.forms import job_form

    try:
        return job_form().model_validate(data)
    except ValidationError as error:
        rest = copy.deepcopy(data)
        for row in error.errors(include_url=False):
            _translate(row, found)
            _take_out(row, rest)
        return job_form().model_validate(rest)


def _translate(row: Mapping[str, Any], found: Faults) -> None:
    loc, key = row["loc"], ".".join(map(shown_key, row["loc"]))
    if row["type"] == "value_error":  # of a kind, which knows what is allowed
        error = row["ctx"]["error"]
        found.fault(key, shown_value(row["input"]), error.allowed, error.repair)
    elif row["type"] == "missing":
        if loc[-1] in _MISSING:
            found.fault(key, "nothing", *_MISSING[str(loc[-1])])
    elif row["type"] == "extra_forbidden":
        name = str(loc[-1])
        near = ", ".join(nearest(name, _KNOWN[loc[0]] if len(loc) > 1 else TOP))
        home = f"Move it to {HOMES[name]}." if name in HOMES else "Correct the key or take it out."
        found.fault(key, "an unknown key", f"nearest: {near}", home)
    else:
        repair = f"Write [{key}] on its own line and the values below it."
        found.fault(key, shown_value(row["input"]), "a table", repair)


def _take_out(row: Mapping[str, Any], data: dict[str, Any]) -> None:
    *path, last = row["loc"]
    table: Any = data
    for part in path:
        table = table[part]
    if row["type"] != "extra_forbidden" and (len(row["loc"]), last) in _STAND_INS:
        table[last] = _STAND_INS[len(row["loc"]), last]
    else:
        del table[last]


def nearest(name: str, names: Iterable[str]) -> list[str]:
    """Return the three of `names` most like `name`, best first.

    Examples
    --------
    >>> nearest("wagge", ["waste", "wage", "shift", "molds"])[0]
    'wage'
    """
    return get_close_matches(name[:80].lower(), tuple(names), n=3, cutoff=0.0)
