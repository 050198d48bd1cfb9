"""From a job file to a `Job`, or to all the file's faults at once."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any, Final, TypeVar

from optimizer.errors import QuantityError
from optimizer.job import Job
from optimizer.jobfile.checks import complaints
from optimizer.jobfile.collecting import Collector, nearest
from optimizer.jobfile.keys import BOUNDS, CANDLE, PRICE, SHOP, TOP, TOP_VALUES, UNTITLED, VESSEL
from optimizer.jobfile.limits import read_limits, read_objective
from optimizer.jobfile.loading import load_tables
from optimizer.materials import Catalogue, unknown_repair
from optimizer.nomenclature import PROPERTIES
from optimizer.shop import Bounds, Candle, Limit, Price, Shop, Vessel, ring_volume
from optimizer.toml_files import read_text, shown_key, shown_value

__all__ = ["parse_job", "read_job"]

T = TypeVar("T")

_CURRENCY_HINTS: Final = {"€": "EUR", "$": "USD", "£": "GBP", "¥": "JPY", "EURO": "EUR", "DOLLAR": "USD"}
_GEOMETRY: Final = ("outer_diameter", "height", "wall")


def read_job(source: str | Path, catalogue: Catalogue, *, name: str = "") -> Job:
    """Read a job from a file or from the text of one.

    Parameters
    ----------
    source : str or Path
        Path of the file, or its text: a string with a line break or an equals sign is text, and so is
        an empty one.
    catalogue : Catalogue
        Materials that may be named.
    name : str
        What faults call the file; its path, or "job", where left out.

    Returns
    -------
    Job
        The job, with the keys its file states in `Job.stated`.

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
        All faults of the file.
    """
    data = load_tables(text, where)
    found = Collector(where)
    found.unknown(data, TOP, "")
    objective, maximize = _optional(found, data, "objective", read_objective) or ("cost", False)
    job = Job(
        **{"title": UNTITLED, **found.values(data, TOP_VALUES)},
        currency=_currency(found, data),
        materials=_materials(found, data, catalogue),
        vessel=_vessel(found, data),
        shop=Shop(**found.table(data.get("shop", {}), SHOP, "shop")),
        candle=Candle(**found.table(data["candle"], CANDLE, "candle")) if "candle" in data else None,
        limits=_limits(found, data.get("limits", {})),
        prices=_by_material(found, data, "prices", _price, catalogue),
        bounds=_by_material(found, data, "bounds", _bounds, catalogue),
        objective=objective,
        maximize=maximize,
        stated=frozenset(found.stated),
    )
    found.complain(complaints(job, catalogue))
    found.raise_any()
    return job


def _optional(found: Collector, data: dict[str, Any], key: str, read: Callable[[Any], T]) -> T | None:
    return found.take(key, read, data[key]) if key in data else None


def _currency(found: Collector, data: dict[str, Any]) -> str:
    if "currency" not in data:
        found.missing("currency", 'a code such as "EUR" or "USD"', 'Add currency = "EUR" or another code.')
    return _optional(found, data, "currency", _currency_code) or "EUR"


def _currency_code(raw: object) -> str:
    if isinstance(raw, str) and re.fullmatch("[A-Z]{3}", raw):
        return raw
    word = raw.strip().upper() if isinstance(raw, str) else ""
    meant = _CURRENCY_HINTS.get(word) or _CURRENCY_HINTS.get(word.removesuffix("S"))
    if meant is None and re.fullmatch("[A-Z]{3}", word):
        meant = word
    repair = (
        f'Write "{meant}" if that is the currency meant.' if meant else 'Write a code such as "EUR" or "USD".'
    )
    raise QuantityError(raw, "three capital letters, the currency's ISO 4217 code", repair)


def _materials(found: Collector, data: dict[str, Any], catalogue: Catalogue) -> tuple[str, ...]:
    raw = data.get("materials")
    if not isinstance(raw, list) or not raw:
        value = "nothing" if raw is None else shown_value(raw)
        binders = [name for name in catalogue if catalogue[name].role == "binder"][:2]
        repair = f"Write a list such as materials = {json.dumps(binders)}."
        found.fault("materials", value, "a list of material names in quotes", repair)
        return ()
    found.stated.add("materials")
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


def _vessel(found: Collector, data: dict[str, Any]) -> Vessel:
    raw = data.get("vessel", {})
    values = found.table(raw, VESSEL, "vessel")
    if _volume_missing(raw):
        place = "vessel.cavity_volume" if raw else "vessel"
        repair = 'Fill the mold with water, weigh it (1 g is 1 mL) and write cavity_volume = "215 mL".'
        found.missing(place, "cavity_volume by water fill, or outer_diameter, height and wall", repair)
    if "cavity_volume" not in values:
        ring = Vessel(cavity_volume=1.0, **values)
        values["cavity_volume"] = ring_volume(ring.outer_diameter, ring.height, ring.wall, ring.base)
    return Vessel(**values)


def _volume_missing(raw: object) -> bool:
    """Return whether a vessel's table lacks its volume; not so where a misspelt key may be meant for it."""
    if not isinstance(raw, dict) or raw.keys() - {key.name for key in VESSEL}:
        return False
    return "cavity_volume" not in raw and not all(name in raw for name in _GEOMETRY)


def _limits(found: Collector, raw: object) -> tuple[Limit, ...]:
    if not found.is_table(raw, "limits"):
        return ()
    found.unknown(raw, PROPERTIES, "limits")
    limits: list[Limit] = []
    for name, bound in raw.items():
        if name in PROPERTIES:
            limits += found.take(f"limits.{name}", partial(read_limits, name), bound) or ()
    return tuple(limits)


def _by_material(
    found: Collector,
    data: dict[str, Any],
    section: str,
    read: Callable[[Collector, object, str], T],
    catalogue: Catalogue,
) -> dict[str, T]:
    """Return one record per table ``[section.material]``; tables of materials not listed are faults."""
    raw = data.get(section, {})
    if not found.is_table(raw, section):
        return {}
    materials = data.get("materials")
    listed = [name for name in materials if isinstance(name, str)] if isinstance(materials, list) else []
    for name in raw:
        known = name in catalogue.materials
        # Where the list itself is at fault, a table of a known material may only be its echo.
        if name not in listed and not (known and found.faulty("materials")):
            at = f"{section}.{shown_key(name)}"
            if known:
                value, repair = "a table of a material not in materials", f"put {name} into materials"
                found.fault(at, value, "tables of listed materials", f"Take this table out, or {repair}.")
            else:
                near = ", ".join(nearest(name, catalogue))
                found.fault(at, "an unknown material", f"nearest: {near}", unknown_repair(name, found.where))
    return {name: read(found, table, f"{section}.{shown_key(name)}") for name, table in raw.items()}


def _price(found: Collector, raw: object, prefix: str) -> Price:
    values = found.table(raw, PRICE, prefix)
    for name, example in (("pack", '"25 kg"'), ("price", "41.50")):
        if isinstance(raw, dict) and name not in raw:
            found.missing(
                f"{prefix}.{name}", f"such as {example}", f"Add {name} = {example} with your figure."
            )
    return Price(**{"pack": 1.0, "price": 0.0, **values})


def _bounds(found: Collector, raw: object, prefix: str) -> Bounds:
    return Bounds(**found.table(raw, BOUNDS, prefix))
