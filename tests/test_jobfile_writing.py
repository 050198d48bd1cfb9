"""Job files that are written: they read back to an equal job and keep the stored schema."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from importlib.resources import files
from typing import Any

import jsonschema
import pytest
from hypothesis import HealthCheck, given, settings

from optimizer.job import Vessel, ring_volume
from optimizer.jobfile import TEMPLATES, parse_job, schema, template, write_job
from optimizer.money.landed_cost import check_price
from optimizer.money.request import check_shop
from tests.jobfile_samples import CATALOGUE, job_with, sound_jobs, text_with

PATIENT = [HealthCheck.too_slow, HealthCheck.filter_too_much]


def as_json(text: str) -> Any:
    """Return TOML as an editor's schema checker sees it: dates are text."""
    return json.loads(json.dumps(tomllib.loads(text), default=str))


@settings(max_examples=100, deadline=None, suppress_health_check=PATIENT)
@given(sound_jobs())
def test_what_is_written_reads_back_to_an_equal_job(job):
    again = parse_job(write_job(job), CATALOGUE, "again")
    assert again == job
    assert job.stated <= again.stated
    assert write_job(again) == write_job(replace(job, stated=again.stated))


@settings(max_examples=50, deadline=None, suppress_health_check=PATIENT)
@given(sound_jobs())
def test_the_order_plan_finds_nothing_wrong_with_a_job_that_reads(job):
    prices = [fault for price in job.prices.values() for fault in check_price(price)]
    assert [*check_shop(job.shop), *prices] == []


def test_reading_and_writing_keep_who_stated_what():
    job = job_with(
        shop={"wage": "20 /h", "molds": 9},
        prices={"gypsum_cement": {"pack": "25 kg", "price": 41.5, "breaks": [[10, 38.0]]}},
    )
    assert "shop.wage" in job.stated  # although 20 /h is the default
    assert parse_job(write_job(job), CATALOGUE, "again").stated == job.stated


def test_the_vessel_by_its_measures_stays_so():
    vessel = Vessel(ring_volume(80.0, 90.0, 7.0, 8.0), 80.0, 90.0, 7.0)
    stated = frozenset({"vessel.outer_diameter", "vessel.height", "vessel.wall"})
    text = write_job(replace(job_with(), vessel=vessel, stated=stated))
    assert "cavity_volume" not in text
    assert parse_job(text, CATALOGUE, "again").vessel == vessel


def test_the_blend_in_hand_is_kept_and_asks_nothing_else():
    job = replace(job_with(), in_hand="gypsum_cement=75,marble_flour=25@0.33")
    read = parse_job(write_job(job), CATALOGUE, "again")
    assert read.in_hand == job.in_hand
    assert read == replace(job, in_hand="")


def test_stored_schema_is_the_present_one():
    stored = (files("optimizer") / "job_schema.json").read_text(encoding="utf-8")
    assert json.loads(stored) == schema(), (
        "write json.dumps(schema(), indent=1, ensure_ascii=False) to optimizer/job_schema.json"
    )


@pytest.mark.parametrize("name", TEMPLATES)
def test_shipped_jobs_keep_the_schema(name):
    jsonschema.Draft202012Validator.check_schema(schema())
    jsonschema.validate(as_json(template(name)), schema())


@settings(max_examples=25, deadline=None, suppress_health_check=PATIENT)
@given(sound_jobs())
def test_what_is_written_keeps_the_schema(job):
    jsonschema.validate(as_json(write_job(job)), schema())


@pytest.mark.parametrize(
    "changes",
    [
        {"shop": {"wagge": "20 /h"}},
        {"shop": {"mixing": 5}},
        {"shop": {"reject": 1.0}},
        {"limits": {"strength": ">= 2 MPa"}},
        {"limits": {"dry_strength": "25 MPa"}},
        {"currency": "€"},
        {"confidence": 0.4},
        {"objective": "beauty"},
    ],
    ids=str,
)
def test_schema_refuses_what_the_reader_refuses(changes):
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(as_json(text_with(changes)), schema())
