"""Whiteness: Kubelka-Munk against exact values, lightness against the `colour` library."""

from pathlib import Path

import colour
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.properties.color import (
    absorption_ratio,
    lightness,
    reflectance,
)

QUICK = settings(max_examples=80, deadline=None)
REFERENCE = Path(__file__).parents[1] / "reference"
PAIRS = pd.read_csv(REFERENCE / "kubelka_munk.csv", comment="#")
LIGHTNESS = pd.read_csv(REFERENCE / "cie_lightness.csv", comment="#")
reflectances = st.floats(0.01, 0.99)


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
