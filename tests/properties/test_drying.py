"""Drying of a wall, and the air it dries in."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.errors import QuantityError
from optimizer.properties.drying import (
    FRONT_SHARE,
    drying_room,
    drying_time,
    saturation_pressure,
    vapor_density,
    wet_bulb,
)

FREE_WATER = 229.6
WALL = 10.0


@pytest.mark.parametrize(
    ("temperature", "pressure", "tolerance"),
    [
        pytest.param(0.01, 611.657, 0.01, id="IAPWS-SR1-86-1992-triple-point-from-memory"),
        pytest.param(99.9743, 101325.0, 1.0, id="IAPWS-SR1-86-1992-boiling-point-from-memory"),
        pytest.param(20.0, 2339.0, 1.5, id="steam-table-20-from-memory"),
        pytest.param(50.0, 12352.0, 10.0, id="steam-table-50-from-memory"),
    ],
)
def test_saturation_pressure(temperature, pressure, tolerance):
    assert saturation_pressure(temperature) == pytest.approx(pressure, abs=tolerance)


def test_vapor_density_at_saturation_steam_table_from_memory():
    assert 1000.0 * vapor_density(20.0) == pytest.approx(17.3, abs=0.05)
    assert 1000.0 * vapor_density(40.0) == pytest.approx(51.1, abs=0.2)


@pytest.mark.parametrize(
    ("temperature", "humidity", "expected"),
    [
        pytest.param(20.0, 0.50, 13.8, id="psychrometric-chart-from-memory"),
        pytest.param(40.0, 0.25, 23.7, id="psychrometric-table-own-arithmetic"),
        pytest.param(25.0, 0.50, 17.9, id="psychrometric-chart-25-from-memory"),
    ],
)
def test_wet_bulb(temperature, humidity, expected):
    assert wet_bulb(temperature, humidity) == pytest.approx(expected, abs=0.15)


@pytest.mark.parametrize(
    ("temperature", "humidity", "film", "rate", "constant", "front"),
    [
        pytest.param(20.0, 0.50, 4.0, 44.0, 26.0, 37.0, id="still-air-own-arithmetic"),
        pytest.param(20.0, 0.50, 12.0, 132.0, 8.7, 37.0, id="fan-own-arithmetic"),
        pytest.param(40.0, 0.25, 12.0, 345.0, 3.3, 7.4, id="warm-cabinet-own-arithmetic"),
    ],
)
def test_drying_of_a_plaster_wall(temperature, humidity, film, rate, constant, front):
    room = drying_room(temperature, humidity, film)
    assert room.wet_bulb == wet_bulb(temperature, humidity)
    assert 1000.0 / 24.0 * room.constant_rate == pytest.approx(rate, rel=0.03)
    first = 24.0 * drying_time(room, FREE_WATER, WALL, 0.0)
    both = 24.0 * drying_time(room, FREE_WATER, WALL, 10.0)
    assert first == pytest.approx(constant, rel=0.03)
    assert (both - first) / FRONT_SHARE == pytest.approx(front, rel=0.03)


def test_two_or_three_days_in_still_air_and_half_a_day_warm_common_practice_no_source():
    assert 2.0 <= drying_time(drying_room(20.0, 0.50), FREE_WATER, WALL, 10.0) <= 3.0
    assert drying_time(drying_room(40.0, 0.25, 12.0), FREE_WATER, WALL, 10.0) < 0.5


def test_mass_per_face_of_the_worked_wall_own_arithmetic():
    assert pytest.approx(1.148, abs=0.001) == FREE_WATER * 0.5e-3 * WALL


def test_what_slows_drying_slows_it():
    room = drying_room(21.0, 0.5)
    base = drying_time(room, 200.0, 8.0, 10.0)
    assert drying_time(room, 250.0, 8.0, 10.0) > base
    assert drying_time(room, 200.0, 10.0, 10.0) > base
    assert drying_time(room, 200.0, 8.0, 20.0) > base
    assert drying_time(room, 200.0, 8.0, 10.0, 0.5) == pytest.approx(base + 0.5)
    assert drying_time(drying_room(21.0, 0.7), 200.0, 8.0, 10.0) > base
    assert drying_time(drying_room(15.0, 0.5), 200.0, 8.0, 10.0) > base
    assert drying_time(drying_room(21.0, 0.5, 12.0), 200.0, 8.0, 10.0) < base


def test_a_body_without_free_water_is_dry():
    assert drying_time(drying_room(21.0, 0.5), -5.0, 8.0, 10.0) == 0.0


def test_mixes_are_judged_together():
    water, resistance = np.array([100.0, 200.0]), np.array([[10.0], [20.0]])
    times = drying_time(drying_room(21.0, 0.5), water, 8.0, resistance)
    assert times.shape == (2, 2)
    assert times[1, 0] == pytest.approx(drying_time(drying_room(21.0, 0.5), 100.0, 8.0, 20.0))


@pytest.mark.parametrize(("temperature", "humidity"), [(20.0, 0.99), (20.0, -0.1), (90.0, 0.5), (-5.0, 0.5)])
def test_a_room_that_dries_nothing_is_refused(temperature, humidity):
    with pytest.raises(QuantityError):
        drying_room(temperature, humidity)
