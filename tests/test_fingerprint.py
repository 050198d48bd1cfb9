"""The fingerprint: same input, same text, and every input counts."""

from __future__ import annotations

import datetime
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from optimizer.fingerprint import fingerprint
from optimizer.job import Job, Limit, Price, Shop, Vessel
from optimizer.materials import Catalogue, Figure, Material, canonical_text

PLASTER = Material(
    "plaster",
    "plaster",
    "binder",
    phases={"hemihydrate_beta": 0.9, "inert": 0.1},
    figures={"density": Figure(2.7, 2.6, 2.8, "g/cm3", "book")},
    path="/here/plaster.toml",
)
CATALOGUE = Catalogue({"plaster": PLASTER}, {"air": Figure(0.02, 0.01, 0.03, "fraction", "book")}, {})
JOB = Job(
    "Cup",
    "EUR",
    ("plaster",),
    Vessel(215.0),
    limits=(Limit("dry_mass", "<=", 365.0),),
    prices={"plaster": Price(25.0, 22.0, breaks=((10, 20.0),))},
)
PRESENT = fingerprint(JOB, CATALOGUE)


def with_plaster(**changes) -> Catalogue:
    return replace(CATALOGUE, materials={"plaster": replace(PLASTER, **changes)})


def test_it_is_a_sha256():
    assert len(bytes.fromhex(PRESENT)) == 32


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "null"),
        (True, "true"),
        (6, "6.0"),
        (6.0, "6.0"),
        (-0.0, "0.0"),
        (0.1 + 0.2, "0.30000000000000004"),
        (float("inf"), '"inf"'),
        (float("nan"), '"nan"'),
        (datetime.date(2026, 12, 24), '"2026-12-24"'),
        ("µ", '"\\u00b5"'),
        ({"b": 1, "a": (2, [])}, '{"a":[2.0,[]],"b":1.0}'),
    ],
    ids=str,
)
def test_canonical_text(value, text):
    assert canonical_text(value) == text


def test_what_has_no_canonical_text_is_refused():
    with pytest.raises(TypeError, match="set has no canonical text"):
        canonical_text({1, 2})


@pytest.mark.parametrize(
    "changes",
    [
        {"title": "Mug"},
        {"confidence": 0.9},
        {"shop": Shop(wage=20.000000001)},
        {"limits": (Limit("dry_mass", "<=", 364.0),)},
        {"prices": {"plaster": Price(25.0, 22.0)}},
        {"vessel": Vessel(215.0, base=8.1)},
    ],
    ids=lambda changes: next(iter(changes)),
)
def test_every_value_of_the_job_counts(changes):
    assert fingerprint(replace(JOB, **changes), CATALOGUE) != PRESENT


@pytest.mark.parametrize(
    "catalogue",
    [
        with_plaster(phases={"hemihydrate_beta": 0.91, "inert": 0.09}),
        with_plaster(figures={"density": Figure(2.7, 2.6, 2.81, "g/cm3", "book")}),
        replace(CATALOGUE, model={"air": Figure(0.021, 0.01, 0.03, "fraction", "book")}),
    ],
    ids=["phases", "figure", "model"],
)
def test_every_figure_counts(catalogue):
    assert fingerprint(JOB, catalogue) != PRESENT


def test_the_calibration_counts():
    assert fingerprint(JOB, CATALOGUE, "[strength]") != PRESENT


def test_who_stated_what_and_where_files_lie_do_not_count():
    assert fingerprint(replace(JOB, stated=frozenset({"shop.wage"})), CATALOGUE) == PRESENT
    assert fingerprint(replace(JOB, in_hand="gypsum_cement=1@0.4"), CATALOGUE) == PRESENT
    assert fingerprint(JOB, with_plaster(path="/there/plaster.toml")) == PRESENT
    reordered = with_plaster(phases={"inert": 0.1, "hemihydrate_beta": 0.9})
    assert fingerprint(JOB, reordered) == PRESENT


def test_equal_jobs_have_one_fingerprint():
    whole = replace(JOB, vessel=Vessel(215), limits=(Limit("dry_mass", "<=", 365),))
    assert whole == JOB
    assert fingerprint(whole, CATALOGUE) == PRESENT


@pytest.mark.parametrize("seed", ["0", "1"])
def test_another_process_finds_the_same(seed):
    code = "from tests.test_fingerprint import PRESENT; print(PRESENT)"
    here = Path(__file__).parent
    environment = {
        **os.environ,
        "PYTHONHASHSEED": seed,
        "PYTHONPATH": os.pathsep.join(map(str, (here, here.parent))),
    }
    run = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
    )
    assert run.stdout.strip() == PRESENT


def test_a_blend_that_was_named_counts_and_so_does_its_water():
    marks = {
        fingerprint(JOB, CATALOGUE, mix=mix)
        for mix in (({"a": 0.6, "b": 0.4}, 0.3), ({"a": 0.5, "b": 0.5}, 0.3), ({"a": 0.6, "b": 0.4}, 0.31))
    }
    assert len(marks | {PRESENT}) == 4


def test_the_noise_of_adding_up_does_not_count():
    shares = {"a": 0.1 + 0.2, "b": 0.7}
    assert fingerprint(JOB, CATALOGUE, mix=(shares, 0.3)) == fingerprint(
        JOB, CATALOGUE, mix=({"a": 0.3, "b": 0.7}, 0.1 + 0.2)
    )
