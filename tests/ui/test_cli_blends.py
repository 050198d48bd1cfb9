"""Blends and water ratios typed in one line."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.errors import FileFaults, NoBlend
from optimizer.materials import Catalogue
from ui.jobs import read_amounts, read_blend, read_water_ratio


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("gypsum_cement=50, marble_flour=50", {"gypsum_cement": 50.0, "marble_flour": 50.0}),
        ("gypsum_cement=50,marble_flour=50", {"gypsum_cement": 50.0, "marble_flour": 50.0}),
        ("gypsum_cement: 3; marble_flour: 1", {"gypsum_cement": 3.0, "marble_flour": 1.0}),
        ("gypsum_cement=62,5, marble_flour=37,5", {"gypsum_cement": 62.5, "marble_flour": 37.5}),
        ("gypsum_cement=62.5%;marble_flour=37,5 %", {"gypsum_cement": 62.5, "marble_flour": 37.5}),
        ("gypsum_cement = 1,", {"gypsum_cement": 1.0}),
        ("gypsum_cement=9\nmarble_flour=0", {"gypsum_cement": 9.0}),
        ("gypsum_cement=1 200, marble_flour=800", {"gypsum_cement": 1200.0, "marble_flour": 800.0}),
    ],
)
def test_blends_as_people_write_them(catalogue: Catalogue, text: str, parts: dict[str, float]) -> None:
    assert read_blend(text, catalogue) == parts


@pytest.mark.parametrize(
    ("text", "places", "words"),
    [
        ("gypsm_cement=1", ["--blend:gypsm_cement"], "gypsum_cement"),
        ("gypsum_cement=-1", ["--blend:gypsum_cement"], "minus sign"),
        ("gypsum_cement=1, gypsum_cement=2", ["--blend:gypsum_cement"], "twice"),
        ("gypsum_cement=0", ["--blend"], "at least one"),
        ("", ["--blend"], "at least one"),
        ("gypsum_cement", ["--blend"], "name=parts"),
        ("gypsum_cement=much", ["--blend:gypsum_cement"], "Begin with a number"),
        ("gypsum_cement=1e999", ["--blend:gypsum_cement"], "ordinary size"),
        ("gypsum_cement=1e7", ["--blend:gypsum_cement"], "1,000,000"),
        ("gypsum_cement=nan", ["--blend:gypsum_cement"], "Begin with a number"),
        ("gypsum_cement=50 kg", ["--blend:gypsum_cement"], "Leave the unit away"),
        ("gypsum_cement=1,234", ["--blend:gypsum_cement"], "both ways"),
        ("gypsum_cement=1, water=1", ["--blend:water"], "--water-ratio"),
        ("gypsum_cement=60 %, marble_flour=30 %", ["--blend"], "90 %"),
        ("a=1, gypsum_cement=-1, sand", ["--blend:a", "--blend:gypsum_cement", "--blend"], "name=parts"),
        ("gypsum_cement=1," * 200, ["--blend"], "characters"),
    ],
)
def test_every_fault_of_a_blend_is_told(
    catalogue: Catalogue, text: str, places: list[str], words: str
) -> None:
    with pytest.raises(FileFaults) as caught:
        read_blend(text, catalogue)
    assert [fault.where for fault in caught.value.faults] == places
    assert words in str(caught.value)


def test_a_blend_without_binder_will_not_set(catalogue: Catalogue) -> None:
    with pytest.raises(NoBlend, match="no binder"):
        read_blend("marble_flour=60, silica_sand=40", catalogue)


@given(st.text(alphabet="gypsum_cement=,;:%0123456789 .-\n", max_size=60))
def test_any_line_is_a_blend_or_a_fault(catalogue: Catalogue, text: str) -> None:
    try:
        parts = read_blend(text, catalogue)
    except (FileFaults, NoBlend):
        return
    assert all(name in catalogue.materials for name in parts)
    assert all(0.0 < part < math.inf for part in parts.values())


def test_weighed_amounts_take_units(catalogue: Catalogue) -> None:
    # 1 lb is 453.59237 g by definition (international pound, 1959)
    weighed = read_amounts("gypsum_cement=1 lb, water=150", catalogue, "g", "--weighed", water=True)
    assert weighed["gypsum_cement"] == pytest.approx(453.59237, abs=1e-9)
    assert weighed["water"] == 150.0


@pytest.mark.parametrize(("text", "ratio"), [("0.29", 0.29), ("0,29", 0.29), ("29 %", 0.29), (None, None)])
def test_water_ratios_as_people_write_them(text: str | None, ratio: float | None) -> None:
    assert read_water_ratio(text) == pytest.approx(ratio)


@pytest.mark.parametrize("text", ["0", "-0.3", "29", "1e9", "wet", "0.3 kg", ""])
def test_other_water_ratios_are_faults(text: str) -> None:
    with pytest.raises(FileFaults, match="--water-ratio"):
        read_water_ratio(text)
