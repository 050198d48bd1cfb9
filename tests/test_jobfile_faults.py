"""Faults of job files: each is named with its place and its repair, and all of them at once."""

from __future__ import annotations

import time
from typing import Any

import pytest

from tests.jobfile_samples import faults_of, text_with


def prices(**values: Any) -> dict[str, Any]:
    return {"prices": {"gypsum_cement": {"pack": "25 kg", "price": 41.5, **values}}}


FAULTS = [
    # changes, where, part of what is allowed, part of the repair
    ({"shop": {"wagge": "20 /h"}}, "shop.wagge", "nearest: wage", "Correct the key"),
    ({"wage": "20 /h"}, "wage", "nearest:", "Move it to [shop]"),
    ({"shop": {"title": "Cup"}}, "shop.title", "nearest:", "Move it to the top of the file"),
    ({"shop": {"two\nlines": 1}}, r"shop.'two\nlines'", "nearest:", "Correct the key"),
    ({"limits": {"strength": ">= 2 MPa"}}, "limits.strength", "dry_strength", "Correct the key"),
    ({"materials": ["gypsum_cment"]}, "materials", "nearest: gypsum_cement, ", "Correct the name"),
    ({"materials": ["gypsum_cement", "gypsum_cement"]}, "materials", "once", "second mention"),
    ({"materials": ["gypsum_cement", "water"]}, "materials", "dry", "water is always there"),
    ({"materials": ["gypsum_cement", 3]}, "materials", "name in quotes", "in quotes"),
    ({"materials": "gypsum_cement"}, "materials", "a list", "Write a list"),
    ({"materials": []}, "materials", "a list", "Write a list"),
    ({"shop": {"mixing": 5}}, "shop.mixing", "a time such as", '"5 min"'),
    ({"shop": {"mixing": "5"}}, "shop.mixing", "a time such as", "Add the unit"),
    ({"shop": {"wage": 20}}, "shop.wage", "/h", '"20 /h"'),
    ({"vessel": {"height": "95 g"}}, "vessel.height", "a length such as", "mm, cm or in"),
    ({"limits": {"dry_strength": ">= 25"}}, "limits.dry_strength", "a strength such as", "Add the unit"),
    (
        {"limits": {"dry_strength": ">= 25 kg"}},
        "limits.dry_strength",
        "a strength such as",
        "MPa or psi",
    ),
    ({"shop": {"mixing": True}}, "shop.mixing", "a time such as", "one number with its unit"),
    ({"shop": {"overnight": "yes"}}, "shop.overnight", "true or false", "without quotes"),
    ({"shop": {"mold_view": "worn"}}, "shop.mold_view", '"wear", "order"', "one of these words"),
    ({"shop": {"molds": 2.5}}, "shop.molds", "whole number", "whole number"),
    ({"shop": {"humidity": 50}}, "shop.humidity", "at most 1", '"50 %" or 0.5'),
    ({"shop": {"humidity": float("nan")}}, "shop.humidity", "a share such as", "ordinary number"),
    ({"shop": {"mold_price": float("inf")}}, "shop.mold_price", "money", "ordinary number"),
    ({"shop": {"reject": 1}}, "shop.reject", "below 1", "smaller number"),
    ({"shop": {"finish_reject": 1.0}}, "shop.finish_reject", "below 1", "smaller number"),
    ({"shop": {"shift": "14 min"}}, "shop.shift", "15 min", "working time of a day"),
    (
        {"shop": {"fees": 0.4, "profit": 0.6}},
        "shop.profit",
        "together below 1",
        "shares of the selling price",
    ),
    ({"shop": {"working_days": []}}, "shop.working_days", '"Mon"', "Write a list"),
    ({"shop": {"working_days": ["Mon", "Someday"]}}, "shop.working_days", '"Mon"', "Write a list"),
    ({"shop": {"holidays": ["24 Dec"]}}, "shop.holidays", "dates", "2026-12-24"),
    ({"shop": {"holidays": "2026-12-24"}}, "shop.holidays", "a list of dates", "Write a list"),
    ({"shop": {"seal_days": "1.5 d"}}, "shop.seal_days", "a whole number of d", "whole number"),
    ({"shop": 3}, "shop", "a table", "[shop]"),
    (prices(price=-1), "prices.gypsum_cement.price", "0 or more", "minus sign"),
    (prices(pack="0 kg"), "prices.gypsum_cement.pack", "above 0", "Check the number"),
    ({"prices": {"gypsum_cement": {"pack": "25 kg"}}}, "prices.gypsum_cement.price", "41.50", "Add price"),
    ({"prices": {"gypsum_cement": 41.5}}, "prices.gypsum_cement", "a table", "[prices.gypsum_cement]"),
    (prices(breaks=[[10, 38.0], [4, 40.0]]), "prices.gypsum_cement.breaks", "rising order", "Sort the rows"),
    (prices(breaks=[[4, 38.0], [4, 37.0]]), "prices.gypsum_cement.breaks", "rising order", "Sort the rows"),
    (prices(breaks=[[4, 38.0], [10, 40.0]]), "prices.gypsum_cement.breaks", "never rises", "higher"),
    (prices(breaks=[[10, 380.0]]), "prices.gypsum_cement.breaks", "41.5", "price of one pack"),
    (prices(breaks=[[10]]), "prices.gypsum_cement.breaks", "rows of packs and price", "packs = 10"),
    (prices(breaks=3), "prices.gypsum_cement.breaks", "a list", "packs = 10"),
    (prices(breaks=[{"packs": 10, "cost": 3}]), "prices.gypsum_cement.breaks", "rows of", "packs = 10"),
    ({"objective": "max cost"}, "objective", "cost, or another property", "nobody wants it high"),
    (
        {"prices": {"silica_sand": {"pack": "25 kg", "price": 7}}},
        "prices.silica_sand",
        "listed materials",
        "Take this table out, or put silica_sand into materials.",
    ),
    (
        {"bounds": {"silica_sand": {"max": 0.5}}},
        "bounds.silica_sand",
        "listed materials",
        "Take this table out",
    ),
    ({"bounds": {"silca_sand": {"max": 0.5}}}, "bounds.silca_sand", "silica_sand", "Correct the name"),
    ({"bounds": {"gypsum_cement": {"min": 0.6, "max": 0.5}}}, "bounds.gypsum_cement.min", "0.5", "Swap"),
    (
        {"bounds": {"gypsum_cement": {"max": 0.5}, "marble_flour": {"max": 0.4}}},
        "bounds",
        "a sum of 1 or more",
        "Raise a max",
    ),
    (
        {"materials": ["gypsum_cement", "titanium_white"], "bounds": {"gypsum_cement": {"max": 0.5}}},
        "bounds",
        "a sum of 1 or more",
        "add a material",
    ),
    (
        {"bounds": {"gypsum_cement": {"min": 0.7, "max": 0.8}, "marble_flour": {"min": 0.4, "max": 0.5}}},
        "bounds",
        "at most 1",
        "Lower a min",
    ),
    ({"at_most_materials": 0}, "at_most_materials", "1 or more", "Check the number"),
    (
        {"at_most_materials": 1, "bounds": {"gypsum_cement": {"max": 0.9}, "marble_flour": {"max": 0.9}}},
        "at_most_materials",
        "at least 2",
        "Raise it",
    ),
    ({"shop": {"reject": "100 %"}}, "shop.reject", "below 1", "smaller number"),
    ({"confidence": 0.4}, "confidence", "0.5 or more, at most 0.999", "larger number"),
    ({"confidence": 1.0}, "confidence", "at most 0.999", "smaller number"),
    ({"confidence": 95}, "confidence", "at most 0.999", '"95 %" or 0.95'),
    ({"currency": "€"}, "currency", "ISO 4217", '"EUR"'),
    ({"currency": "$"}, "currency", "ISO 4217", '"USD"'),
    ({"currency": "eur"}, "currency", "three capital letters", '"EUR"'),
    ({"currency": "dollars"}, "currency", "three capital letters", '"USD"'),
    ({"currency": 3}, "currency", "three capital letters", "Write a code"),
    ({"objective": "beauty"}, "objective", "a property's name", "Try "),
    ({"objective": 3}, "objective", "a property's name", "Try cost"),
    ({"objective": "fresh_density"}, "objective", "min or max", '"max fresh_density"'),
    ({"title": "x" * 201}, "title", "200 characters", "short text"),
    ({"limits": {"demold_time": "35 min"}}, "limits.demold_time", "<= or >=", '"<= 35 min"'),
    ({"limits": {"demold_time": "< 35 min"}}, "limits.demold_time", "<= or >=", "Begin with <= or >="),
    ({"limits": {"whiteness": 88}}, "limits.whiteness", "<= or >=", '">= 88"'),
    ({"limits": {"porosity": "<= 2"}}, "limits.porosity", "0 to 1", "cannot bind"),
    ({"limits": {"whiteness": ">= 0"}}, "limits.whiteness", "0 to 100", "cannot bind"),
    ({"limits": {"dry_strength": ">= 0 MPa"}}, "limits.dry_strength", "above 0 MPa", "cannot bind"),
    ({"limits": {"damp_risk": "<= high"}}, "limits.damp_risk", "<= medium", "cannot bind"),
    ({"limits": {"demold_time": "<= 0 min"}}, "limits.demold_time", "above 0 min", "nothing can meet it"),
    ({"limits": {"whiteness": ">= 101"}}, "limits.whiteness", "0 to 100", "nothing can meet it"),
    ({"limits": {"damp_risk": "<= none"}}, "limits.damp_risk", "low, medium, high", "one of these words"),
    ({"limits": {"whiteness": [">= 90", "<= 80"]}}, "limits.whiteness", "below the upper", "Swap"),
    ({"limits": {"whiteness": [">= 90", ">= 80"]}}, "limits.whiteness", "one <= and one >=", "tighter"),
    ({"limits": {"whiteness": []}}, "limits.whiteness", "one bound", "Write"),
    ({"vessel": {"wall": "43 mm"}}, "vessel.wall", "85 mm", "Check wall"),
    ({"vessel": {"base": "95 mm"}}, "vessel.base", "95 mm", "Check base"),
    ({"vessel": {"wall": "0 mm"}}, "vessel.wall", "above 0", "Check the number"),
    ({"candle": {"exposure": "always"}}, "candle.exposure", "repeated burns", "one of these words"),
    ({"shop": {"shipping_bands": [["1 kg", 6.5], ["500 g", 4.2]]}}, "shop.shipping_bands", "rising", "up_to"),
]


@pytest.mark.parametrize(
    ("changes", "where", "allowed", "repair"), FAULTS, ids=[f"{i}-{row[1]}" for i, row in enumerate(FAULTS)]
)
def test_a_fault_is_named_with_place_and_repair(changes, where, allowed, repair):
    (fault,) = faults_of(text_with(changes))
    assert fault.where == f"job.toml:{where}"
    assert allowed in fault.allowed
    assert repair in fault.repair
    assert fault.value


@pytest.mark.parametrize("key", ["currency", "materials", "vessel"])
def test_what_must_be_there_is_asked_for(key):
    faults = faults_of(text_with({}, drop=key))
    assert [fault.where for fault in faults] == [f"job.toml:{key}"]
    assert faults[0].value == "nothing"


def test_a_vessel_without_volume_is_asked_for_it():
    text = text_with({}, drop="vessel") + '\n[vessel]\nwall = "8 mm"\n'
    assert [fault.where for fault in faults_of(text)] == ["job.toml:vessel.cavity_volume"]


def test_a_list_without_a_binder_is_refused():
    (fault,) = faults_of(text_with({"materials": ["marble_flour"]}, drop="prices"))
    assert fault.where == "job.toml:materials"
    assert fault.allowed == "at least one binder"
    assert "gypsum_cement" in fault.repair


def test_all_faults_come_at_once():
    changes = {
        "currency": "€",
        "wagge": 1,
        "vessel": {"wall": "8 kg"},
        "shop": {"reject": 1, "shift": "5 min"},
        "limits": {"porosity": "<= 2", "demold_time": "35"},
        **prices(price=-1),
        "bounds": {"marble_flour": {"min": 0.5, "max": 0.2}},
    }
    keys = {fault.where.removeprefix("job.toml:") for fault in faults_of(text_with(changes))}
    assert keys == {
        "currency",
        "wagge",
        "vessel.wall",
        "shop.reject",
        "shop.shift",
        "limits.porosity",
        "limits.demold_time",
        "prices.gypsum_cement.price",
        "bounds.marble_flour.min",
    }


def test_an_unknown_material_does_not_echo_in_other_tables():
    changes = {"materials": ["gypsum_cment", "marble_flour"]}  # the price table names gypsum_cement
    assert len(faults_of(text_with(changes))) == 1


@pytest.mark.parametrize(
    ("line", "repair"),
    [
        ("price = 11,50", "price = 11.50: a number in TOML takes a decimal point"),
        ("pack = 25 kg", 'pack = "25 kg"'),
        ("demold_time = <= 45 min  # fast", 'demold_time = "<= 45 min"'),
        ('title = "Cup', "Correct that line"),
    ],
)
def test_a_line_that_is_no_toml_is_shown_with_its_repair(line, repair):
    (fault,) = faults_of(f'currency = "EUR"\n{line}\n')
    assert line in fault.value
    assert "line 2" in fault.value
    assert repair in fault.repair


def test_a_misspelt_material_hides_no_misspelt_table():
    changes = {
        "materials": ["gypsum_cment", "marble_flour"],
        "prices": {"gipsum_cement": {"pack": "25 kg", "price": 41.5}},
    }
    faults = faults_of(text_with(changes))
    assert [fault.where.partition(":")[2] for fault in faults] == ["materials", "prices.gipsum_cement"]
    assert all("nearest: gypsum_cement" in fault.allowed for fault in faults)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("", "an empty file"),
        (" \n\t\n", "an empty file"),
        ('title = "a\ncurrency = 3', "at line 1"),
        ('title = "a"\ntitle = "b"', "overwrite"),
        ("a = 1\0", "a binary file"),
        ("a = " + "[" * 100_000, "nesting"),
        ("a = " + "1" * 5000, "numbers beyond measure"),
        ("a = 0x" + "f" * 100_000, "beyond any size"),
        (".".join("a" * 300_000) + " = 1", "points in line 1"),
        ("\n".join(f"k{i} = 1" for i in range(5000)), "5000 entries"),
        ("materials = [" + "'a'," * 5000 + "]", "5000 entries"),
        ("# padding\n" * 1_000_000, "a very large file"),
    ],
    ids=lambda text: repr(text[:20]),
)
def test_what_is_no_job_file_is_refused_quickly(text, value):
    start = time.perf_counter()
    (fault,) = faults_of(text)
    assert value in fault.value
    assert time.perf_counter() - start < 2.0
