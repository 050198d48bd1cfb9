"""Figures shown side by side add up as a reader adds them, and a rounded bound is no typed one."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.job import Job, Limit
from optimizer.materials import Catalogue
from optimizer.studies.check import batch_of, check
from optimizer.studies.design import design
from tests.ui.conftest import Command
from ui.batch_text import batch_words
from ui.reasons import limit_sentence, single_binder_words
from ui.words import bound_words, money_parts, share_words

FEW = {"white_csa_cement": 63.0, "silica_sand": 13.0, "rapid_set_mortar": 13.0, "molding_plaster": 11.0}


@given(st.lists(st.floats(0.02, 1.0), min_size=1, max_size=8))
def test_whole_percents_add_up_and_none_is_off_by_one(parts: list[float]) -> None:
    whole = sum(parts)
    blend = {f"m{k}": part / whole for k, part in enumerate(parts) if part / whole >= 0.02}
    blend = {name: share / sum(blend.values()) for name, share in blend.items()}
    shown = {name: int(words.removesuffix(" %")) for name, words in share_words(blend).items()}
    assert sum(shown.values()) == 100
    assert all(abs(shown[name] - 100.0 * share) < 1.0 for name, share in blend.items())


@given(st.dictionaries(st.sampled_from("abcdefgh"), st.floats(0.0, 50.0), min_size=1))
def test_cents_of_the_parts_add_up_to_the_cents_of_the_sum(parts: dict[str, float]) -> None:
    shown = sum(Fraction(words) for words in money_parts(parts).values())
    assert shown == Fraction(f"{round(sum(parts.values()), 2):.2f}")


LITTLE = 0.3
"""A chance that the demo's shipped figures can give."""


def test_the_saving_against_one_binder_is_what_a_reader_subtracts(demo: Job, catalogue: Catalogue) -> None:
    solution = design(replace(demo, confidence=LITTLE), catalogue)
    words = single_binder_words(solution, catalogue)
    other, saved = map(Fraction, re.findall(r"(\d+\.\d\d) EUR", words))
    assert solution.cost is not None
    assert other - saved == Fraction(f"{solution.cost:.2f}")


def test_nothing_costs_most_where_all_is_under_a_cent(demo: Job, catalogue: Catalogue) -> None:
    solution = design(replace(demo, confidence=LITTLE), catalogue)
    cheap = tuple(
        replace(v, price=replace(v.price, loosen=max(v.price.loosen or 0.0, -0.004)) if v.price else None)
        for v in solution.limits
    )
    words = limit_sentence(replace(solution, limits=cheap))
    assert "costs most" not in words
    assert "under 0.01 EUR" in words


def test_a_property_keeps_its_capitals_at_the_head_of_a_sentence(demo: Job, catalogue: Catalogue) -> None:
    solution = design(replace(demo, limits=(Limit("whiteness", ">=", 93.0),)), catalogue)
    assert limit_sentence(solution).startswith("Whiteness L* costs most")


@pytest.mark.parametrize(
    ("limit", "metric", "us"),
    [
        # NIST SP 811: 1 oz = 28.34952 g, so 13 oz = 368.54 g; 1 psi = 6.894757 kPa; a kelvin is 1.8 degrees F
        (Limit("dry_mass", "<=", 13 * 28.349523125), "<= 368.5 g", "<= 13 oz"),
        (Limit("dry_strength", ">=", 24.131649), ">= 24.13 MPa", ">= 3500 psi"),
        (Limit("dry_mass", "<=", 365.25), "<= 365.25 g", "<= 12.88 oz"),
        (Limit("heat_margin", ">=", 0.0), ">= 0 K", ">= 0 °F difference"),
        (Limit("heat_margin", ">=", 5.0), ">= 5 K", ">= 9 °F difference"),
        (Limit("casting_peak", "<=", 50.0), "<= 50 °C", "<= 122 °F"),
    ],
    ids=lambda part: part.property if isinstance(part, Limit) else "",
)
def test_bounds_read_as_typed_or_rounded(limit: Limit, metric: str, us: str) -> None:
    assert bound_words(limit) == metric
    assert bound_words(limit, "us") == us


def test_an_even_split_is_said_to_be_one(demo: Job, catalogue: Catalogue) -> None:
    solution = check(demo, {"gypsum_cement": 68.0, "silica_sand": 32.0}, catalogue)
    words = list(batch_words(batch_of(solution, catalogue, 7), solution, catalogue))
    # own arithmetic: the bucket of the demo fills 6 molds; 7 vessels in two mixes are 4 each
    assert words[0] == (
        "Make this mix 2 times, for 4 molds each: one could fill 6, for there are 6 molds and the bucket "
        "fills 6; 4 is the even split of 7."
    )
    assert list(batch_words(batch_of(solution, catalogue, 6), solution, catalogue)) == []
    full = list(batch_words(batch_of(solution, catalogue, 12), solution, catalogue))
    assert "fills no more" in full[0]


def test_a_mass_that_is_not_the_plain_multiple_says_why(demo: Job, catalogue: Catalogue) -> None:
    """Limits at the very ends of the ranges, on a coarse scale: some nearest rounding is less sure of one."""
    plain = check(demo, FEW, catalogue)
    names = ("wet_strength", "whiteness")
    limits = tuple(Limit(name, ">=", plain.properties[name].low * (1.0 - 1e-9)) for name in names)
    coarse = replace(demo, limits=limits, shop=replace(demo.shop, weigh_step=5.0), confidence=0.95)
    solution = check(coarse, FEW, catalogue)
    assert solution.mix is not None
    told = 0
    for vessels in (1, 2, 3, 4, 5, 6):
        batch = batch_of(solution, catalogue, vessels)
        scale = batch.per_mix * (1.0 + demo.shop.waste)
        moved = any(abs(batch.grams[n] - mass * scale) > 2.5 + 1e-6 for n, mass in solution.mix.grams.items())
        words = [w for w in batch_words(batch, solution, catalogue) if "verdict" in w]
        assert bool(words) is moved
        told += moved
    assert told


def test_text_of_a_batch_is_beside_its_masses(command: Command, small: object) -> None:
    ran = command("design", small, "--vessels", "7", "--proof", "0")
    batch = json.loads(command("design", small, "--vessels", "7", "--proof", "0", "--json").out)["batch"]
    assert f"Make this mix {batch['mixes']} times" in " ".join(ran.out.split())
