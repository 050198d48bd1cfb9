"""Conductivity of paste and body against measured gypsums, exact bounds and analytic values."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.properties.heat_transfer import (
    AIR,
    GYPSUM_SOLID,
    body_conductivity,
    hashin_shtrikman,
    maxwell_eucken,
    paste_conductivity,
)

QUICK = settings(max_examples=80, deadline=None)
conductivities = st.floats(0.02, 10.0)
shares = st.floats(0.0, 1.0)
MEASURED = pd.read_csv(Path(__file__).parents[1] / "reference" / "gypsum_composites.csv", comment="#")


@pytest.mark.parametrize(
    ("matrix", "inclusion", "fraction", "expected", "tolerance"),
    [
        pytest.param(1.0, 0.0, 0.5, 0.4, 1e-9, id="Maxwell-half-pores-analytic"),
        pytest.param(0.35, 7.7, 0.1, 0.451, 1e-3, id="own-arithmetic-quartz-10"),
        pytest.param(0.35, 7.7, 0.3, 0.724, 1e-3, id="own-arithmetic-quartz-30"),
        pytest.param(0.35, 0.05, 0.3, 0.237, 1e-3, id="own-arithmetic-perlite-30"),
        pytest.param(0.35, 0.05, 0.4, 0.205, 1e-3, id="own-arithmetic-perlite-40"),
    ],
)
def test_separate_inclusions(matrix, inclusion, fraction, expected, tolerance):
    assert maxwell_eucken(matrix, inclusion, fraction) == pytest.approx(expected, abs=tolerance)


def test_rules_of_two_equal_parts():
    """Analytic: conductivities 1 and 0.5, half and half."""
    lower, upper = hashin_shtrikman(1.0, 0.5, 0.5)
    assert lower == pytest.approx(5.0 / 7.0, abs=1e-6)
    assert upper == pytest.approx(8.0 / 11.0, abs=1e-6)


@QUICK
@given(conductivities, conductivities, shares)
def test_bounds_lie_inside_wiener(first, second, share):
    """Hashin-Shtrikman bounds lie within series and parallel (Wiener)."""
    lower, upper = hashin_shtrikman(first, second, share)
    series, parallel = 1.0 / ((1.0 - share) / first + share / second), (1.0 - share) * first + share * second
    slack = 1e-9 * max(first, second)
    assert series - slack <= lower <= upper + slack
    assert upper <= parallel + slack


def test_measured_gypsum_lies_between_the_rules():
    """Measured 0.3004 at 57.5 % pores (acee-2019-037): between the bounds."""
    lower, upper = hashin_shtrikman(GYPSUM_SOLID, AIR, 0.575)
    assert [lower, upper] == pytest.approx([0.0781, 0.4494], abs=2e-4)
    assert lower < 0.3004 < upper


def test_measured_set_is_consistent():
    """Conductivity over density and heat capacity is the diffusivity measured beside it (acee-2019-037)."""
    diffusivity = MEASURED["conductivity"] / (MEASURED["density"] * MEASURED["specific_heat"]) * 1e6
    np.testing.assert_allclose(diffusivity[:3], MEASURED["diffusivity"][:3], rtol=0.03)


@QUICK
@given(st.floats(0.05, 0.7), st.floats(0.0, 0.45), st.floats(0.0, 0.4))
def test_direction_of_pores_and_grains(pores, heavy, light):
    """Pores and light grains insulate, quartz conducts."""

    def body(p, h, l_):
        return float(body_conductivity(p, GYPSUM_SOLID, h, 7.7, l_, 0.05))

    base = body(pores, heavy, light)
    assert body(pores + 0.02, heavy, light) < base
    assert body(pores, heavy + 0.02, light) > base
    assert body(pores, heavy, light + 0.02) < base


def test_body_without_grains_is_paste_and_with_one_kind_is_maxwell():
    paste = paste_conductivity(0.3)
    assert body_conductivity(0.3, GYPSUM_SOLID, 0.0, 7.7, 0.0, 0.05) == pytest.approx(paste)
    sandy = body_conductivity(0.3, GYPSUM_SOLID, 0.3, 7.7, 0.0, 0.05)
    assert sandy == pytest.approx(maxwell_eucken(paste, 7.7, 0.3))


def test_arrays_broadcast():
    pores = np.linspace(0.2, 0.6, 5)
    together = body_conductivity(pores, GYPSUM_SOLID, np.array([[0.0], [0.3]]), 7.7, 0.1, 0.05)
    assert together.shape == (2, 5)
    assert together[1, 2] == pytest.approx(body_conductivity(pores[2], GYPSUM_SOLID, 0.3, 7.7, 0.1, 0.05))
