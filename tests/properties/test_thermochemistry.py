"""Heat of the reactions, of a mix, and the temperature rise it gives; carbon dioxide of clinker."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference_rows import reference_rows

from optimizer.constants import ENTHALPIES, MOLAR_MASSES, NBS_ENTHALPIES
from optimizer.properties.casting_heat import heat_capacity
from optimizer.properties.hydration import hydrate
from optimizer.properties.thermochemistry import (
    calcination_co2,
    heat_of_hydration,
    heat_released,
    reaction_enthalpy,
)
from optimizer.properties.volumes import GYPSUM_YIELD, WATER_OF_HYDRATION


@pytest.mark.parametrize(
    ("hemihydrate", "heat"),
    [
        pytest.param("hemihydrate_alpha", 117.7, id="alpha-NBS-1982-from-memory-llnl-dat-117.5"),
        pytest.param("hemihydrate_beta", 132.5, id="beta-NBS-1982-from-memory"),
    ],
)
def test_heat_of_hydration(hemihydrate, heat):
    assert heat_of_hydration(hemihydrate) == pytest.approx(heat, abs=2.0)


@pytest.mark.parametrize(
    ("name", "newer", "older"),
    [
        ("R1h", -528.4, -387.9),
        ("R1g", -489.8, -349.3),
        ("R1a", -523.8, -383.3),
        ("R2", -334.3, -193.8),
        ("R3", -19.26, -19.26),
        ("R4", -155.6, -155.6),
    ],
    ids=lambda value: f"Cemdata18-own-arithmetic-{value}",
)
def test_reaction_enthalpy(name, newer, older):
    assert reaction_enthalpy(name) == pytest.approx(newer, rel=0.005)
    assert reaction_enthalpy(name, "2018") == pytest.approx(older, rel=0.005)


@pytest.mark.parametrize(
    ("name", "newer", "older"),
    [("R1h", 866, 636), ("R1g", 803, 572), ("R1a", 858, 628), ("R2", 548, 318)],
    ids=lambda value: f"Lothenbach-2022-Skalamprinos-2018-own-arithmetic-{value}",
)
def test_heat_per_gram_of_yeelimite(name, newer, older):
    per_gram = -1000.0 / MOLAR_MASSES["yeelimite"]
    assert per_gram * reaction_enthalpy(name) == pytest.approx(newer, rel=0.01)
    assert per_gram * reaction_enthalpy(name, "2018") == pytest.approx(older, rel=0.01)


def test_beta_hemihydrate_of_both_tables_agrees():
    per_gram = -1000.0 * reaction_enthalpy("R3") / MOLAR_MASSES["hemihydrate"]
    assert per_gram == pytest.approx(132.7, abs=0.5)
    assert heat_of_hydration("hemihydrate_beta") == pytest.approx(per_gram, abs=0.5)


@pytest.mark.parametrize("row", reference_rows("hydration_yeelimite_hemihydrate.csv"))
def test_heat_of_yeelimite_with_hemihydrate_own_arithmetic(row):
    share = row["hemihydrate"]
    body = hydrate(100.0 - share, share, 0.0, 0.0, 0.0, 200.0)
    assert heat_released(body, 1.0) / 100.0 == pytest.approx(row["heat_2022"], rel=0.005)
    assert heat_released(body, 1.0, "2018") / 100.0 == pytest.approx(row["heat_2018"], rel=0.005)


@pytest.mark.parametrize(
    "row", [row for row in reference_rows("hydration_model_cement.csv") if row["heat_2022"] is not None]
)
def test_heat_of_the_model_cement_own_arithmetic(row):
    share = row["hemihydrate"]
    cement = 100.0 - share
    body = hydrate(0.50 * cement, share, 0.15 * cement, 0.0, 0.0, 200.0)
    assert heat_released(body, 1.0) / 100.0 == pytest.approx(row["heat_2022"], rel=0.005)
    assert heat_released(body, 1.0, "2018") / 100.0 == pytest.approx(row["heat_2018"], rel=0.005)


def test_whole_cement_heat_lies_in_the_measured_band():
    """300 to 450 J/g of CSA cement in 72 h (from memory); Golaszewska 2021: 200 to 400 J/g."""
    body = hydrate(50.0, 0.0, 15.0, 0.0, 0.0, 60.0)
    low, high = heat_released(body, 0.0, "2018") / 100.0, heat_released(body) / 100.0
    assert 200.0 < low < 450.0
    assert low < high < 450.0


@given(*[st.floats(0.0, 100.0)] * 6)
def test_heat_is_products_less_reactants(yeelimite, hemihydrate, anhydrite, gypsum, lime, water):
    """Hess: one table of enthalpies, any path."""
    body = hydrate(yeelimite, hemihydrate, anhydrite, gypsum, lime, water)
    products = ("ettringite", "monosulfate", "gypsum", "aluminum_hydroxide")
    after = sum(getattr(body, name) * ENTHALPIES[name] / MOLAR_MASSES[name] for name in products)
    before = (
        body.reacted_yeelimite * -8382.5 / MOLAR_MASSES["yeelimite"]
        + body.reacted_hemihydrate * ENTHALPIES["hemihydrate_beta"] / MOLAR_MASSES["hemihydrate"]
        + body.reacted_anhydrite * ENTHALPIES["anhydrite"] / MOLAR_MASSES["anhydrite"]
        + body.reacted_lime * ENTHALPIES["lime"] / MOLAR_MASSES["lime"]
        + gypsum * ENTHALPIES["gypsum"] / MOLAR_MASSES["gypsum"]
        + body.bound_water * ENTHALPIES["water"] / MOLAR_MASSES["water"]
    )
    offset = (
        heat_of_hydration("hemihydrate_beta") + 1000.0 * reaction_enthalpy("R3") / MOLAR_MASSES["hemihydrate"]
    )
    heat = 1000.0 * (before - after) + offset * body.reacted_hemihydrate
    assert heat_released(body, 1.0) == pytest.approx(heat, rel=1e-6, abs=1e-5 * (1.0 + abs(before)))


@pytest.mark.parametrize(
    ("water", "rise"),
    [(0.30, 67.0), (0.35, 60.0), (0.40, 54.0), (0.50, 45.0), (0.60, 39.0), (0.70, 34.0)],
    ids=lambda value: f"own-arithmetic-{value}",
)
def test_adiabatic_rise_of_plaster(water, rise):
    body = hydrate(0.0, 1.0, 0.0, 0.0, 0.0, water)
    capacity = heat_capacity({"gypsum": GYPSUM_YIELD, "water": water - WATER_OF_HYDRATION})
    assert heat_released(body) / capacity == pytest.approx(rise, abs=2.0)


@pytest.mark.parametrize("water", [0.6, 0.7])
def test_no_bucket_is_hotter_than_the_adiabatic_one_dguv_ifa_3148_2018(water):
    """Five liters of modeling plaster peaked at 46.9 to 50.8 degC, from about 20 degC."""
    body = hydrate(0.0, 1.0, 0.0, 0.0, 0.0, water)
    capacity = heat_capacity({"gypsum": GYPSUM_YIELD, "water": water - WATER_OF_HYDRATION})
    assert 20.0 + heat_released(body) / capacity >= 50.8


@pytest.mark.parametrize(
    ("phase", "dioxide"),
    [
        ("yeelimite", 0.2163),
        ("belite", 0.5110),
        ("alite", 0.5783),
        ("ferrite", 0.3622),
        ("aluminate", 0.4887),
    ],
    ids=lambda value: f"own-arithmetic-{value}",
)
def test_calcination_co2(phase, dioxide):
    assert calcination_co2(phase) == pytest.approx(dioxide, abs=1e-4)


def test_steam_and_water_of_the_nbs_table_differ_by_the_heat_of_evaporation():
    """44.0 kJ/mol at 25 degC (steam tables, from memory)."""
    assert NBS_ENTHALPIES["steam"] - NBS_ENTHALPIES["water"] == pytest.approx(44.0, abs=0.05)
