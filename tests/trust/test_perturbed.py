"""Grams told under *stands*, weighed wrong by as much; fifty jobs by the script beside, all invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.jobfile import parse_job, template
from optimizer.solution import Room
from optimizer.studies.check import check
from tests.trust.perturbed import weighed_wrong

BLENDS = (
    ("demo", {"gypsum_cement": 0.75, "silica_sand": 0.25}, 0.30),
    ("job", {"gypsum_cement": 0.9, "marble_flour": 0.1}, 0.33),
)


@pytest.fixture(params=BLENDS, ids=lambda each: each[0])
def answer(request, catalogue):
    kind, blend, water = request.param
    job = replace(parse_job(template(kind), catalogue, kind), calibration="")
    return check(job, blend, catalogue, water, explain=True)


def test_ten_points_are_lost_where_it_is_told(answer, catalogue):
    looked = list(weighed_wrong(answer, catalogue))
    assert [each for each in looked if not each.right] == []
    assert any(np.isfinite(each.grams) for each in looked)


def test_grams_told_too_large_are_found(answer, catalogue):
    stands = answer.stands
    wrong = replace(stands, water_room=Room(stands.water_room.less * 1.2, stands.water_room.more * 1.2))
    looked = list(weighed_wrong(replace(answer, stands=wrong), catalogue))
    assert any(not each.right for each in looked if each.what == "water")
