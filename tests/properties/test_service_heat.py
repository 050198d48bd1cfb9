"""The wall in use: both idealisations, and what a burn test says."""

import math
from dataclasses import replace

import ht
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from optimizer.job import Candle, Vessel
from optimizer.properties.heat_transfer import heat_flux
from optimizer.properties.service_heat import (
    INNER_FILM,
    Burn,
    flame_heat,
    flame_share_from_burn,
    flux_driven,
    heat_margin,
    pool_driven,
    wall_case,
    wall_temperatures,
)

FLAME_SHARE, POOL, POOL_SHARE = 0.20, 75.0, 0.35
BURN = Burn(FLAME_SHARE, POOL, POOL_SHARE)
QUICK = settings(max_examples=60, deadline=None)
VESSEL = Vessel(200.0, outer_diameter=90.0, height=90.0, wall=8.0, base=8.0)
vessels = st.builds(
    Vessel,
    cavity_volume=st.just(200.0),
    outer_diameter=st.floats(50.0, 150.0),
    height=st.floats(50.0, 160.0),
    wall=st.floats(4.0, 15.0),
)
candles = st.builds(
    Candle, burn_rate=st.floats(2.5, 7.0), wicks=st.integers(1, 3), room=st.floats(15.0, 30.0)
)
conductivities = st.floats(0.08, 2.0)


def case_of(wall_heat, vessel=VESSEL, room=20.0):
    """Return the case whose flux-driven wall takes `wall_heat` watts."""
    candle = Candle(burn_rate=3.6, heat_of_combustion=wall_heat / FLAME_SHARE, room=room)
    return wall_case(vessel, candle)


@pytest.mark.parametrize(
    ("rate", "combustion", "expected"),
    [
        pytest.param(0.105 * 60.0, 43.8, 76.65, id="NIST-2005-inputs-from-memory"),
        pytest.param(4.0, 43.0, 47.78, id="own-arithmetic-4"),
        pytest.param(6.0, 43.0, 71.67, id="own-arithmetic-6"),
        pytest.param(5.0, 38.0, 52.78, id="own-arithmetic-5"),
    ],
)
def test_flame(rate, combustion, expected):
    assert flame_heat(rate, combustion) == pytest.approx(expected, abs=0.01)
    assert flame_heat(rate, combustion, 3) == pytest.approx(3.0 * expected, abs=0.03)


def test_wall_resistance():
    """0.989007 K/W by `ht` 1.2.0 for 74/90 mm, 0.35 W/(m K), 90 mm."""
    resistance = case_of(10.0).wall_shape / 0.35
    assert resistance == pytest.approx(0.989007, abs=1e-6)
    assert resistance == pytest.approx(ht.conduction.R_cylinder(0.074, 0.090, 0.35, 0.09), rel=1e-12)


def test_heat_lost_by_a_vessel_at_60_degrees():
    """Own arithmetic: 12.75 W by the side of a 90 x 90 mm vessel, 0.266 of a 47.8 W flame."""
    case = wall_case(VESSEL, Candle(burn_rate=4.0, measured_outer=60.0, room=20.0))
    assert case.table.heat(60.0) == pytest.approx(12.75, rel=0.015)
    assert flame_share_from_burn(case, 60.0) == pytest.approx(0.266, rel=0.015)


@pytest.mark.parametrize(
    ("wall", "conductivity", "inner"),
    [
        pytest.param(8.0, 0.35, 72.6, id="own-arithmetic-8-0.35"),
        pytest.param(6.0, 0.25, 72.9, id="own-arithmetic-6-0.25"),
        pytest.param(12.0, 0.50, 74.0, id="own-arithmetic-12-0.50"),
        pytest.param(8.0, 1.20, 63.7, id="own-arithmetic-8-1.20"),
    ],
)
def test_inner_wall_behind_60_degrees(wall, conductivity, inner):
    case = wall_case(replace(VESSEL, wall=wall), Candle(measured_outer=60.0, room=20.0))
    assert wall_temperatures(case, conductivity, BURN)[1] == pytest.approx(inner, abs=0.3)


@pytest.mark.parametrize(
    ("heat", "outer", "inner"),
    [
        pytest.param(5.0, 38.14, 43.1, id="own-arithmetic-5W"),
        pytest.param(8.0, 47.10, 55.0, id="own-arithmetic-8W"),
        pytest.param(10.0, 52.69, 62.6, id="own-arithmetic-10W"),
        pytest.param(15.0, 65.71, 80.6, id="own-arithmetic-15W"),
        pytest.param(20.0, 77.67, 97.5, id="own-arithmetic-20W"),
    ],
)
def test_flux_driven_values(heat, outer, inner):
    assert flux_driven(case_of(heat), 0.35, FLAME_SHARE) == pytest.approx((outer, inner), abs=0.4)


@pytest.mark.parametrize(
    ("conductivity", "outer", "inner"),
    [
        pytest.param(0.20, 51.2, 67.5, id="own-arithmetic-0.20"),
        pytest.param(0.35, 55.4, 66.3, id="own-arithmetic-0.35"),
        pytest.param(0.80, 59.6, 65.0, id="own-arithmetic-0.80"),
        pytest.param(1.50, 61.4, 64.4, id="own-arithmetic-1.50"),
    ],
)
def test_pool_driven_values(conductivity, outer, inner):
    """A pool at 75 degC, held by a flame with heat to spare."""
    assert pool_driven(case_of(20.0), conductivity, BURN) == pytest.approx((outer, inner), abs=0.4)


@QUICK
@given(vessels, candles)
def test_table_agrees_with_a_root_finder(vessel, candle):
    case = wall_case(vessel, candle)

    def surplus(face):
        flux = heat_flux(face, candle.room, vessel.height, vessel.outer_diameter)
        return float(vessel.outer_area * flux - FLAME_SHARE * case.flame)

    outer, _ = flux_driven(case, 0.5, FLAME_SHARE)
    assert outer == pytest.approx(brentq(surplus, candle.room, 900.0), abs=0.01)


@QUICK
@given(vessels, candles, conductivities)
def test_pool_driven_heat_is_conserved(vessel, candle, conductivity):
    """What the outside loses is what the wall passes, and film and wall make up the rest to the pool."""
    case = wall_case(vessel, candle)
    outer, inner = pool_driven(case, conductivity, BURN)
    through = (inner - outer) / case.wall_shape * conductivity
    lost = vessel.outer_area * heat_flux(outer, candle.room, vessel.height, vessel.outer_diameter)
    assert through == pytest.approx(lost, rel=1e-3)
    pool = inner + through * case.film
    assert pool <= POOL + 1e-6
    assert through <= POOL_SHARE * case.flame * (1.0 + 1e-9)
    assert math.isclose(pool, POOL, abs_tol=1e-6) or math.isclose(
        through, POOL_SHARE * case.flame, rel_tol=1e-9
    )


@QUICK
@given(vessels, candles, conductivities)
def test_conductivity_acts_oppositely_in_the_two_walls(vessel, candle, conductivity):
    case = wall_case(vessel, candle)
    (outer, inner), (outer_more, inner_more) = (
        flux_driven(case, k, FLAME_SHARE) for k in (conductivity, 1.2 * conductivity)
    )
    assert outer_more == outer
    assert inner_more < inner
    (outer, inner), (outer_more, inner_more) = (
        pool_driven(case, k, BURN) for k in (conductivity, 1.2 * conductivity)
    )
    assert outer_more >= outer
    assert inner_more < inner


@QUICK
@given(vessels, candles, conductivities)
def test_order_of_temperatures_and_worse_of_both(vessel, candle, conductivity):
    case = wall_case(vessel, candle)
    outer, inner = wall_temperatures(case, conductivity, BURN)
    assert candle.room < outer < inner
    walls = [flux_driven(case, conductivity, FLAME_SHARE), pool_driven(case, conductivity, BURN)]
    assert (outer, inner) == tuple(max(faces) for faces in zip(*walls, strict=True))


@QUICK
@given(vessels, candles, conductivities)
def test_insulation_buys_no_margin(vessel, candle, conductivity):
    case = wall_case(vessel, candle)
    limit = 52.0
    better = heat_margin(limit, *wall_temperatures(case, 1.1 * conductivity, BURN))
    assert heat_margin(limit, *wall_temperatures(case, conductivity, BURN)) < better


@QUICK
@given(vessels, candles, st.floats(1.0, 30.0))
def test_wider_vessel_is_cooler_outside(vessel, candle, more):
    wider = replace(vessel, outer_diameter=vessel.outer_diameter + more)
    cooler, hotter = (flux_driven(wall_case(each, candle), 0.5, FLAME_SHARE)[0] for each in (wider, vessel))
    assert cooler < hotter


def test_insulation_is_cooler_outside_only_on_a_pool():
    """A sparing flame cannot hold the pool: then the outside no longer depends on the wall."""
    spare, scarce = case_of(20.0), case_of(3.0)
    assert pool_driven(spare, 0.2, BURN)[0] < pool_driven(spare, 0.8, BURN)[0] - 5.0
    assert pool_driven(scarce, 0.2, BURN)[0] == pool_driven(scarce, 0.8, BURN)[0]


def test_burn_test_replaces_the_estimate():
    case = wall_case(VESSEL, Candle(measured_outer=47.0))
    drawn = Burn(np.array([0.1, 0.35]), POOL, POOL_SHARE)
    outer, inner = wall_temperatures(case, np.array([0.3, 0.6]), drawn)
    assert outer.tolist() == [47.0, 47.0]
    assert inner[0] > inner[1] > 47.0


def test_a_reading_is_as_good_as_its_error():
    """A wall read 2 K too cool is 2 K hotter outside and passes more heat, so more than 2 K hotter inside."""
    case = wall_case(VESSEL, Candle(measured_outer=47.0, reading_error=4.0))
    (outer, inner), (hotter, inside) = (
        wall_temperatures(case, 0.4, replace(BURN, reading=error)) for error in (0.0, 0.5)
    )
    assert hotter == outer + 2.0
    assert inside > inner + 2.0


@QUICK
@given(st.floats(0.05, 0.5))
def test_burn_test_gives_back_the_flame_share(share):
    case = wall_case(VESSEL, Candle())
    assert flame_share_from_burn(case, flux_driven(case, 0.5, share)[0]) == pytest.approx(share, rel=1e-6)


@QUICK
@given(vessels, candles, conductivities, st.floats(50.0, 90.0), st.floats(0.5, 2.0))
def test_drawn_pool_and_film_against_a_root_finder(vessel, candle, conductivity, pool, film):
    case = wall_case(vessel, candle)
    outer, inner = pool_driven(case, conductivity, Burn(FLAME_SHARE, pool, 1.0, film))
    resistance = case.film / film + case.wall_shape / conductivity

    def surplus(face):
        lost = vessel.outer_area * heat_flux(face, candle.room, vessel.height, vessel.outer_diameter)
        return float(face + resistance * lost - pool)

    assert outer == pytest.approx(brentq(surplus, candle.room, pool), abs=0.02)
    assert outer < inner < pool


@QUICK
@given(vessels, candles, conductivities)
def test_a_hotter_pool_and_a_better_film_never_make_a_cooler_wall(vessel, candle, conductivity):
    case = wall_case(vessel, candle)
    plain = wall_temperatures(case, conductivity, BURN)
    for warmer in (replace(BURN, pool=80.0), replace(BURN, film_factor=1.5), replace(BURN, pool_share=0.5)):
        there = wall_temperatures(case, conductivity, warmer)
        assert all(new >= old - 1e-9 for new, old in zip(there, plain, strict=True))


def test_inner_film_of_one_is_the_stated_transfer():
    """1 / (h A): own arithmetic."""
    case = wall_case(VESSEL, Candle())
    assert case.film == pytest.approx(1.0 / (INNER_FILM * math.pi * 0.074 * 0.090), rel=1e-12)


def test_arrays_broadcast_with_draws():
    case = wall_case(VESSEL, Candle())
    drawn = Burn(np.linspace(0.1, 0.35, 3)[:, None], np.array([[60.0], [68.0], [76.0]]), POOL_SHARE)
    outer, inner = wall_temperatures(case, np.full((3, 5), 0.4), drawn)
    assert outer.shape == inner.shape == (3, 5)


def test_wax_is_never_cooler_than_the_room_it_burns_in():
    """A pool below the room counts as the room and a degree: no heat flows in from outside."""
    case = wall_case(Vessel(214.0), Candle(room=75.0))
    cold, warm = (
        wall_temperatures(case, np.array([0.3, 1.0]), replace(BURN, pool=pool)) for pool in (68.0, 76.0)
    )
    assert np.array_equal(cold, warm)
    assert np.all(cold[0] >= 75.0)
    assert np.all(cold[1] >= cold[0])
