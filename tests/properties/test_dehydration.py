"""Equilibrium of gypsum and ettringite with the air, and what calcining takes."""

from __future__ import annotations

import pytest
from reference_rows import reference_rows

from optimizer.constants import ENTHALPIES
from optimizer.properties.dehydration import (
    DEHYDRATION,
    dehydration_heat,
    dehydration_humidity,
    dehydration_temperature,
    gypsum_conversion,
    gypsum_crossing,
    gypsum_equilibrium_humidity,
)
from optimizer.properties.drying import saturation_pressure

MM_HG = 133.322


@pytest.mark.parametrize("row", reference_rows("dehydration_equilibrium.csv"))
@pytest.mark.parametrize("phase", DEHYDRATION)
def test_dehydration_temperature_cemdata18_own_arithmetic(row, phase):
    found = dehydration_temperature(phase, row["pressure"] * MM_HG)
    assert found == pytest.approx(row[phase], abs=0.5)


def test_ettringite_decomposes_in_steam_where_it_was_measured_hall_1996():
    assert dehydration_temperature("ettringite", 101325.0) == pytest.approx(114.0, abs=10.0)


@pytest.mark.parametrize("row", reference_rows("dehydration_humidity.csv"))
@pytest.mark.parametrize("phase", DEHYDRATION)
def test_dehydration_humidity_cemdata18_own_arithmetic(row, phase):
    found = 100.0 * dehydration_humidity(phase, row["temperature"])
    assert found == pytest.approx(row[phase], rel=0.01, abs=0.06)


@pytest.mark.parametrize("row", reference_rows("dehydration_in_room_air.csv"))
@pytest.mark.parametrize("phase", DEHYDRATION)
def test_wall_in_equilibrium_with_room_air_own_arithmetic(row, phase):
    vapor = row["humidity"] / 100.0 * saturation_pressure(22.0)
    assert dehydration_temperature(phase, vapor) == pytest.approx(row[phase], abs=0.5)


def test_enthalpy_of_ettringite_dehydration_is_that_of_its_table():
    """Ettringite to 13 waters, -11530.290 kJ/mol, and 19 of steam, -241.826 (Cemdata18)."""
    heat = -11530.290 - 19.0 * 241.826 - ENTHALPIES["ettringite"]
    assert DEHYDRATION["ettringite"][0] == pytest.approx(1000.0 * heat / 19.0, rel=1e-3)


def test_enthalpy_of_gypsum_dehydration_is_that_of_its_table():
    heat = ENTHALPIES["hemihydrate_beta"] - 1.5 * 241.826 - ENTHALPIES["gypsum"]
    assert DEHYDRATION["gypsum"][0] == pytest.approx(1000.0 * heat / 1.5, rel=1e-3)


@pytest.mark.parametrize("row", reference_rows("gypsum_equilibrium.csv"))
def test_gypsum_equilibrium_humidity_own_arithmetic(row):
    room = 0.5 * saturation_pressure(25.0) / saturation_pressure(row["temperature"])
    assert gypsum_equilibrium_humidity(row["temperature"]) == pytest.approx(row["equilibrium"], abs=0.006)
    assert room == pytest.approx(row["room"], abs=0.001)


@pytest.mark.parametrize(
    ("humidity", "expected"), [(0.3, 21.0), (0.5, 27.7), (0.7, 32.0)], ids=lambda v: f"own-arithmetic-{v}"
)
def test_gypsum_crossing_anchored_at_97_degrees(humidity, expected):
    assert gypsum_crossing(25.0, humidity) == pytest.approx(expected, abs=0.7)


def test_gypsum_crossing_by_the_nbs_tables_own_arithmetic():
    assert gypsum_crossing(25.0, 0.5, crossing=124.5, heat_capacity_change=46.4) == pytest.approx(
        33.4, abs=0.7
    )


def test_gypsum_crossing_lies_between_28_and_34_degrees_by_all_anchors():
    for crossing, change in ((97.0, 0.0), (107.0, 0.0), (124.5, 46.4)):
        assert 27.0 <= gypsum_crossing(25.0, 0.5, crossing, change) <= 34.5


def test_dry_warm_air_is_past_the_line_wilkes_2004():
    """40 degC and 0.2 % humidity took bound water off gypsum."""
    assert gypsum_equilibrium_humidity(40.0) > 0.002


@pytest.mark.parametrize(
    ("product", "heat"),
    [
        pytest.param("hemihydrate_alpha", 483.0, id="hemihydrate-NBS-1982-from-memory"),
        pytest.param("anhydrite", 609.0, id="anhydrite-NBS-1982-from-memory"),
    ],
)
def test_heat_of_calcining(product, heat):
    assert dehydration_heat(product) == pytest.approx(heat, abs=5.0)


def test_conversion_by_loss_of_mass_own_arithmetic():
    assert gypsum_conversion(0.01) == pytest.approx(0.0637, abs=1e-4)
    assert gypsum_conversion(0.003) == pytest.approx(0.019, abs=5e-4)
    assert gypsum_conversion(0.1570) == pytest.approx(1.0, abs=1e-3)
