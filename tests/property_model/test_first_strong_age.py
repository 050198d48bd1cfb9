"""The first age with enough strength is where the strength curve crosses it, by SciPy's root finder."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from optimizer.property_model.strength import LONGEST, first_strong_age, wet_strength_at
from tests.property_model.helpers import all_materials, cast

BLENDS = (
    {"gypsum_cement": 1.0},
    {"molding_plaster": 1.0},
    {"rapid_set_mortar": 1.0},
    {"gypsum_cement": 0.5, "rapid_set_mortar": 0.5},
    {"white_csa_cement": 0.6, "gypsum_cement": 0.3, "silica_sand": 0.1},
    {"csa_cement": 0.997, "citric_acid": 0.003},
    {"gypsum_cement": 0.3, "csa_cement": 0.699, "citric_acid": 0.001},
)


@pytest.fixture(scope="module", params=BLENDS, ids=" and ".join)
def clock(request, demo, catalogue):
    return cast(all_materials(demo, catalogue), request.param).clock


@pytest.mark.parametrize("share", [0.01, 0.1, 0.27, 0.28, 0.4, 0.6, 0.8, 0.95, 0.999])
def test_it_is_where_the_curve_crosses_the_need_scipy(clock, share):
    need = share * float(np.exp(clock.ln_end[0]))

    def short(ln_age):
        return float(np.log(wet_strength_at(clock, np.exp(ln_age))[0] + 1e-12) - np.log(need))

    found = float(first_strong_age(clock, np.array([need]), np.array([1e-3]))[0])
    if short(np.log(LONGEST)) < -1e-5:
        assert np.isinf(found)
    else:
        assert found == pytest.approx(
            np.exp(brentq(short, 0.0, np.log(LONGEST) + 0.01)), rel=5e-3 * share**30 + 2e-4
        )


def test_never_and_not_before_the_start(clock):
    need = 1.001 * np.exp(clock.ln_end)
    assert np.isinf(first_strong_age(clock, need, np.array([1.0]))[0])
    assert first_strong_age(clock, 1e-6 * need, np.array([500.0]))[0] == 500.0
    assert np.isinf(first_strong_age(clock, 1e-6 * need, np.array([LONGEST]))[0])


def test_in_a_draw_without_set_it_is_never(clock):
    late = np.full(1, np.exp(30.0))
    unset = replace(clock, initial=late, final=1.6 * late)
    assert np.isinf(first_strong_age(unset, 0.5 * np.exp(clock.ln_end), np.minimum(late, LONGEST))[0])
