"""The grams under "stands" are where the chance has fallen by ten points, by re-computation."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from optimizer.job import Limit
from optimizer.problem import problem_of
from optimizer.studies.check import grams_of_blend
from optimizer.verdict.assess import FALL, assess, stands
from optimizer.verdict.judge import mix_of_grams

BLENDS = (
    ({"gypsum_cement": 1.0}, 0.36),
    ({"gypsum_cement": 0.8, "marble_flour": 0.2}, 0.31),
    ({"gypsum_cement": 0.75, "molding_plaster": 0.25}, 0.38),
)


@pytest.fixture(scope="module")
def problem(demo, catalogue):
    limits = (
        Limit("demold_time", "<=", 60.0),
        Limit("working_window", ">=", 8.0),
        Limit("dry_strength", ">=", 25.0),
    )
    return problem_of(demo, catalogue).with_limits(limits)


def chance(problem, grams):
    return assess(problem, mix_of_grams(problem, grams)[1]).joint_probability


@pytest.mark.parametrize(("blend", "water"), BLENDS, ids=lambda x: str(x))
def test_the_chance_has_fallen_by_ten_points_where_it_says(problem, blend, water):
    grams = grams_of_blend(problem, blend, water)
    told, start = stands(problem, grams), chance(problem, grams)
    one = 1.0 / (6 * 1.08)  # of a mix for six vessels with 8 % waste
    assert told.vessels == 6
    places = {"water": (len(grams) - 1, told.water_room.times(one))}
    places["powder"] = (problem.names.index(told.powder), told.powder_room.times(one))
    assert told.powder == max(blend, key=blend.get)
    looked = 0
    for place, room in places.values():
        for off in (-room.less, room.more):
            if math.isinf(off):
                off = math.copysign(0.25 * grams[place], off)  # beyond a quarter it is another recipe
                changed = grams + off * np.eye(len(grams))[place]
                assert chance(problem, changed) > start - FALL
                continue
            looked += 1
            assert abs(off) < 0.25 * grams[place]
            nearer, further = (grams + f * off * np.eye(len(grams))[place] for f in (0.97, 1.03))
            assert chance(problem, nearer) > start - FALL - 2e-3
            assert chance(problem, further) < start - FALL + 0.02
    assert looked > 0


def test_a_limit_of_weight_is_judged_in_the_vessel_that_is_filled(demo, catalogue):
    """Gypsum cement alone, the only powder: less water, and the same volume of a filled mold weighs more.

    The limit is the upper end of its own range, so 19 of 20 hold it as cast (own arithmetic).
    """
    job = replace(demo, materials=("gypsum_cement",), limits=())
    bare = problem_of(job, catalogue)
    grams = grams_of_blend(bare, {"gypsum_cement": 1.0}, 0.36)
    heavy = assess(bare, mix_of_grams(bare, grams)[1]).ranges["dry_mass"][1]
    problem = bare.with_limits((Limit("dry_mass", "<=", heavy),))
    told = stands(problem, grams)
    assert told.powder == "gypsum_cement"
    assert chance(problem, grams) == pytest.approx(0.95, abs=0.01)
    off = -told.water_room.times(1.0 / (6 * 1.08)).less * np.array([0.0, 1.0])
    assert chance(problem, grams + off) == pytest.approx(0.95 - FALL, abs=0.02)
