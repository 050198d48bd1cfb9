"""From a job file to a `Job`, or to all the file's faults at once."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from optimizer.errors import Fault, FileFaults
from optimizer.job import Job
from optimizer.job_inputs import Bounds, Candle, Price, Shop, Vessel, ring_volume
from optimizer.jobfile.checks import complaints
from optimizer.jobfile.faults import Faults, nearest, read_form
from optimizer.jobfile.keys import UNTITLED, VESSEL
from optimizer.key_kinds import keys_of
from optimizer.materials import Catalogue, unknown_repair
from optimizer.toml_files import parse_toml, read_text, shown_key, shown_value

_GEOMETRY: Final = ("outer_diameter", "height", "wall")
_MOST_ENTRIES: Final = 200
_MOST_INTEGER: Final = 10**15


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
