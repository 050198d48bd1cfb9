"""Common draws: the same everywhere, spread as the figures say, and a batch that varies as the shop says."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from optimizer.problem import problem_of
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.parameters import DISCREPANT, NoTrials
from optimizer.property_model.predict import PREDICTORS, cast_of, conditions_of
from optimizer.property_model.samples import PRINTED, SEARCH, DrawSet, points_of, samples_of, standard_normals
from tests.property_model.helpers import all_materials, cast, ranges

BLEND = {"white_csa_cement": 43, "silica_sand": 27, "gypsum_cement": 24, "titanium_white": 1}
EXACT = {"powder_error": 0.0, "water_error": 0.0, "temperature_error": 0.0, "air_error": 0.0}
NAMED = tuple("abcdefghijkl")
FINE_SCALE = {"weigh_step": 1e-9, "dose_step": 1e-9}


def known_for_sure(parameters):
    return replace(
        parameters,
        items=tuple(replace(x, spread=0.0) for x in parameters.items),
        discrepancy=NoTrials(dict.fromkeys(DISCREPANT, 0.0)),
    )


@pytest.fixture(scope="module")
def problem(demo, catalogue):
    return all_materials(demo, catalogue)


@pytest.fixture(scope="module")
def sure(problem):
    """Return draws in which every figure is known and the batch alone varies."""
    return samples_of(problem.catalogue, problem.names, known_for_sure(problem.parameters), SEARCH)


def shop_bench(problem, **changes):
    return conditions_of(replace(problem.job, shop=replace(problem.job.shop, **changes)))


@pytest.mark.parametrize("draws", [SEARCH, PRINTED], ids=lambda x: str(x.count))
def test_each_dimension_is_a_standard_normal_and_independent_of_the_others(draws):
    noise = standard_normals(draws, NAMED)
    for k in range(12):
        assert stats.kstest(noise[:, k], "norm").statistic <= 0.5 / draws.count + 1e-9
    tied = np.corrcoef(noise.T) - np.eye(12)
    assert abs(tied).max() < 4.0 / np.sqrt(draws.count)


def test_the_same_draws_on_every_machine():
    """Raw bits of Philox 4x64-10, stream fixed by its authors (Salmon and others 2011, SC11)."""
    key = int.from_bytes(hashlib.sha256(b"air").digest()[:8], "little")
    first = np.random.Philox(key=np.array([SEARCH.seed, key], np.uint64)).random_raw(SEARCH.count)
    again = standard_normals(SEARCH, ("air", "gamma"))
    assert np.array_equal(np.argsort(np.argsort(again[:, 0])), np.argsort(first, kind="stable"))
    assert not np.array_equal(again[:, 0], again[:, 1])
    assert not np.array_equal(again, standard_normals(DrawSet(SEARCH.count, 7), ("air", "gamma")))


def test_a_range_does_not_move_because_another_material_is_listed(demo, catalogue):
    """Draws hang on the name of a figure, so that few materials and all give the same digits.

    The cement at whose figures lent sulfate is credited is among the few.
    """
    few = problem_of(replace(demo, materials=(*BLEND, "csa_cement")), catalogue)
    every = all_materials(demo, catalogue)
    names = [name for name in PREDICTORS if name != "cost"]
    alone, listed = (ranges(each, cast(each, BLEND), names) for each in (few, every))
    for name in names:
        assert alone[name] == pytest.approx(listed[name], rel=1e-9, nan_ok=True), name


def test_nothing_unknown_and_an_exact_batch_is_the_best_value(problem, sure):
    there = cast(problem, BLEND)
    drawn = sure.cast(shop_bench(problem, **EXACT, **FINE_SCALE), there.mixes)
    for name, predictor in PREDICTORS.items():
        best = predictor(cast_of(problem.model, drawn.conditions, there.mixes))
        assert predictor(drawn) == pytest.approx(np.broadcast_to(best, (SEARCH.count, 1)), rel=1e-6), name


def test_water_error_spreads_the_water_as_stated(problem, sure):
    """The ratio of water to powder is lognormal with the stated error: 2 % (error propagation)."""
    there = cast(problem, BLEND)
    drawn = sure.cast(shop_bench(problem, **EXACT | {"water_error": 0.02}, **FINE_SCALE), there.mixes)
    ratio = drawn.body["water"] / drawn.body["powder"]
    assert np.log(ratio).std() == pytest.approx(0.02, rel=0.02)
    assert np.exp(np.log(ratio).mean()) == pytest.approx(
        float(there.body["water"][0] / there.body["powder"][0]), rel=1e-4
    )


@pytest.mark.parametrize("waste", [0.0, 0.25])
def test_a_coarse_scale_spreads_a_small_dose_by_its_step_over_root_twelve(problem, sure, waste):
    """A uniform error of one step has the standard deviation step / sqrt(12) (JCGM 100:2008, from memory)."""
    there = cast(problem, BLEND)
    conditions = shop_bench(problem, **EXACT, weigh_step=1e-9, dose_step=5.0, molds_per_mix=6, waste=waste)
    place = problem.names.index("titanium_white")
    grams = float(there.mixes[0, place]) * conditions.vessel.cavity_volume * 6 * (1.0 + waste)
    drawn = sure.cast(conditions, there.mixes)
    share = drawn.mixes[:, 0, place] / drawn.body["powder"][:, 0]
    assert np.log(share).std() == pytest.approx(5.0 / np.sqrt(12.0) / grams, rel=0.03)


def test_what_is_not_in_the_mix_stays_out(problem, sure):
    drawn = sure.cast(problem.conditions, cast(problem, BLEND).mixes)
    assert not drawn.mixes[..., problem.names.index("marble_flour")].any()


def test_room_temperature_varies_set_and_drying_together(problem, sure):
    there = cast(problem, BLEND)
    drawn = sure.cast(shop_bench(problem, **EXACT | {"temperature_error": 1.5}, **FINE_SCALE), there.mixes)
    assert np.ravel(drawn.conditions.temperature).std() == pytest.approx(1.5, rel=0.01)
    days, minutes = (np.ravel(PREDICTORS[name](drawn)) for name in ("drying_time", "demold_time"))
    assert stats.spearmanr(days, minutes).statistic > 0.99
    warm = conditions_of(replace(problem.job, shop=replace(problem.job.shop, temperature=24.0)))
    best = float(PREDICTORS["drying_time"](cast_of(problem.model, warm, there.mixes))[0])
    assert float(
        np.interp(24.0, np.sort(np.ravel(drawn.conditions.temperature)), np.sort(days)[::-1])
    ) == pytest.approx(best, rel=1e-3)


def test_a_cold_room_is_drawn_no_colder_than_the_drying_law_covers(problem, sure):
    """Two degrees and five of error: where more than 0.2 of a deviation is missing, it is 1 degC."""
    there = cast(problem, BLEND)
    cold = EXACT | {"temperature": 2.0, "temperature_error": 5.0}
    drawn = np.ravel(sure.cast(shop_bench(problem, **cold), there.mixes).conditions.temperature)
    assert drawn.min() == 1.0
    assert np.mean(drawn == 1.0) == pytest.approx(stats.norm.cdf(-0.2), abs=0.01)
    assert np.median(drawn) == pytest.approx(2.0, abs=0.05)


def test_air_varies_by_the_stated_share_of_the_volume(problem, sure):
    there = cast(problem, BLEND)
    drawn = sure.cast(shop_bench(problem, **EXACT | {"air_error": 0.005}, **FINE_SCALE), there.mixes)
    density = np.ravel(drawn.fresh_density)
    assert density.std() / density.mean() == pytest.approx(0.005 / 0.98, rel=0.02)


def test_a_calibrated_correlation_is_in_the_draws(problem):
    known = problem.parameters
    pair = [known.names.index(f"{name}.strength") for name in ("gypsum_cement", "white_csa_cement")]
    tied = np.eye(len(known))
    tied[pair[0], pair[1]] = tied[pair[1], pair[0]] = 0.8
    values = replace(known, correlation=tied).fitted_at(standard_normals(PRINTED, known.names))
    assert np.corrcoef(values[:, pair].T)[0, 1] == pytest.approx(0.8, abs=0.03)


def test_many_mixes_at_once_are_each_alone(problem):
    several = per_liter(problem.model, np.eye(len(problem.names))[:4])
    together = problem.samples.search.cast(problem.conditions, several)
    alone = problem.samples.search.cast(problem.conditions, several[2:3])
    for name, predictor in PREDICTORS.items():
        seen, one = (np.broadcast_to(predictor(x), (SEARCH.count, m)) for x, m in ((together, 4), (alone, 1)))
        assert seen[:, 2] == pytest.approx(one[:, 0], rel=1e-9), name


def test_another_question_of_the_same_materials_shares_the_draws(problem):
    assert problem.with_limits(()).samples is problem.samples


@pytest.mark.filterwarnings("error")
def test_points_of_draws_that_partly_never_set():
    """A point is one of the draws, by the definition of a quantile, and none is lost between infinities."""
    rng = np.random.default_rng(3)
    draws = np.where(rng.uniform(size=400) < 0.3, np.inf, rng.lognormal(3.0, 0.4, 400))
    for share in (0.05, 0.5, 0.69, 0.75, 0.95):
        point = float(points_of(draws[:, None], share))
        assert np.mean(draws <= point) >= share > np.mean(draws < point)
    assert float(points_of(np.full(9, np.inf), 0.05)) == np.inf
    assert np.isnan(points_of(np.array([1.0, np.nan]), (0.05, 0.95))).all()


@pytest.mark.filterwarnings("error")
def test_a_studio_that_never_sets_has_ranges_that_say_so(demo, catalogue):
    """Ten times the usual most of retarder: neither pouring nor waiting ends."""
    problem = all_materials(demo, catalogue)
    there = cast(problem, {"rapid_set_mortar": 0.8, "molding_plaster": 0.15, "citric_acid": 0.05})
    drawn = problem.samples.printed.cast(problem.conditions, there.mixes)
    for name in ("working_window", "demold_time"):
        assert np.array_equal(points_of(PREDICTORS[name](drawn), (0.05, 0.95)), [np.inf, np.inf])
