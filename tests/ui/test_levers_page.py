"""Levers on the page: looked for when asked, and taken by a click that gives just what was told."""

from __future__ import annotations

import re

import pytest

from tests.ui.test_page_logic import opened, text_of, turned

MIXED = """title = "Short of time"
currency = "EUR"
materials = ["white_csa_cement", "gypsum_cement"]
[vessel]
cavity_volume = "215 mL"
[limits]
demold_time = "<= 22 min"
dry_strength = ">= 25 MPa"
[prices.white_csa_cement]
pack = "25 kg"
price = 60
[prices.gypsum_cement]
pack = "25 kg"
price = 41.5
"""
GYPSUM = """title = "Short of time"
currency = "EUR"
materials = ["gypsum_cement"]
[vessel]
cavity_volume = "215 mL"
[limits]
demold_time = "<= 20 min"
[prices.gypsum_cement]
pack = "25 kg"
price = 41.5
"""


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Run in an empty folder: the page keeps its work where it is started."""
    monkeypatch.chdir(tmp_path)


def levers_of(at):
    return [each for each in at.button if str(each.key).startswith("lever_")]


@pytest.mark.parametrize(("job", "first"), [(MIXED, "mix with water of"), (GYPSUM, "add potassium sulfate")])
def test_a_job_short_of_time_is_offered_levers_and_a_click_gives_just_that(job, first):
    at = opened(job)
    assert not levers_of(at)
    at = at.button(key="ask_levers").click().run()
    assert not at.exception
    offered = levers_of(at)[0]
    assert offered.label.startswith(first)
    cost, chance = re.search(
        r"([0-9.]+) EUR a vessel, all limits together ([0-9]+ %)", offered.label
    ).groups()
    at = offered.click().run()
    assert not at.exception
    assert not [each for each in at.button if each.key == "ask_levers"]
    said = text_of(at)
    assert f"{cost} EUR" in said
    assert chance in said


def test_the_page_tells_the_price_at_which_a_new_powder_costs_the_same():
    job = GYPSUM.replace("20 min", "60 min").replace('"gypsum_cement"]', '"gypsum_cement", "marble_flour"]')
    at = turned(opened(f'{job}[prices.marble_flour]\npack = "25 kg"\nprice = 100\n'), "swap")
    for name, parts in (("gypsum_cement", "90"), ("marble_flour", "10")):
        at.text_input(key=f"swap.{name}").set_value(parts)
    at = at.text_input(key="swap_water").set_value("0.31").run()
    assert not at.exception
    assert re.search(r"Both cost the same at [0-9.]+ EUR a kilogram of marble flour", text_of(at))


def test_an_order_whose_blend_is_not_sure_enough_is_offered_the_levers_of_its_design():
    at = turned(opened(MIXED), "order")
    at = at.button(key="ask_levers").click().run()
    assert not at.exception
    assert any(each.label.startswith("mix with water of") for each in levers_of(at))
    at = levers_of(at)[0].click().run()
    assert "Promise nothing" not in text_of(at)
    assert not any(each.key == "ask_levers" for each in at.button)
