"""Give and take: the binders it marks, its words, its chart and its table."""

from __future__ import annotations

import re

import pytest

from tests.ui.test_page_logic import folder, opened, text_of, turned
from ui.bend_text import bend_words
from ui.question import Question
from ui.trade_answers import Traded, traded

__all__ = ["folder"]

SANDED = """
title = "Sanded tumbler"
currency = "EUR"
materials = ["silica_sand", "gypsum_cement", "csa_cement"]
example_prices = true
[vessel]
cavity_volume = "215 mL"
[limits]
dry_strength = ">= 18 MPa"
demold_time = "<= 24 h"
[prices.gypsum_cement]
pack = "25 kg"
price = 41.50
[prices.csa_cement]
pack = "25 kg"
price = 32.00
[prices.silica_sand]
pack = "25 kg"
price = 8.00
"""
"""A job that names its sand first, of which its mixes hold most; prices are invented."""


@pytest.fixture(scope="module")
def found() -> Traded:
    """Trade money for time."""
    return traded(Question(SANDED), ("cost", "demold_time"), 12)


def test_a_single_binder_is_named_though_a_filler_stands_first(found: Traded) -> None:
    first = {next(iter(each.mix.blend)) for each in found.binders.values() if each.mix}
    assert "silica_sand" in first, "a mix whose first powder is a filler is what this looks at"
    assert set(found.binders) == {"gypsum cement", "CSA cement"}


def test_the_bend_says_which_way_it_gets_dear() -> None:
    words = text_of(turned(opened(), "give_and_take"))
    assert re.search(r"Getting out of the mold sooner than [0-9.]+ min .* costs more and more", words)


@pytest.mark.parametrize(
    ("over", "told", "way"),
    [
        (("cost", "dry_mass"), ("7.00 EUR", "380 g"), "A dry mass below 380 g"),
        (("cost", "dry_strength"), ("7.00 EUR", "25 MPa"), "A dry strength above 25 MPa"),
    ],
)
def test_each_quantity_has_its_own_side(over: tuple[str, str], told: tuple[str, str], way: str) -> None:
    assert bend_words(over, told).startswith(way)
