"""Thermal stress and shock, burn thresholds, and the temperature of a touch."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.properties.contact import (
    SKIN,
    STONE_BURN_THRESHOLDS,
    allowed_jump,
    burn_threshold,
    contact_temperature,
    shock_resistance,
    skin_burn_temperature,
    thermal_effusivity,
    thermal_stress,
)

QUICK = settings(max_examples=60, deadline=None)
THRESHOLDS = pd.read_csv(Path(__file__).parents[1] / "reference" / "burn_thresholds.csv", comment="#")


@pytest.mark.parametrize(
    ("difference", "expected"),
    [
        pytest.param(12.6, 1.26, id="own-arithmetic-wall"),
        pytest.param(40.0, 4.0, id="own-arithmetic-flame-on-wall"),
    ],
)
def test_stress_of_gypsum(difference, expected):
    """E 8 GPa, 20e-6 /K, Poisson's ratio 0.2, from memory."""
    assert thermal_stress(difference, 8.0, 20.0) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("flexural", "modulus", "expansion", "expected"),
    [
        pytest.param(6.0, 8.0, 20.0, 30.0, id="own-arithmetic-gypsum"),
        pytest.param(7.0, 25.0, 11.0, 20.0, id="own-arithmetic-quartz-mortar"),
        pytest.param(4.0, 12.0, 18.0, 14.8, id="own-arithmetic-dense-gypsum"),
    ],
)
def test_shock(flexural, modulus, expansion, expected):
    assert shock_resistance(flexural, modulus, expansion) == pytest.approx(expected, abs=0.5)


def test_stress_reaches_strength_at_twice_the_shock_resistance():
    """A gradient through the wall strains its face half as much as a chill of the face."""
    drop = 2.0 * shock_resistance(5.0, 9.0, 18.0)
    assert thermal_stress(drop, 9.0, 18.0) == pytest.approx(5.0)


def test_jump_in_water_and_in_air():
    """Manson's fit, from memory: R itself for a hard chill; in air 3.25 R / Bi is its leading part."""
    assert allowed_jump(13.9, 1e6) == pytest.approx(13.9, rel=1e-4)
    assert allowed_jump(13.9, 0.083) == pytest.approx(3.25 * 13.9 / 0.083, rel=0.05)


@QUICK
@given(st.floats(0.01, 100.0))
def test_harder_chill_allows_less(biot):
    assert allowed_jump(10.0, 1.05 * biot) < allowed_jump(10.0, biot)


@pytest.mark.parametrize(
    "row", THRESHOLDS.to_dict("records"), ids=lambda r: f"Czech-Reg-361-2007-{r['contact']}s"
)
def test_burn_thresholds(row):
    assert STONE_BURN_THRESHOLDS[row["contact"]] == row["ceramic_glass_stone"]
    assert burn_threshold(row["contact"]) == pytest.approx(row["ceramic_glass_stone"], abs=1e-12)


@QUICK
@given(st.floats(1.0, 1e5))
def test_longer_touch_never_allows_more(seconds):
    assert burn_threshold(1.1 * seconds) <= burn_threshold(seconds)


@pytest.mark.parametrize(
    ("effusivity", "expected"),
    [
        pytest.param(469.0, 40.7, id="own-arithmetic-perlite-gypsum"),
        pytest.param(756.0, 43.6, id="own-arithmetic-gypsum"),
        pytest.param(1470.0, 48.0, id="own-arithmetic-quartz-mortar"),
    ],
)
def test_touch_at_60_degrees(effusivity, expected):
    assert contact_temperature(60.0, effusivity) == pytest.approx(expected, abs=0.1)


@QUICK
@given(st.floats(40.0, 90.0), st.floats(100.0, 3000.0))
def test_touch_lies_between_skin_and_wall(surface, effusivity):
    touched = contact_temperature(surface, effusivity)
    assert SKIN[0] < touched < surface
    assert contact_temperature(surface, 1.1 * effusivity) > touched


def test_effusivity_of_water():
    """Handbook: water 0.598 W/(m K), 0.998 g/cm3, 4.18 J/(g K) has 1580 W s^0.5/(m2 K)."""
    assert thermal_effusivity(0.598, 0.998, 4.18) == pytest.approx(1580.0, rel=0.005)


@pytest.mark.parametrize(
    ("seconds", "second_degree", "first_degree"),
    [
        pytest.param(5.0, 60.9, 58.3, id="C1055-form-from-memory-5s"),
        pytest.param(60.0, 52.8, 52.2, id="C1055-form-from-memory-60s"),
        pytest.param(600.0, 48.4, 48.3, id="C1055-form-from-memory-600s"),
        pytest.param(21600.0, 44.7, 43.8, id="C1055-form-from-memory-6h"),
    ],
)
def test_skin_burns(seconds, second_degree, first_degree):
    assert skin_burn_temperature(seconds, degree=2) == pytest.approx(second_degree, abs=0.06)
    assert skin_burn_temperature(seconds, degree=1) == pytest.approx(first_degree, abs=0.06)


def test_skin_burns_at_44_degrees_in_six_hours():
    """Henriques & Moritz 1947, from memory: 44 degC burns within some six hours."""
    assert skin_burn_temperature(21600.0) == pytest.approx(44.0, abs=0.5)


def test_skin_burns_fall_with_time():
    times = np.geomspace(1.0, 21600.0, 50)
    assert (np.diff(skin_burn_temperature(times, 1)) < 0.0).all()
    assert (np.diff(skin_burn_temperature(times, 2)) < 0.0).all()
