"""The evidence word: what a prediction rests on, and nothing better than that."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.nomenclature import PROPERTIES
from optimizer.verdict.evidence import EVIDENCE, evidences
from tests.chain.helpers import all_materials, cast

HEAT = ("outer_wall_temperature", "inner_wall_temperature", "heat_margin")
PURE = {"gypsum_cement": 1.0}


def words(problem, blend, water_ratio=None):
    return evidences(problem, cast(problem, blend, water_ratio), PROPERTIES)


def candle(demo, measured):
    return replace(demo, candle=replace(demo.candle, measured_outer=measured))


@pytest.mark.parametrize("blend", [PURE, {"gypsum_cement": 0.5, "rapid_set_mortar": 0.5}], ids=len)
def test_an_estimated_wall_rests_on_no_reference_mix(demo, catalogue, blend):
    """A binder alone at its own mix is anchored in strength; of a flame that says nothing."""
    found = words(all_materials(candle(demo, None), catalogue), blend)
    assert {found[name] for name in HEAT} == {"prior"}


@pytest.mark.parametrize("blend", [PURE, {"gypsum_cement": 0.5, "rapid_set_mortar": 0.5}], ids=len)
def test_a_stated_burn_test_is_the_casters_own(demo, catalogue, blend):
    found = words(all_materials(candle(demo, 44.0), catalogue), blend)
    assert {found[name] for name in HEAT} == {"calibrated"}


def test_logged_burns_teach_the_flames_share(demo, catalogue):
    problem = all_materials(candle(demo, None), catalogue)
    for trials, word in ((0, "prior"), (2, "calibrated")):
        taught = replace(problem, parameters=replace(problem.parameters, origin={"flame_share": trials}))
        found = words(taught, PURE)
        assert {found[name] for name in HEAT} == {word}
        assert found["dry_strength"] == "anchored"


def test_without_a_candle_nothing_is_claimed(demo, catalogue):
    found = words(all_materials(replace(demo, candle=None), catalogue), PURE)
    assert {found[name] for name in HEAT} == {"prior"}


@pytest.mark.parametrize(
    ("blend", "water_ratio", "word"),
    [
        pytest.param(PURE, None, "anchored", id="alone at its own water"),
        pytest.param(PURE, 0.45, "prior", id="alone, a third wetter"),
        pytest.param({"gypsum_cement": 0.7, "marble_flour": 0.3}, None, "prior", id="with filler"),
        pytest.param({"gypsum_cement": 0.2, "csa_cement": 0.8}, None, "prior", id="a fifth gypsum"),
        pytest.param({"gypsum_cement": 0.5, "csa_cement": 0.5}, None, "extrapolated", id="half and half"),
        pytest.param({"gypsum_cement": 0.97, "csa_cement": 0.03}, None, "prior", id="a trace of cement"),
    ],
)
def test_strength_rests_on(demo, catalogue, blend, water_ratio, word):
    assert words(all_materials(demo, catalogue), blend, water_ratio)["dry_strength"] == word


def test_every_word_is_explained(demo, catalogue):
    for blend in (PURE, {"gypsum_cement": 0.5, "csa_cement": 0.5}):
        assert set(words(all_materials(demo, catalogue), blend).values()) <= set(EVIDENCE)
