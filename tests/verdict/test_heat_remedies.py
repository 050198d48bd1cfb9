"""Remedies for heat are worked out from the job: their signs are those of the heat balance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.property_model.microstructure import per_liter
from optimizer.verdict.judge import heat_remedies
from tests.property_model.helpers import all_materials, shares_of, values


def remedies(problem, blend):
    return heat_remedies(problem, per_liter(problem.model, shares_of(problem, blend))[0])


@pytest.mark.parametrize("name", ["gypsum_cement", "rapid_set_mortar"])
def test_a_remedy_changes_what_the_whole_chain_says(demo, catalogue, name):
    """Own arithmetic: the changed job asked anew."""
    candle = replace(demo.candle, measured_outer=None)
    plain = all_materials(replace(demo, candle=candle), catalogue)
    smaller = all_materials(
        replace(demo, candle=replace(candle, burn_rate=0.8 * candle.burn_rate)), catalogue
    )
    before, after = (values(each, {name: 1.0})["heat_margin"] for each in (plain, smaller))
    assert remedies(plain, {name: 1.0})["a wick that burns a fifth less"] == pytest.approx(after - before)


def test_less_flame_never_warms_and_a_thicker_wall_does_inside(demo, catalogue):
    """In steady state a thicker wall adds resistance before the same loss: its inside is hotter (Fourier)."""
    for rate in (1.5, 4.5, 9.0):
        candle = replace(demo.candle, measured_outer=None, burn_rate=rate)
        found = remedies(all_materials(replace(demo, candle=candle), catalogue), {"gypsum_cement": 1.0})
        assert found["a wick that burns a fifth less"] >= -1e-9
        assert found["a vessel 10 mm wider"] > -0.5
        assert found["a wall 2 mm thicker"] < 0.0


def test_no_candle_no_remedy(demo, catalogue):
    problem = all_materials(replace(demo, candle=None), catalogue)
    assert remedies(problem, {"gypsum_cement": 1.0}) == {}
    assert np.isnan(values(problem, {"gypsum_cement": 1.0})["heat_margin"])
