"""Cautions follow what the mix will do, at the upper end of its range, in the units asked for."""

from __future__ import annotations

import re

import pytest

from optimizer.studies.check import check
from optimizer.verdict.cautions import CAUTIONS
from ui.words import caution_words

_TOUCH = 48.0
"""Where skin burns within ten minutes [degC]: Czech Regulation 361/2007, as ISO 13732-1."""


@pytest.mark.parametrize(
    "blend",
    [
        {"gypsum_cement": 68, "silica_sand": 32},
        {"molding_plaster": 1},
        {"rapid_set_mortar": 1},
        {"csa_cement": 1},
        {"white_csa_cement": 63, "silica_sand": 37},
    ],
    ids=lambda blend: next(iter(blend)),
)
def test_hot_setting_is_told_where_the_likely_peak_reaches_it(demo, catalogue, blend):
    solution = check(demo, blend, catalogue)
    assert ("setting_heat" in solution.cautions) == (solution.properties["casting_peak"].high > _TOUCH)


def test_both_kinds_of_peak_were_met(demo, catalogue):
    cool = check(demo, {"gypsum_cement": 68, "silica_sand": 32}, catalogue)
    hot = check(demo, {"csa_cement": 1}, catalogue)
    assert cool.properties["casting_peak"].high < _TOUCH < hot.properties["casting_peak"].high


def test_leftovers_of_cement_are_always_told(demo, catalogue):
    """A thin cast of little cement stays cool in the mold; a bucketful loses next to nothing of its heat."""
    solution = check(demo, {"rapid_set_mortar": 20, "silica_sand": 60, "gypsum_cement": 20}, catalogue)
    assert {"setting_heat", "bucket_heat"} & set(solution.cautions)


def test_no_caution_keeps_celsius_under_us_units():
    for key, text in CAUTIONS.items():
        assert "degC" not in text
        assert "°C" not in caution_words(key, "us")
        assert caution_words(key) == text


def test_us_degrees_are_those_of_the_scale():
    # 48 x 9/5 + 32 = 118.4
    assert re.search(r"118 °F", caution_words("setting_heat", "us"))
