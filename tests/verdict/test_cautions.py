"""Cautions follow what the mix will do, at the upper end of its range, in the units asked for."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest

from optimizer.job import Limit
from optimizer.nomenclature import CAUTIONS
from optimizer.studies.check import check
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


@pytest.mark.parametrize(("cement", "told"), [(0.0, False), (0.1, False), (0.5, True), (1.0, False)])
def test_gypsum_in_much_cement_is_told_not_to_stand_in_damp(demo, catalogue, cement, told):
    """Late ettringite takes ye'elimite and gypsum (its formula): either alone makes none."""
    solution = check(demo, {"gypsum_cement": 1.0 - cement, "csa_cement": cement}, catalogue)
    assert solution.properties["damp_risk"].value == float(told)
    assert ("damp" in solution.cautions) == told


@pytest.mark.parametrize(("share", "told"), [(0.0005, False), (0.0015, True)])
def test_silica_is_told_from_a_tenth_of_a_percent(demo, catalogue, share, told):
    """The cut-off of 29 CFR 1910.1200 (OSHA, from memory) of what causes cancer; sand is quartz."""
    solution = check(demo, {"gypsum_cement": 1.0 - share, "silica_sand": share}, catalogue)
    assert ("silica" in solution.cautions) == told


def _sanded(demo, catalogue, sand):
    """Return the verdict on gypsum cement with so much sand, both in grams to 427 g of water."""
    thin = replace(demo.vessel, wall=5.0)
    job = replace(demo, vessel=thin, limits=(Limit("demold_time", "<=", 1440.0),))
    return check(job, {"gypsum_cement": 1153.0, "silica_sand": sand}, catalogue, 427.0 / (1153.0 + sand))


def test_a_blend_that_may_never_leave_the_mold_is_told(demo, catalogue):
    assert "stays_soft" in _sanded(demo, catalogue, 955.0).cautions
    assert "stays_soft" not in check(demo, {"gypsum_cement": 1}, catalogue).cautions


def test_what_never_leaves_the_mold_meets_no_time_for_it(demo, catalogue):
    """Sand thins the binder until its end strength is what leaving the mold takes: looked at closely."""
    soon, never = 700.0, 1400.0
    for _ in range(45):
        middle = 0.5 * (soon + never)
        seen = _sanded(demo, catalogue, middle)
        finite = math.isfinite(seen.properties["demold_time"].value)
        soon, never = (middle, never) if finite else (soon, middle)
        assert finite or seen.limits[0].verdict != "holds"
    assert never - soon < 1e-9


def test_the_gravest_caution_stands_first_and_what_holds_for_all_last(demo, catalogue):
    """Heat beyond the body, then burns and dust, then codes and bins: common practice, no source."""
    hot = replace(demo, candle=replace(demo.candle, measured_outer=None, burn_rate=30.0))
    keys = check(hot, {"gypsum_cement": 50, "csa_cement": 50}, catalogue).cautions
    assert keys[0] == "heat_negative"
    assert keys[1:3] in (("setting_heat", "alkali"), ("alkali", "skin"), ("alkali", "silica"))
    assert keys[-1] == "certify"
    assert keys.index("alkali") < keys.index("heat_estimate") < keys.index("candle") < keys.index("disposal")
