"""Measurements of a studio against published tables and worked examples; each source beside its check."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from optimizer.errors import QuantityError
from optimizer.trials.bending import (
    BentBar,
    bar_strength,
    bending_strength,
    compressive_estimate,
    modulus_of_rupture,
)
from optimizer.trials.measuring import (
    Measured,
    density_filled,
    density_in_water,
    mold_volume,
    repeat_error,
    water_density,
)

TANAKA_2001 = "table printed with an open implementation of Tanaka et al. 2001, page read"
HANDBOOK = "handbook table of water, from memory"


@pytest.mark.parametrize(
    ("temperature", "density", "rounding"),
    [
        pytest.param(0.0, 0.9998428, 5e-8, id=TANAKA_2001),
        pytest.param(10.0, 0.9997027, 5e-8, id=TANAKA_2001),
        pytest.param(15.0, 0.9991026, 5e-8, id=TANAKA_2001),
        pytest.param(20.0, 0.9982067, 5e-8, id=TANAKA_2001),
        pytest.param(30.0, 0.9956488, 5e-8, id=TANAKA_2001),
        pytest.param(4.0, 0.99997, 6e-6, id=HANDBOOK),
        pytest.param(25.0, 0.99705, 6e-6, id=HANDBOOK),
        pytest.param(35.0, 0.99403, 6e-6, id=HANDBOOK),
        pytest.param(40.0, 0.99222, 6e-6, id=HANDBOOK),
        pytest.param(
            16.0, 0.9989468, 2e-6, id="absolute density of water at 16 degC, 998.9468 kg/m3, abstract read"
        ),
    ],
)
def test_density_of_water(temperature, density, rounding):
    assert water_density(temperature) == pytest.approx(density, abs=rounding)


@pytest.mark.parametrize("temperature", [-0.1, 40.1, math.nan])
def test_density_of_water_keeps_to_its_range(temperature):
    with pytest.raises(QuantityError, match="0 to 40"):
        water_density(temperature)


def test_mold_volume_by_water():
    # own arithmetic: 500 g of water at 25 degC over its handbook density
    found = mold_volume([499.0, 500.0, 501.0], 25.0)
    assert found.value == pytest.approx(500.0 / 0.99705, rel=1e-5)
    assert found.unit == "mL"
    assert found.warnings == ()
    assert 0.5 < found.spread < 2.5


def test_more_fills_narrow_the_volume_and_a_coarse_scale_widens_it():
    one, four = mold_volume([215.0]), mold_volume([215.0] * 4)
    assert four.spread < one.spread
    assert mold_volume([215.0], scale_step=5.0).spread > one.spread
    assert any("too coarse" in text for text in mold_volume([215.0], scale_step=5.0).warnings)
    assert any("differ" in text for text in mold_volume([215.0, 225.0, 216.0]).warnings)


def test_spread_of_a_scale_covers_what_a_step_hides():
    """Weigh a known mass on a simulated scale of 5 g: the standard error is that of the differences seen."""
    random = np.random.default_rng(7)
    offsets = random.uniform(0.0, 5.0, 4000)
    seen = np.round((offsets + 3.3) / 5.0) * 5.0 - np.round(offsets / 5.0) * 5.0
    from optimizer.trials.measuring import scale_error

    assert float(np.sqrt(np.mean((seen - 3.3) ** 2))) == pytest.approx(scale_error(5.0), rel=0.2)


@pytest.mark.parametrize(
    ("air", "water", "density"),
    [
        pytest.param(
            8.630, 7.800, 10.4, id="college physics, coin in air and water, worked example read: 10.4 g/cm3"
        ),
        pytest.param(908.0, 796.0, 8.1, id="crown of 8.90 N and 7.80 N, worked example read: 8e3 kg/m3"),
    ],
)
def test_density_in_water(air, water, density):
    found = density_in_water(air, water, scale_step=0.001)
    assert found.value == pytest.approx(density, rel=0.006)


def test_density_of_a_floating_piece():
    # own arithmetic: half as dense as water pulls up as hard as it weighs
    assert density_in_water(100.0, -100.0).value == pytest.approx(water_density(20.0) / 2.0)


@pytest.mark.parametrize(("air", "water"), [(100.0, 100.0), (100.0, 120.0), (0.0, -1.0), (math.nan, 1.0)])
def test_impossible_weighings(air, water):
    with pytest.raises(QuantityError):
        density_in_water(air, water)


def test_density_of_a_slurry():
    # w/p 0.35: 1.892 g/cm3 by stoichiometry; 250 mL then weigh 473 g
    found = density_filled(473.0 + 47.0, 47.0, Measured(250.0, 1.0, "mL", "weight of water"))
    assert found.value == pytest.approx(1.892, abs=5e-4)
    assert found.spread > 0.005 * found.value
    with pytest.raises(QuantityError, match="more than 47 g"):
        density_filled(40.0, 47.0, Measured(250.0, 1.0, "mL", "weight of water"))


@pytest.mark.parametrize(
    ("force", "span", "width", "depth", "strength", "rounding"),
    [
        pytest.param(
            300, 44, 11, 5.3, 64.08, 0.005, id="glass bar, materials-science exercise with solution, read"
        ),
        pytest.param(
            1000, 119, 40, 40, 2.8, 0.05, id="ASTM C348: 0.0028 MPa per N, 40 mm prism, from memory"
        ),
        pytest.param(
            1000, 100, 40, 40, 2.34, 0.005, id="EN 196-1: 0.00234 MPa per N, 40 mm prism, from memory"
        ),
    ],
)
def test_bending_strength(force, span, width, depth, strength, rounding):
    assert bending_strength(force, span, width, depth) == pytest.approx(strength, abs=rounding)


@pytest.mark.parametrize("length", [160.0, 200.0, 320.0])
def test_own_weight_is_the_moment_of_a_beam_with_overhangs(length):
    """Integrate the moment of the bar's weight from one end to mid-span (statics)."""
    span, width, depth, mass = 160.0, 40.0, 40.0, 460.0
    per_mm = mass * 1e-3 * 9.80665 / length
    moment = per_mm * length / 2.0 * span / 2.0 - quad(lambda x: per_mm * x, 0.0, length / 2.0)[0]
    stress = moment / (width * depth**2 / 6.0)
    bar = BentBar(30_000.0, span, width, depth, mass, length)
    bare = BentBar(30_000.0, span, width, depth)
    assert bar_strength(bar) - bar_strength(bare) == pytest.approx(stress, abs=1e-9)


@pytest.mark.parametrize("change", [{"load": 0.0}, {"span": -1.0}, {"depth": 0.0}, {"length": 50.0}])
def test_impossible_bars(change):
    with pytest.raises(QuantityError):
        bar_strength(BentBar(**{"load": 1e4, "span": 100.0, "width": 40.0, "depth": 20.0} | change))


def test_bars_that_agree_are_not_taken_as_exact():
    one = modulus_of_rupture([BentBar(2e4, 100.0, 40.0, 20.0)])
    three = modulus_of_rupture([BentBar(2e4, 100.0, 40.0, 20.0)] * 3)
    assert one.spread == pytest.approx(0.15 * one.value, rel=0.02)  # the scatter known beforehand
    assert 0.05 * three.value < three.spread < one.spread
    assert any("three bars" in text for text in one.warnings)
    assert any("arches" in text for text in modulus_of_rupture([BentBar(2e4, 40.0, 40.0, 20.0)]).warnings)


def test_spread_of_the_mean_covers_the_truth():
    """Break many simulated sets of 3 and 6 bars that scatter by 15 %: two in three fall within the spread."""
    random = np.random.default_rng(3)
    for bars in (3, 6):
        sets = 5.0 * (1.0 + 0.15 * random.standard_normal((400, bars)))
        inside = [abs(np.mean(row) - 5.0) < repeat_error(list(row), 0.15) for row in sets]
        assert 0.60 < np.mean(inside) < 0.76


GOST_125 = {
    2: 1.2,
    3: 1.8,
    4: 2.0,
    5: 2.5,
    6: 3.0,
    7: 3.5,
    10: 4.5,
    13: 5.5,
    16: 6.0,
    19: 6.5,
    22: 7.0,
    25: 8.0,
}


@pytest.mark.parametrize("compressive", GOST_125, ids=lambda grade: f"GOST 125-79 grade {grade}, from memory")
def test_compressive_strength_from_bars_of_gypsum(compressive):
    bent = Measured(GOST_125[compressive], 0.0, "MPa", "three-point bending")
    found = compressive_estimate(bent, 1.0)
    assert found.value == pytest.approx(compressive, rel=0.16)
    assert abs(found.value - compressive) < 1.5 * found.spread


def test_doubt_of_the_bars_grows_on_the_way_to_compressive():
    sharp, vague = (compressive_estimate(Measured(6.0, spread, "MPa", "bend"), 1.0) for spread in (0.0, 0.9))
    # own arithmetic: 15 % of F becomes 15 / 0.737 % of C
    assert math.sqrt(vague.spread**2 - sharp.spread**2) / vague.value == pytest.approx(0.15 / 0.737, rel=1e-6)


def test_mixed_binders_lie_between_and_say_it_is_judgement():
    bent = Measured(5.0, 0.3, "MPa", "bend")
    gypsum, mixed, cement = (compressive_estimate(bent, share) for share in (1.0, 0.5, 0.0))
    assert gypsum.value < mixed.value < cement.value
    # own arithmetic: (5 / 0.55)^(1 / 0.65)
    assert cement.value == pytest.approx((5.0 / 0.55) ** (1.0 / 0.65))
    assert any("judgement" in text for text in mixed.warnings)
    assert any(
        "guess" in text for text in compressive_estimate(Measured(12.0, 1.0, "MPa", "bend"), 1.0).warnings
    )


@pytest.mark.parametrize(("value", "share"), [(5.0, 1.1), (5.0, -0.1), (0.0, 1.0), (math.nan, 1.0)])
def test_impossible_estimates(value, share):
    with pytest.raises(QuantityError):
        compressive_estimate(Measured(value, 0.1, "MPa", "bend"), share)


@pytest.mark.parametrize(
    ("coarse", "twice"),
    [("load_step", 1.0), ("rule", 1.0), ("caliper", None)],
)
def test_error_of_a_bent_bar_follows_its_formula(coarse, twice):
    """To first order strength goes as load x span / (width x depth squared): depth alone counts twice.

    A reading rounded to a step is off by the step over the root of twelve (ISO/IEC Guide 98-3, from memory).
    """
    bar = BentBar(30_000.0, 100.0, 40.0, 20.0, 160.0, 120.0)
    steps = {"load_step": 1e-9, "caliper": 1e-9, "rule": 1e-9}
    plain, rough = (modulus_of_rupture([bar], **(steps | {coarse: step})) for step in (1e-9, 2.0))
    added = math.sqrt(rough.spread**2 - plain.spread**2) / rough.value
    one = 2.0 / math.sqrt(12.0)
    sizes = {"load_step": one / 30_000.0, "rule": one / 100.0}
    expected = sizes[coarse] * twice if twice else math.hypot(one / 40.0, 2.0 * one / 20.0)
    assert added == pytest.approx(expected, rel=1e-3)
