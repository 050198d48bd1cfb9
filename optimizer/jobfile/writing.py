"""From a `Job` to the text of a job file that reads back to an equal one.

The files that ship: a job to start from, and the demo job with its six invented casts and their fit.
"""

from __future__ import annotations

from dataclasses import fields
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from optimizer.job import Job, ring_volume
from optimizer.jobfile.keys import UNTITLED, write_limit, write_objective
from optimizer.key_kinds import keys_of

TEMPLATES: Final = ("job", "demo")
"""``job`` is the commented file to start from, ``demo`` the shipped demo job."""

_FOLDER: Final = files("optimizer") / "templates"


def write_job(job: Job) -> str:
    """Return the text of a job file that reads back to a job equal to `job`.

    Values the caster stated are written, and values that differ from their default; nothing else, so
    that whoever reads the file still sees which figures are the caster's.

    Examples
    --------
    >>> from optimizer.job import Shop, Vessel
    >>> print(write_job(Job("Cup", "EUR", ("gypsum_cement",), Vessel(215.0), Shop(wage=24.5))))
    title = "Cup"
    currency = "EUR"
    materials = [
        "gypsum_cement",
    ]
    <BLANKLINE>
    [vessel]
    cavity_volume = "215 mL"
    <BLANKLINE>
    [shop]
    wage = "24.5 /h"
    <BLANKLINE>
    """
    import tomli_w

    return tomli_w.dumps({**_top(job), **_tables(job)})


def _top(job: Job) -> dict[str, Any]:
    top = {
        "title": job.title,
        "currency": job.currency,
        "materials": list(job.materials),
        "objective": write_objective(job.objective, job.maximize),
        **_values(job, "", job.stated),
    }
    defaults = {"title": UNTITLED, "objective": "cost"}
    return {key: value for key, value in top.items() if key in job.stated or value != defaults.get(key)}


def _tables(job: Job) -> dict[str, Any]:
    limits: dict[str, Any] = {}
    for limit in job.limits:
        limits.setdefault(limit.property, []).append(write_limit(limit))
    tables = {
        "shop": _values(job.shop, "shop.", job.stated),
        "limits": {name: texts[0] if len(texts) == 1 else texts for name, texts in limits.items()},
        "bounds": {n: _values(x, f"bounds.{n}.", job.stated) for n, x in job.bounds.items()},
        "prices": {n: _values(x, f"prices.{n}.", job.stated) for n, x in job.prices.items()},
    }
    candle = {} if job.candle is None else {"candle": _values(job.candle, "candle.", job.stated)}
    return {"vessel": _vessel(job), **candle, **{name: table for name, table in tables.items() if table}}


def _vessel(job: Job) -> dict[str, Any]:
    vessel, stated = job.vessel, job.stated
    values = _values(vessel, "vessel.", stated)
    by_ring = {"outer_diameter", "height", "wall"} <= values.keys() and "vessel.cavity_volume" not in stated
    ring = ring_volume(vessel.outer_diameter, vessel.height, vessel.wall, vessel.base)
    if by_ring and vessel.cavity_volume == ring:
        del values["cavity_volume"]
    return values


def _values(record: Any, prefix: str, stated: frozenset[str]) -> dict[str, Any]:  # noqa: ANN401  any annotated record
    """Return the stated values of `record` and those that differ from its defaults."""
    defaults = {each.name: each.default for each in fields(record)}
    values: dict[str, Any] = {}
    kind: type = type(record)
    for key in keys_of(kind):
        name = key.field or key.name
        value = getattr(record, name)
        if value is not None and (f"{prefix}{key.name}" in stated or value != defaults[name]):
            values[key.name] = key.write(value)
    return values


def template(name: str) -> str:
    """Return the text of the shipped job file `name`, one of `TEMPLATES`; `KeyError` for another.

    Examples
    --------
    >>> template("demo").startswith("#")
    True
    """
    if name not in TEMPLATES:
        raise KeyError(f"{name!r} is none of {', '.join(TEMPLATES)}")
    return (_FOLDER / f"{name}.toml").read_text(encoding="utf-8")


def example_casts() -> str:
    """Return the text of the shipped trial table: six invented casts of the demo's studio."""
    return (_FOLDER / "casts.csv").read_text(encoding="utf-8")


def demo_fit() -> Path:
    """Return the shipped file of what the six invented casts teach."""
    return Path(str(_FOLDER / "demo_calibration.toml"))
