"""Setting expansion and drying shrinkage: sizes and signs that are printed, and what a job does with them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.job import Limit, Vessel
from optimizer.property_model.predict import PREDICTORS
from optimizer.property_model.samples import points_of
from optimizer.studies.check import check
from optimizer.studies.design import design
from tests.property_model.helpers import all_materials, cast, ranges, values

NAMES = ("setting_expansion", "drying_shrinkage")


@pytest.fixture(scope="module")
def problem(demo, catalogue):
    return all_materials(demo, catalogue)


def likely(problem, blend, name, water=None):
    """Return the 5 % and the 95 % point of one property [mm/m]."""
    return ranges(problem, cast(problem, blend, water), (name,))[name]


@pytest.mark.parametrize(("water", "printed"), [(0.45, 4.1), (0.60, 2.4)])
def test_plaster_widens_less_with_more_water(problem, water, printed):
    """Beta plaster, 0.41 % at 0.45 and 0.24 % at 0.60: textbooks of dental materials, from memory."""
    assert values(problem, {"molding_plaster": 1.0}, water)["setting_expansion"] == pytest.approx(
        printed, rel=0.12
    )


def test_types_of_the_dental_standard_lie_within_the_range_of_gypsum(problem):
    """At most 0.30, 0.20, 0.15 and 0.30 % for types 2 to 5 of ISO 6873 (from memory).

    A web table without a source has 0.08 to 0.39 % over cast grades.
    """
    for name in ("gypsum_cement", "molding_plaster"):
        low, high = likely(problem, {name: 1.0}, "setting_expansion")
        assert low < 1.5
        assert 3.0 < high < 5.0


def test_neat_cement_swells_no_more_than_its_class_allows(problem):
    """Low-alkalinity class of GB 20472: free expansion of 0 to 0.15 % at 28 d (from memory)."""
    low, high = likely(problem, {"csa_cement": 1.0}, "setting_expansion")
    assert low < 0.0 < high
    assert high == pytest.approx(1.5, rel=0.1)


def test_repair_mortar_keeps_its_length_as_the_standard_asks(problem):
    """At most 0.15 % shorter after 28 d in air: ASTM C928 (from memory)."""
    low, high = likely(problem, {"rapid_set_mortar": 1.0}, "drying_shrinkage")
    assert 0.2 < low < high < 2.0
    assert values(problem, {"rapid_set_mortar": 1.0})["drying_shrinkage"] < 1.5


def test_gypsum_moves_with_humidity_as_boards_do(problem):
    """7.2e-6 per % of relative humidity, from damp to half: Gypsum Association (from memory)."""
    low, high = likely(problem, {"gypsum_cement": 1.0}, "drying_shrinkage")
    assert low < 1e3 * 7.2e-6 * 50.0 < high


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("binder", ["gypsum_cement", "csa_cement"])
def test_sand_holds_the_paste_as_pickett_found(problem, binder, name):
    """(1 - g)^n of what the paste does, n from 1.2 to 1.7: Pickett 1956 (from memory)."""
    there = cast(problem, {binder: 0.6, "silica_sand": 0.4})
    share = float(there.body["heavy"][0])
    ratio = float(PREDICTORS[name](there)[0]) / values(problem, {binder: 1.0})[name]
    assert (1.0 - share) ** 1.75 < ratio < (1.0 - share) ** 1.2


def test_light_grains_hold_nothing(problem):
    """Perlite gives way with the paste, common practice, no source."""
    plain, light = ({"gypsum_cement": 1.0}, {"gypsum_cement": 0.95, "expanded_perlite": 0.05})
    first, second = (values(problem, blend)["drying_shrinkage"] for blend in (plain, light))
    assert second == pytest.approx(first, rel=1e-9)


def test_both_binders_together_widen_more_and_are_known_less(problem):
    """More sulfate beside the same clinker is self-stressing cement: GB 20472, from memory."""
    low, high = likely(problem, {"gypsum_cement": 0.5, "csa_cement": 0.5}, "setting_expansion")
    for binder in ("gypsum_cement", "csa_cement"):
        own = likely(problem, {binder: 1.0}, "setting_expansion")
        assert high > own[1]
        assert high - low > own[1] - own[0]


def test_cement_dries_shorter_than_gypsum(problem):
    """Gypsum hardly moves; common practice, no source. In between, the more cement the shorter."""
    shares = np.linspace(0.0, 1.0, 11)
    shrunk = [
        values(problem, {"gypsum_cement": 1.0 - x, "white_csa_cement": x})["drying_shrinkage"] for x in shares
    ]
    assert np.all(np.diff(shrunk) > 0.0)
    assert shrunk[-1] > 3.0 * shrunk[0]


@pytest.mark.parametrize("name", NAMES)
def test_a_range_is_a_factor_of_two_at_least(problem, name):
    """Nothing here was measured on these powders: no range may say otherwise."""
    for blend in (
        {"gypsum_cement": 1.0},
        {"rapid_set_mortar": 1.0},
        {"molding_plaster": 0.6, "csa_cement": 0.4},
    ):
        low, high = likely(problem, blend, name)
        assert low < 0.5 * high


def test_a_limit_is_judged_by_its_chance_and_decides_nothing_without_a_reading(demo, catalogue, problem):
    blend = {"gypsum_cement": 1.0}
    drawn = problem.samples.printed.cast(problem.conditions, cast(problem, blend).mixes)
    bound = float(points_of(PREDICTORS["setting_expansion"](drawn), 0.9))
    job = replace(demo, limits=(Limit("setting_expansion", "<=", bound),))
    answer = check(job, blend, catalogue)
    assert answer.limits[0].probability == pytest.approx(0.9, abs=0.02)
    for name in NAMES:
        assert answer.properties[name].use == "own reading"
        assert answer.properties[name].evidence == "prior"


def test_the_proof_says_that_it_leaves_such_a_limit_out(demo, catalogue):
    """No relaxation of either is known: the bound holds without it, and says so."""
    limits = (Limit("dry_mass", "<=", 390.0), Limit("drying_shrinkage", "<=", 0.6))
    found = design(replace(demo, limits=limits), catalogue, proof_seconds=2.0)
    assert found.status == "designed"
    assert found.proof is not None
    assert any("drying_shrinkage" in str(each) for each in found.proof.unused)
    shrunk = found.properties["drying_shrinkage"]
    assert shrunk.value < 0.6


def test_what_it_means_for_a_lid():
    """Own arithmetic: 2 mm/m over 85 mm is 0.17 mm."""
    assert Vessel(215.0, outer_diameter=85.0).wider(2.0) == pytest.approx(0.17)
