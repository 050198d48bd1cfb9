"""Whiteness: Kubelka-Munk against exact values, lightness and indices against the `colour` library."""

from pathlib import Path

import colour
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.properties.color import (
    D65_TEN_DEGREES,
    absorption_ratio,
    cie_tint,
    cie_whiteness,
    lightness,
    luminance,
    mixed_ratio,
    ratio_bound,
    reflectance,
    surface_corrected,
    wet_reflectance,
    whiteness_index,
)

QUICK = settings(max_examples=80, deadline=None)
REFERENCE = Path(__file__).parents[1] / "reference"
PAIRS = pd.read_csv(REFERENCE / "kubelka_munk.csv", comment="#")
LIGHTNESS = pd.read_csv(REFERENCE / "cie_lightness.csv", comment="#")
reflectances = st.floats(0.01, 0.99)
GYPSUM, CSA = (0.90, 1.0), (0.55, 1.0)
TITANIUM, RED = (0.96, 20.0), (0.08, 15.0)


def mixed_reflectance(shares, materials):
    """Return the reflectance of a mixture of (reflectance, scattering) pairs."""
    alone, scattering = np.array(materials).T
    return float(reflectance(mixed_ratio(np.array(shares), scattering, absorption_ratio(alone))))


@pytest.mark.parametrize(
    "row", PAIRS.to_dict("records"), ids=lambda r: f"Kubelka-Munk-1931-{r['reflectance']}"
)
def test_absorption_ratio_and_its_inverse(row):
    assert absorption_ratio(row["reflectance"]) == pytest.approx(row["ratio"], abs=1e-9)
    assert reflectance(row["ratio"]) == pytest.approx(row["reflectance"], abs=1e-9)


@QUICK
@given(st.floats(1e-4, 1.0))
def test_reflectance_there_and_back(value):
    assert reflectance(absorption_ratio(value)) == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize("row", LIGHTNESS.to_dict("records"), ids=lambda r: f"CIE-15-{r['y']}")
def test_lightness_table(row):
    assert lightness(row["y"] / 100.0) == pytest.approx(row["lightness"], abs=1e-3)


@QUICK
@given(st.floats(0.0, 1.0))
def test_lightness_agrees_with_library(y):
    expected = float(colour.lightness(100.0 * y, method="CIE 1976"))
    assert lightness(y) == pytest.approx(expected, abs=1e-9)
    assert luminance(lightness(y)) == pytest.approx(y, abs=1e-12)


@pytest.mark.parametrize(
    ("x", "y", "luminance_percent", "white", "whiteness", "tint"),
    [pytest.param(0.3167, 0.3334, 100.0, (0.3139, 0.3311), 93.85, -1.305, id="colour-docs-CIE-2004")],
)
def test_cie_whiteness_values(x, y, luminance_percent, white, whiteness, tint):
    assert cie_whiteness(x, y, luminance_percent, white) == pytest.approx(whiteness, abs=1e-6)
    assert cie_tint(x, y, white, degrees=2) == pytest.approx(tint, abs=1e-6)


@QUICK
@given(st.floats(0.29, 0.34), st.floats(0.30, 0.36), st.floats(60.0, 100.0), st.sampled_from([2, 10]))
def test_cie_whiteness_agrees_with_library(x, y, luminance_percent, degrees):
    observer = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}[degrees]
    expected = colour.colorimetry.whiteness_CIE2004(
        np.array([x, y]), luminance_percent, np.array(D65_TEN_DEGREES), observer
    )
    found = [cie_whiteness(x, y, luminance_percent), cie_tint(x, y, degrees=degrees)]
    assert found == pytest.approx(list(expected), abs=1e-9)


def test_daylight_of_the_library():
    white = colour.CCS_ILLUMINANTS["CIE 1964 10 Degree Standard Observer"]["D65"]
    assert pytest.approx(list(white), abs=2e-5) == list(D65_TEN_DEGREES)


@QUICK
@given(st.floats(50.0, 100.0), st.floats(50.0, 120.0))
def test_older_index_agrees_with_library(y, z):
    expected = colour.colorimetry.whiteness_ASTME313(np.array([95.0, y, z]))
    assert whiteness_index(y, z) == pytest.approx(float(expected), abs=1e-9)


def test_older_index_value():
    """ASTM E313 in the `colour` documentation: X 95, Y 100, Z 105 give 55.74."""
    assert whiteness_index(100.0, 105.0) == pytest.approx(55.74, abs=1e-6)


@pytest.mark.parametrize(
    ("second_scattering", "expected", "l_star"),
    [
        pytest.param(1.0, 0.74438, 89.13, id="own-arithmetic-single-constant"),
        pytest.param(2.0, 0.69953, 86.97, id="own-arithmetic-two-constant"),
    ],
)
def test_two_powders(second_scattering, expected, l_star):
    """Averaging the reflectances would give 0.81."""
    mixed = mixed_reflectance([0.7, 0.3], [(0.9, 1.0), (0.6, second_scattering)])
    assert mixed == pytest.approx(expected, abs=1e-5)
    assert lightness(mixed) == pytest.approx(l_star, abs=0.01)


@pytest.mark.parametrize(
    ("gypsum", "expected"),
    [
        pytest.param(1.0, 0.900, id="own-arithmetic-100"),
        pytest.param(0.7, 0.710, id="own-arithmetic-70"),
        pytest.param(0.5, 0.649, id="own-arithmetic-50"),
        pytest.param(0.3, 0.603, id="own-arithmetic-30"),
        pytest.param(0.0, 0.550, id="own-arithmetic-0"),
    ],
)
def test_gypsum_and_csa(gypsum, expected):
    assert mixed_reflectance([gypsum, 1.0 - gypsum], [GYPSUM, CSA]) == pytest.approx(expected, abs=0.001)


def test_gray_cement_in_gypsum():
    """Own arithmetic: 10 % of a gray of 0.35 brings gypsum from L* 96 down to 86.9."""
    mixed = mixed_reflectance([0.9, 0.1], [GYPSUM, (0.35, 1.0)])
    assert mixed == pytest.approx(0.698, abs=0.001)
    assert lightness(mixed) == pytest.approx(86.9, abs=0.05)


def test_titanium_white_lifts_csa_with_falling_return():
    """Own arithmetic with default scattering: 0/1/2/3/5/10 % titanium white by mass."""
    doses = np.array([0.0, 0.01, 0.02, 0.03, 0.05, 0.10])
    lifted = np.array([mixed_reflectance([1.0 - d, d], [CSA, TITANIUM]) for d in doses])
    np.testing.assert_allclose(lifted, [0.550, 0.579, 0.603, 0.623, 0.656, 0.713], atol=0.001)
    slopes = np.diff(lifted) / np.diff(doses)
    assert (slopes > 0.0).all()
    assert (np.diff(slopes) < 0.0).all()


def test_red_oxide_darkens_gypsum():
    """Own arithmetic: 1 % of red iron oxide takes set gypsum from 0.90 to 0.33."""
    assert mixed_reflectance([0.99, 0.01], [GYPSUM, RED]) == pytest.approx(0.33, abs=0.01)


@QUICK
@given(reflectances, reflectances, st.floats(0.1, 30.0), st.floats(0.0, 1.0))
def test_mixture_lies_between_its_parts(first, second, scattering, share):
    mixed = mixed_reflectance([1.0 - share, share], [(first, 1.0), (second, scattering)])
    assert min(first, second) - 1e-9 <= mixed <= max(first, second) + 1e-9


@QUICK
@given(reflectances, reflectances, st.floats(0.0, 1.0), st.floats(20.0, 99.0))
def test_lightness_limit_is_a_linear_row(first, second, share, least):
    """The row ``sum p S (K/S - bound) <= 0`` agrees with the lightness of the mixture."""
    amounts, scattering = np.array([1.0 - share, share]), np.array([1.0, 5.0])
    ratios = absorption_ratio(np.array([first, second]))
    row = float((amounts * scattering * (ratios - ratio_bound(least))).sum())
    found = float(lightness(reflectance(mixed_ratio(amounts, scattering, ratios))))
    if abs(found - least) > 1e-6:
        assert (row < 0.0) == (found > least)


def test_materials_run_along_the_last_axis():
    amounts = np.array([[1.0, 0.0], [0.5, 0.5], [0.0, 1.0]])
    mixed = reflectance(mixed_ratio(amounts, np.ones(2), absorption_ratio(np.array([0.9, 0.55]))))
    np.testing.assert_allclose(mixed, [0.9, 0.649, 0.55], atol=0.001)


def test_wet_concrete():
    """Levinson & Akbari 2001 (abstract read): mean albedo 0.59, 0.23 less when wet; fits the factor."""
    assert wet_reflectance(0.59) == pytest.approx(0.59 - 0.23, abs=0.01)


@QUICK
@given(reflectances)
def test_wet_is_darker(dry):
    assert 0.0 < wet_reflectance(dry) < dry


def test_surface_correction():
    """Saunderson 1942, from memory; own arithmetic: 0.8 measured is 0.90476 below the surface."""
    assert surface_corrected(0.8) == pytest.approx(0.90476, abs=1e-5)
    assert surface_corrected(1.0, outside=0.0, inside=0.6) == pytest.approx(1.0)
