"""Density, pores and water by absolute volume."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_rows import reference_rows
from scipy.optimize import brentq

from optimizer.constants import MOLAR_MASSES, WATER_DENSITY
from optimizer.properties.hydration import hydrate, solid_growth
from optimizer.properties.thermochemistry import heat_of_hydration
from optimizer.properties.volumes import (
    GYPSUM_YIELD,
    WATER_OF_HYDRATION,
    absorption,
    dry_density,
    evaporable_water,
    fresh_density,
    fresh_volume,
    paste_porosity,
    plain_gypsum,
    pore_volume,
    porosity,
    sorbed_moisture,
)

BETA = 2.63


def test_water_of_hydration_dental_texts_18_6_percent():
    assert pytest.approx(18.62, abs=0.03) == 100.0 * WATER_OF_HYDRATION
    assert pytest.approx(1.1862, abs=5e-4) == GYPSUM_YIELD


@pytest.mark.parametrize(
    ("phase", "moles", "percent"),
    [
        pytest.param("gypsum", 2.0, 20.93, id="crystal-water-of-gypsum-own-arithmetic"),
        pytest.param("hemihydrate", 0.5, 6.21, id="crystal-water-of-hemihydrate-own-arithmetic"),
        pytest.param("gypsum", 1.5, 15.70, id="loss-to-hemihydrate-own-arithmetic"),
    ],
)
def test_crystal_water(phase, moles, percent):
    assert 100.0 * moles * MOLAR_MASSES["water"] / MOLAR_MASSES[phase] == pytest.approx(percent, abs=0.02)


@pytest.mark.parametrize("row", reference_rows("gypsum_by_water_ratio.csv"))
def test_plain_gypsum_own_arithmetic(row):
    body = plain_gypsum(row["water"])
    for name in ("fresh_density", "dry_density", "dry_share"):
        assert getattr(body, name) == pytest.approx(row[name], rel=0.005)
    for name in ("porosity", "evaporated_share"):
        assert getattr(body, name) == pytest.approx(row[name], rel=0.005, abs=0.001)


@pytest.mark.parametrize("row", reference_rows("beta_gypsum_by_water_ratio.csv"))
def test_plain_beta_gypsum_own_arithmetic(row):
    body = plain_gypsum(row["water"], density=BETA)
    assert body.fresh_density == pytest.approx(row["fresh_density"], rel=0.005)
    assert body.dry_density == pytest.approx(row["dry_density"], rel=0.005)


def test_measured_porosity_of_a_light_gypsum_body():
    """998 kg/m3 and 57.5 % total porosity: Archit. Civ. Eng. Environ. 2019, doi 10.21307/acee-2019-037."""
    ratio = brentq(lambda water: plain_gypsum(water).dry_density - 0.998, 0.5, 1.2)
    assert 100.0 * plain_gypsum(ratio).porosity == pytest.approx(57.5, abs=1.0)


@pytest.mark.parametrize("density", [2.757, BETA])
def test_craft_casting_at_0_6_weighs_about_1200_lerncoach(density):
    assert plain_gypsum(0.60, density=density).dry_density == pytest.approx(1.200, rel=0.05)


@pytest.mark.parametrize("density", [2.757, BETA])
def test_porosity_at_0_8_meille_garboczi_2001_from_memory(density):
    assert plain_gypsum(0.80, density=density).porosity == pytest.approx(0.57, abs=0.02)


def test_worked_vessel_own_arithmetic():
    body = plain_gypsum(0.35)
    slurry = 250.0 * body.fresh_density
    assert slurry == pytest.approx(473.1, abs=0.5)
    assert slurry / 1.35 == pytest.approx(350.4, abs=0.5)
    assert slurry * body.dry_share == pytest.approx(415.7, abs=0.5)
    assert slurry * body.evaporated_share == pytest.approx(57.4, abs=0.5)
    assert slurry / 1.35 * heat_of_hydration("hemihydrate_alpha") == pytest.approx(41.4e3, rel=0.01)


def test_expansion_lightens_the_body_and_opens_pores():
    plain, swollen = plain_gypsum(0.35), plain_gypsum(0.35, expansion=0.002)
    assert swollen.dry_density / plain.dry_density == pytest.approx(0.994, abs=0.001)
    assert swollen.porosity - plain.porosity == pytest.approx(0.004, abs=0.001)


def test_more_water_lightens_and_opens_the_body():
    body = plain_gypsum(np.linspace(0.19, 1.0, 82))
    assert np.all(np.diff(body.fresh_density) < 0.0)
    assert np.all(np.diff(body.dry_density) < 0.0)
    assert np.all(np.diff(body.porosity) > 0.0)
    assert np.all(np.diff(body.evaporated_share) > 0.0)


@given(st.floats(0.0, 1.0), st.floats(0.0, 0.1))
def test_mass_of_slurry_is_body_and_water_that_leaves(water, air):
    body = plain_gypsum(water, air=air)
    assert body.dry_share + body.evaporated_share == pytest.approx(1.0)
    assert 0.0 <= body.porosity < 1.0


@given(st.floats(0.2, 1.0), st.floats(0.0, 0.05))
def test_the_general_forms_give_plain_gypsum(water, air):
    density = MOLAR_MASSES["hemihydrate"] / 52.65
    solid, body = 1.0 / density, hydrate(0.0, 1.0, 0.0, 0.0, 0.0, water)
    bulk = fresh_volume(solid, water, air)
    pores = pore_volume(bulk, solid, solid_growth(body))
    plain = plain_gypsum(water, density=density, air=air)
    assert fresh_density(1.0, solid, water, air) == pytest.approx(plain.fresh_density)
    assert dry_density(1.0, body.bound_water, bulk) == pytest.approx(plain.dry_density)
    assert porosity(pores, bulk) == pytest.approx(plain.porosity)
    assert evaporable_water(water, body.bound_water) == pytest.approx(plain.evaporated_share * (1.0 + water))


def test_paste_porosity_counts_no_grain():
    assert paste_porosity(0.2, 0.0) == 0.2
    assert paste_porosity(0.2, 0.5) == 0.4
    assert paste_porosity(0.4, 1.0, 2.0) == 0.4


@pytest.mark.parametrize(
    ("pores", "density", "percent"),
    [
        pytest.param(0.325, 1.555, 20.9, id="plaster-own-arithmetic"),
        pytest.param(0.1947, 1.725, 11.3, id="cement-own-arithmetic"),
        pytest.param(0.2612, 1.594, 16.4, id="half-and-half-own-arithmetic"),
    ],
)
def test_absorption_with_all_pores_full(pores, density, percent):
    assert 100.0 * absorption(pores, density, 1.0) == pytest.approx(percent, abs=0.06)


@pytest.mark.parametrize("row", reference_rows("gypsum_absorption.csv"))
def test_absorption_of_plain_gypsum_own_arithmetic(row):
    body = plain_gypsum(row["water"])
    full = absorption(body.porosity, body.dry_density, 1.0)
    assert 100.0 * full == pytest.approx(row["absorption"], abs=0.2)


@pytest.mark.parametrize(
    "row", reference_rows("gypsum_density_by_water_ratio.csv"), ids=lambda row: f"AMSE-2017-{row['water']}"
)
def test_measured_density_of_plain_gypsum(row):
    """Advances in Materials Science and Engineering 2017, 7092521, table 1 (opened)."""
    assert plain_gypsum(row["water"], density=BETA).dry_density == pytest.approx(row["density"], rel=0.06)


def test_absorption_closed_pores_take_nothing():
    assert absorption(0.3, 1.5, 0.5) == pytest.approx(0.5 * 0.3 * WATER_DENSITY / 1.5)


def test_sorbed_moisture_by_family():
    assert sorbed_moisture(hydrate(0.0, 1.0, 0.0, 0.0, 0.0, 1.0)) == pytest.approx(0.002 * GYPSUM_YIELD)
    cement = hydrate(1.0, 0.0, 0.0, 0.0, 0.0, 1.0)
    assert sorbed_moisture(cement) == pytest.approx(0.05 * (1.0 + cement.bound_water))


def test_no_water_evaporates_from_a_mix_that_binds_it_all():
    assert evaporable_water(0.2, 0.2, 0.01) == 0.0
