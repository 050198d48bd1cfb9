"""The evidence word: what a prediction rests on, and nothing better than that."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.nomenclature import PROPERTIES, USES
from optimizer.verdict.evidence import EVIDENCE, EVIDENCE_WORDS, evidences, uses
from tests.property_model.helpers import all_materials, cast

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


def test_neat_cement_does_not_rest_on_a_mortar(demo, catalogue):
    """A point of cement with three parts of sand speaks for that mortar only."""
    problem = all_materials(demo, catalogue)
    point = next(p for p in catalogue["csa_cement"].reference_points if p.state == "wet" and p.added_sand > 0)
    mortar = {"csa_cement": 1.0, "silica_sand": point.added_sand}
    as_tested = words(problem, mortar, point.water_ratio / (1.0 + point.added_sand))
    assert as_tested["wet_strength"] == "anchored"
    assert words(problem, {"csa_cement": 1.0}, point.water_ratio)["wet_strength"] == "prior"
    sand = point.added_sand / 2.0
    leaner = words(problem, {"csa_cement": 1.0, "silica_sand": sand}, point.water_ratio / (1.0 + sand))
    assert leaner["wet_strength"] == "prior"


def test_each_property_rests_on_what_speaks_for_it(demo, catalogue):
    """A reference mix states strengths and set times; of masses, drying, color or coats it says nothing."""
    found = words(all_materials(candle(demo, None), catalogue), PURE)
    anchored = {name for name, word in found.items() if word == "anchored"}
    assert anchored == {"wet_strength", "dry_strength", "working_window", "demold_time"}


@pytest.mark.parametrize(
    ("taught", "properties"),
    [
        ({"gypsum_cement.strength": 3}, {"wet_strength", "dry_strength", "demold_time"}),
        ({"gypsum_cement.set_time": 3}, {"working_window", "demold_time"}),
        ({"gypsum_cement.reflectance": 1}, {"whiteness"}),
        ({"air": 2}, {"fresh_density", "demolded_mass", "dry_mass", "porosity"}),
        ({"csa_cement.strength": 9}, set()),
    ],
    ids=lambda x: ",".join(sorted(x)),
)
def test_trials_speak_for_the_property_they_read(demo, catalogue, taught, properties):
    problem = all_materials(candle(demo, None), catalogue)
    problem = replace(problem, parameters=replace(problem.parameters, origin=taught))
    assert {name for name, word in words(problem, PURE).items() if word == "calibrated"} == properties


def test_trials_count_as_the_least_known_binder_says(demo, catalogue):
    """One binder tried often says nothing of the other."""
    problem = all_materials(demo, catalogue)
    blend = {"gypsum_cement": 0.5, "molding_plaster": 0.5}
    for other, word in ((0, "prior"), (1, "calibrated")):
        origin = {"gypsum_cement.strength": 9, "molding_plaster.strength": other}
        told = replace(problem, parameters=replace(problem.parameters, origin=origin))
        assert words(told, blend)["wet_strength"] == word, other


def test_where_gypsum_and_cement_meet_the_law_of_mixing_must_be_known_too(demo, catalogue):
    """One of its figures is enough, as it is for a binder; trials of each binder alone are not."""
    problem = all_materials(demo, catalogue)
    blend = {"gypsum_cement": 0.5, "csa_cement": 0.5}
    both = {"gypsum_cement.strength": 9, "csa_cement.strength": 9, "gypsum_cement.set_time": 9}
    both |= {"csa_cement.set_time": 9}
    for laws, word in (({}, "extrapolated"), ({"gamma": 2}, "calibrated"), ({"gamma_time": 2}, "calibrated")):
        told = replace(problem, parameters=replace(problem.parameters, origin=both | laws))
        assert words(told, blend)["demold_time"] == word, laws


def test_an_admixture_takes_a_mix_away_from_its_reference(demo, catalogue):
    """At the very water of the reference mix, too."""
    problem = all_materials(demo, catalogue)
    last = problem.names[-1]
    assert words(problem, PURE, 0.329)["dry_strength"] == "anchored"
    assert words(problem, PURE | {last: 0.004}, 0.329)["dry_strength"] == "prior"


def good_for(problem, blend):
    there = cast(problem, blend)
    return uses(problem, there, evidences(problem, there, PROPERTIES))


@pytest.mark.parametrize(
    ("blend", "strength", "white"),
    [
        pytest.param(PURE, "decide", "decide", id="gypsum"),
        pytest.param({"gypsum_cement": 0.8, "silica_sand": 0.2}, "decide", "rank", id="gypsum-and-sand"),
        pytest.param({"gypsum_cement": 0.5, "csa_cement": 0.5}, "rank", "decide", id="half-and-half"),
        pytest.param({"white_csa_cement": 1.0}, "rank", "decide", id="cement"),
    ],
)
def test_what_a_prediction_is_good_for(demo, catalogue, blend, strength, white):
    found = good_for(all_materials(candle(demo, None), catalogue), blend)
    assert (found["wet_strength"], found["dry_strength"], found["whiteness"]) == (strength, strength, white)
    assert found["fresh_density"] == found["dry_mass"] == found["crystalline_silica"] == "decide"
    assert found["cost"] == found["absorption"] == found["demold_time"] == found["casting_peak"] == "rank"
    unread = {name for name, use in found.items() if use == "own reading"}
    sizes = {"setting_expansion", "drying_shrinkage"}
    assert unread == {*HEAT, *sizes, "sealer_coats", "damp_risk", "drying_time", "flexural_strength"}


def test_a_burn_test_lets_heat_decide(demo, catalogue):
    found = good_for(all_materials(candle(demo, 44.0), catalogue), PURE)
    assert {found[name] for name in HEAT} == {"decide"}
    assert found["sealer_coats"] == "own reading"


def test_every_word_is_explained(demo, catalogue):
    assert set(EVIDENCE) == set(EVIDENCE_WORDS)
    for blend in (PURE, {"gypsum_cement": 0.5, "csa_cement": 0.5}):
        assert set(words(all_materials(demo, catalogue), blend).values()) <= set(EVIDENCE)
        assert set(good_for(all_materials(demo, catalogue), blend).values()) <= set(USES)
