"""The grams under "stands" are where the chance has fallen by ten points, by re-computation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from optimizer.problem import problem_of
from optimizer.shop import Limit
from optimizer.studies.check import grams_of_blend
from optimizer.verdict.assess import assess
from optimizer.verdict.judge import mix_of_grams
from optimizer.verdict.stands import FALL, stands

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
                off = math.copysign(0.25 * grams[place], off)
                changed = grams + off * np.eye(len(grams))[place]
                assert chance(problem, changed) > start - FALL
                continue
            looked += 1
            nearer, further = (grams + f * off * np.eye(len(grams))[place] for f in (0.97, 1.03))
            assert chance(problem, nearer) > start - FALL - 2e-3
            assert chance(problem, further) < start - FALL + 0.02
    assert looked > 0
