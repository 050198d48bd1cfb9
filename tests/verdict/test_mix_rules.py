"""Rules of the trade that a blend breaks: each from just within to just beyond, by sums done by hand.

Ceilings are those of the shipped files: common practice or judgement, no source, but for the pigments (ASTM
C979, from memory). Water per mass of powder: gypsum cement takes 0.329, CSA cement 0.45, marble flour 0.22.
"""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.verdict.judge import broken_rules, sets_at_all
from tests.property_model.helpers import all_materials, cast

GYPSUM = {"gypsum_cement": 1.0}
CEMENT = {"csa_cement": 1.0}


@pytest.fixture(scope="module")
def problem(demo, catalogue):
    return all_materials(demo, catalogue)


def told(problem, blend, water=None):
    return " ".join(broken_rules(problem, cast(problem, blend, water)))


@pytest.mark.parametrize(
    ("blend", "water", "said"),
    [
        # 0.329 less a thousandth is 0.32867; a quarter more is 0.41125
        pytest.param(GYPSUM, 0.3288, "", id="as-much-as-it-takes"),
        pytest.param(
            GYPSUM, 0.3285, "Water 0.329 per powder is below the 0.329 it takes to pour", id="short"
        ),
        pytest.param(GYPSUM, 0.4112, "", id="wet"),
        pytest.param(GYPSUM, 0.4114, "Water 0.411 per powder is above 0.411: the mix bleeds", id="too-wet"),
        # 0.8 x 0.329 + 0.2 x 0.22 = 0.3072
        pytest.param({"gypsum_cement": 4.0, "marble_flour": 1.0}, 0.3070, "", id="filler-in-its-share"),
        pytest.param(
            {"gypsum_cement": 4.0, "marble_flour": 1.0}, 0.3060, "below the 0.307", id="filler-short"
        ),
    ],
)
def test_water_between_what_it_takes_to_pour_and_what_bleeds(problem, blend, water, said):
    text = told(problem, blend, water)
    assert said in text
    assert bool(text) == bool(said)


def test_cement_short_of_the_water_it_binds(problem):
    """At its full degree the cement binds 0.309 of its mass: 0.28 is short (own arithmetic of its phases)."""
    dry, wet = (told(problem, CEMENT, water) for water in (0.28, 0.32))
    assert "part of them stays powder" in dry
    assert "part of them stays powder" not in wet
    assert "below the 0.450 it takes to pour" in wet


@pytest.mark.parametrize(
    ("blend", "said"),
    [
        ({"gypsum_cement": 50.1, "silica_sand": 49.9}, ""),
        ({"gypsum_cement": 49.0, "silica_sand": 51.0}, "Sand is 51% of the powder, a mortar's own included"),
        # cement carries 70 %, gypsum 50: a blend of both what lies between
        ({"gypsum_cement": 20.0, "csa_cement": 20.0, "silica_sand": 53.0}, ""),
        ({"gypsum_cement": 18.0, "csa_cement": 18.0, "silica_sand": 64.0}, "Sand is 64%"),
        # the mortar's own 55 %, and 0.45 x 0.45 of cement left where more sand than mortar is added
        ({"rapid_set_mortar": 1.0}, ""),
        ({"rapid_set_mortar": 45.0, "silica_sand": 55.0}, "Sand is 80% of the powder"),
    ],
)
def test_sand_that_a_binder_carries(problem, blend, said):
    text = told(problem, blend)
    assert said in text
    assert ("Sand is" in text) == bool(said)


@pytest.mark.parametrize("sand", [0.62, 0.68, 0.72, 0.76, 0.80])
def test_grains_fill_no_more_than_leaves_paste_for_their_voids(problem, sand):
    """Volumes from densities alone, sand 2.65, cement 3.02, water 0.998 kg/L, 2 % air (own arithmetic)."""
    blend = {"csa_cement": 1.0 - sand, "silica_sand": sand}
    water = 0.45 * (1.0 - sand) + 0.05 * sand
    liters = (sand / 2.65 + (1.0 - sand) / 3.02 + water / 0.998) / 0.98
    grains = sand / 2.65 / liters
    text = told(problem, blend)
    assert ("Grains fill" in text) == (grains > 0.45), grains
    assert ("too little paste" in text) == (1.0 - grains < 0.8 * grains), grains


def test_light_grains_fill_like_heavy_ones(problem):
    """Of hollow glass 0.18 / 0.38 among 0.82 / 2.757 of gypsum cement: four tenths; with sand, more."""
    assert "Grains fill" not in told(problem, {"gypsum_cement": 82.0, "hollow_glass": 18.0})
    assert "Grains fill" in told(problem, {"gypsum_cement": 62.0, "hollow_glass": 14.0, "silica_sand": 24.0})


@pytest.mark.parametrize(
    ("pigments", "said"),
    [
        ((5.2, 4.7), ""),
        ((5.2, 5.0), "Pigments are 10% of the binder, above 10 % (ASTM C979"),
    ],
)
def test_all_pigments_together_stay_below_a_tenth_of_the_binder(problem, pigments, said):
    """Of 100 parts of binder: each below its own twentieth of the powder, 9.9 and 10.2 parts together."""
    white, red = pigments
    text = told(problem, {"gypsum_cement": 100.0, "titanium_white": white, "red_oxide": red})
    assert said in text
    assert bool(text) == bool(said)


@pytest.mark.parametrize(
    ("name", "share", "said"),
    [
        ("marble_flour", 0.399, ""),
        ("marble_flour", 0.42, "is 42 % of the powder, above the 40 % it is used at"),
        ("superplasticizer", 0.005, ""),
        ("superplasticizer", 0.006, "is 0.6 % of the powder, above the 0.5 % it is used at"),
    ],
)
def test_no_material_beyond_the_share_it_is_used_at(problem, name, share, said):
    text = told(problem, {"gypsum_cement": 1.0 - share, name: share})
    assert said in text
    assert bool(text) == bool(said)


def test_a_binder_may_be_all_there_is(problem):
    assert told(problem, GYPSUM) == ""
    assert told(problem, CEMENT) == ""


@pytest.mark.parametrize(
    ("binder", "dose", "said"),
    [
        ({"csa_cement": 100.0}, 0.99, ""),
        ({"csa_cement": 100.0}, 1.01, "citric acid is 1.01 % of the binder, above 1 %"),
        ({"gypsum_cement": 100.0}, 0.14, ""),
        ({"gypsum_cement": 100.0}, 0.16, "citric acid is 0.16 % of the binder, above 0.15 %"),
        # some gypsum, and its ceiling rules; filler does not count as binder
        (
            {"gypsum_cement": 50.0, "csa_cement": 50.0},
            0.5,
            "citric acid is 0.50 % of the binder, above 0.15 %",
        ),
        ({"gypsum_cement": 100.0, "marble_flour": 50.0}, 0.16, "citric acid is 0.16 % of the binder"),
    ],
)
def test_retarder_stays_below_what_the_binder_bears(problem, binder, dose, said):
    """Of the binder without sand: 1 % in cement, 0.15 % where there is gypsum, which stays soft beyond it."""
    text = told(problem, binder | {"citric_acid": dose})
    assert said in text
    assert bool(text) == bool(said)


def test_a_mix_with_next_to_no_binder_does_not_harden(problem):
    """Hydrates must fill a tenth; they are 0.7 of gypsum cement cast alone: an eighth of the powder."""
    for share, hard in ((0.05, False), (0.11, False), (0.14, True)):
        there = cast(problem, {"gypsum_cement": share, "marble_flour": 1.0 - share})
        assert sets_at_all(problem, there) == hard, np.ravel(there.body.hydrates)
        assert (
            "does not harden" in told(problem, {"gypsum_cement": share, "marble_flour": 1.0 - share})
        ) != hard
