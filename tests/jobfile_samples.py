"""Sample jobs and job files for the tests of `optimizer.jobfile`."""

from __future__ import annotations

import copy
from functools import cache
from typing import Any

import pytest
import tomli_w
from hypothesis import strategies as st

from optimizer.errors import Fault, FileFaults
from optimizer.job import Bounds, Candle, Job, Limit, Price, Shop, Vessel
from optimizer.jobfile import complaints, parse_job
from optimizer.jobfile.keys import BOUNDS, CANDLE, PRICE, SHOP, TOP_VALUES, VESSEL, reach
from optimizer.key_kinds import (
    LEAST_MONEY,
    MOST_MONEY,
    Choice,
    Dates,
    Flag,
    Key,
    Number,
    Pairs,
    Text,
    Words,
)
from optimizer.nomenclature import PROPERTIES, quantity
from optimizer.specs import load_catalogue

CATALOGUE = load_catalogue()
DRY = tuple(name for name in CATALOGUE if CATALOGUE[name].role != "water")
BINDERS = tuple(name for name in DRY if CATALOGUE[name].role == "binder")

BASE: dict[str, Any] = {
    "title": "Cup",
    "currency": "EUR",
    "materials": ["gypsum_cement", "marble_flour"],
    "vessel": {"cavity_volume": "215 mL"},
    "candle": {"burn_rate": "4.5 g/h"},
    "shop": {"wage": "20 /h"},
    "limits": {"dry_strength": ">= 25 MPa"},
    "prices": {"gypsum_cement": {"pack": "25 kg", "price": 41.5}},
}


def text_with(changes: dict[str, Any], drop: str = "") -> str:
    """Return the base job as text, with the tables of `changes` merged in and the key `drop` left out."""
    data = copy.deepcopy(BASE)
    for key, value in changes.items():
        merged = isinstance(value, dict) and isinstance(data.get(key), dict)
        data[key] = {**data[key], **value} if merged else value
    data.pop(drop, None)
    return tomli_w.dumps(data)


def job_with(**changes: Any) -> Job:
    return parse_job(text_with(changes), CATALOGUE, "job.toml")


def faults_of(text: str) -> tuple[Fault, ...]:
    with pytest.raises(FileFaults, match=r"job\.toml") as caught:
        parse_job(text, CATALOGUE, "job.toml")
    return caught.value.faults


@cache
def values_of(key: Key) -> st.SearchStrategy[Any]:
    match key:
        case Number() if key.unit == "count" or key.whole:
            return st.integers(int(key.least), int(min(key.most, 1000)))
        case Number() if key.unit.startswith("currency") and key.least == 0.0:
            some = st.floats(LEAST_MONEY, min(key.most, MOST_MONEY))
            return some if key.open_least else st.just(0.0) | some
        case Number():
            top = min(key.most, MOST_MONEY)
            return st.floats(key.least, top, exclude_min=key.open_least, exclude_max=key.open_most).map(
                lambda x: x + 0.0
            )
        case Words():
            return st.sets(st.sampled_from(range(len(key.words))), min_size=1).map(lambda s: tuple(sorted(s)))
        case Dates():
            return st.sets(st.dates(), max_size=3).map(lambda s: tuple(sorted(s)))
        case Flag():
            return st.booleans()
        case Choice():
            return st.sampled_from(key.words)
        case Pairs():
            rows = st.tuples(*map(values_of, key.columns))
            return st.lists(rows, max_size=4, unique_by=lambda row: row[0]).map(
                lambda rows: in_order(rows, key.falling)
            )
        case Text():
            return st.text(st.characters(exclude_categories=["Cs"]), max_size=key.longest)
        case _:
            raise AssertionError(key)


def in_order(rows: list[tuple[float, float]], falling: bool) -> tuple[tuple[float, float], ...]:
    firsts, seconds = (sorted(column) for column in zip(*rows, strict=True)) if rows else ([], [])
    return tuple(zip(firsts, seconds[::-1] if falling else seconds, strict=True))


@st.composite
def records(draw: st.DrawFn, record: type, keys: tuple[Key, ...]) -> Any:
    """Return records with a handful of fields changed from their defaults."""
    needed = [key for key in keys if key.name in ("cavity_volume", "pack", "price")]
    some = draw(st.lists(st.sampled_from(keys), max_size=4, unique=True))
    return record(**{key.field or key.name: draw(values_of(key)) for key in dict.fromkeys([*needed, *some])})


@st.composite
def limit_groups(draw: st.DrawFn) -> tuple[Limit, ...]:
    limits: list[Limit] = []
    for name in draw(st.lists(st.sampled_from(PROPERTIES), max_size=5, unique=True)):
        low, high, _ = reach(name)
        inside = st.floats(max(low, -1e6), min(high, 1e6), exclude_min=True, exclude_max=True)
        if quantity(name).unit == "class":
            inside = st.just(1.0)
        elif quantity(name).unit == "count":
            inside = st.integers(1, 9).map(float)
        bounds = sorted(draw(st.lists(inside, min_size=2, max_size=2)))
        senses = draw(st.sampled_from([("<=",), (">=",), (">=", "<=")]))
        limits += [Limit(name, sense, bounds[sense == "<="]) for sense in senses]
    return tuple(limits)


@st.composite
def jobs(draw: st.DrawFn) -> Job:
    names = draw(st.lists(st.sampled_from(DRY), min_size=1, max_size=6, unique=True))
    materials = tuple(dict.fromkeys((*names, draw(st.sampled_from(BINDERS)))))
    some = st.sampled_from(materials)
    objective = draw(st.sampled_from(PROPERTIES))
    return Job(
        title=draw(values_of(TOP_VALUES[0])),
        currency=draw(st.from_regex("[A-Z]{3}", fullmatch=True)),
        materials=materials,
        vessel=draw(records(Vessel, VESSEL)),
        shop=draw(records(Shop, SHOP)),
        candle=draw(st.none() | records(Candle, CANDLE)),
        limits=draw(limit_groups()),
        prices=draw(st.dictionaries(some, records(Price, PRICE), max_size=3)),
        bounds=draw(st.dictionaries(some, records(Bounds, BOUNDS), max_size=3)),
        at_most_materials=draw(st.none() | st.integers(1, 9)),
        confidence=draw(st.floats(0.5, 0.999)),
        objective=objective,
        maximize=objective != "cost" and draw(st.booleans()),
        example_prices=draw(st.booleans()),
        stated=draw(st.frozensets(st.sampled_from(["shop.wage", "confidence", "vessel.height"]))),
    )


def sound_jobs() -> st.SearchStrategy[Job]:
    """Return jobs nothing is wrong with."""
    return jobs().filter(lambda job: not complaints(job, CATALOGUE))
