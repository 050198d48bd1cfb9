"""The setting peak against a stiff integrator, closed forms, bounds and measured heat capacities."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from optimizer.job import Shop, Vessel
from optimizer.properties.casting_heat import (
    MoldCase,
    adiabatic_temperature,
    casting_peak,
    mold_case,
)
from optimizer.properties.maturity import avrami_degree, avrami_parameters

GRID_ERROR = 0.1  # kelvin: what the coarse time grid may be off by
QUICK = settings(max_examples=60, deadline=None)
MOLD = MoldCase(214.0, 0.0536)
WORKED = MoldCase(volume=330.0, area=0.040, mass=900.0, thickness=10.0, room=20.0)
heats = st.floats(0.0, 250.0)
capacities = st.floats(1.0, 3.5)
first_sets = st.floats(4.0, 60.0)
set_spans = st.floats(1.15, 2.5)
molds = st.builds(
    MoldCase,
    volume=st.floats(50.0, 800.0),
    area=st.floats(0.02, 0.12),
    mass=st.floats(100.0, 2000.0),
    thickness=st.floats(2.0, 25.0),
    room=st.floats(10.0, 30.0),
)


def integrated_peak(mold, heat_gypsum, heat_csa, initial, final, capacity, half_time=45.0):
    """Return peak [degC] and its time [min] by an adaptive integrator."""

    def released(minutes):
        csa = 1.0 - math.exp(-math.log(2.0) * (minutes / half_time) ** 2.5)
        gypsum = float(avrami_degree(minutes, *avrami_parameters(initial, final)))
        return heat_gypsum * gypsum + heat_csa * csa

    def change(minutes, rise):
        heat = mold.volume * (released(minutes + 1e-3) - released(minutes)) / 1e-3
        into_mold = 60.0 * mold.inner * (rise[0] - rise[1])
        cast = (heat - into_mold) / (capacity * mold.volume)
        return [cast, (into_mold - 60.0 * mold.outer * rise[1]) / mold.capacity]

    end = 2.5 * max(final, half_time)
    path = solve_ivp(change, (0.0, end), [0.0, 0.0], max_step=final / 25.0, rtol=1e-6, atol=1e-6)
    top = path.y[0].argmax()
    return mold.room + path.y[0][top], path.t[top]


@pytest.mark.parametrize(
    ("half_time", "expected", "minutes"),
    [
        pytest.param(10.0, 53.3, 16.0, id="own-arithmetic-10"),
        pytest.param(20.0, 47.0, 32.0, id="own-arithmetic-20"),
        pytest.param(40.0, 42.0, 63.0, id="own-arithmetic-40"),
    ],
)
def test_two_bodies(half_time, expected, minutes):
    """600 g of plaster, 52.5 kJ, 874 J/K, in 900 g of silicone; release of exponent 2.5."""
    heat, capacity = 52.5e3 / WORKED.volume, 874.0 / WORKED.volume
    peak, when = casting_peak(WORKED, 0.0, heat, 18.0, 30.0, capacity, half_time)
    assert peak == pytest.approx(expected, abs=0.5)
    assert when == pytest.approx(minutes, abs=1.5)


@pytest.mark.parametrize(
    ("heat_gypsum", "heat_csa", "initial", "final"),
    [
        pytest.param(140.0, 0.0, 18.0, 30.0, id="scipy-integrator-gypsum"),
        pytest.param(0.0, 150.0, 18.0, 30.0, id="scipy-integrator-csa"),
        pytest.param(70.0, 80.0, 18.0, 30.0, id="scipy-integrator-half"),
        pytest.param(140.0, 5.0, 5.0, 8.0, id="scipy-integrator-fast-with-a-little-csa"),
        pytest.param(140.0, 50.0, 60.0, 100.0, id="scipy-integrator-retarded"),
    ],
)
@pytest.mark.parametrize("mold", [MOLD, replace(MOLD, mass=120.0, thickness=2.0)], ids=["thick", "thin"])
def test_agrees_with_an_integrator(mold, heat_gypsum, heat_csa, initial, final):
    peak, when = casting_peak(mold, heat_gypsum, heat_csa, initial, final, 2.3)
    expected, minutes = integrated_peak(mold, heat_gypsum, heat_csa, initial, final, 2.3)
    assert peak == pytest.approx(expected, abs=0.2)
    assert when == pytest.approx(minutes, rel=0.05, abs=0.7)


@QUICK
@given(molds, heats, heats, first_sets, set_spans, capacities)
def test_never_above_adiabatic_nor_below_room(mold, gypsum, csa, initial, span, capacity):
    peak, _ = casting_peak(mold, gypsum, csa, initial, span * initial, capacity)
    assert mold.room <= peak <= adiabatic_temperature(gypsum + csa, capacity, mold.room) + 1e-9


@QUICK
@given(heats, heats, first_sets, set_spans, capacities)
def test_without_a_face_to_lose_by_it_is_adiabatic(gypsum, csa, initial, span, capacity):
    sealed_off = replace(MOLD, area=1e-9)
    peak, _ = casting_peak(sealed_off, gypsum, csa, initial, span * initial, capacity)
    bound = adiabatic_temperature(gypsum + csa, capacity, MOLD.room)
    assert peak - MOLD.room == pytest.approx(bound - MOLD.room, rel=0.0015, abs=1e-9)


@QUICK
@given(molds, st.floats(5.0, 200.0), heats, first_sets, set_spans, capacities)
def test_direction(mold, gypsum, csa, initial, span, capacity):
    """Filler and water dilute the heat and add capacity."""

    def peak(where, heat_scale, heat_per_kelvin):
        found, _ = casting_peak(
            where, heat_scale * gypsum, heat_scale * csa, initial, span * initial, heat_per_kelvin
        )
        return found

    base = peak(mold, 1.0, capacity)
    assert peak(mold, 0.8, capacity) < base
    assert peak(mold, 1.0, 1.2 * capacity) < base


@QUICK
@given(molds, st.floats(5.0, 200.0), first_sets, set_spans, capacities)
def test_heavier_mold_takes_up_more(mold, gypsum, initial, span, capacity):
    """For one release; between two it keeps the cast warm and may raise the second peak."""

    def peak(where):
        return casting_peak(where, gypsum, 0.0, initial, span * initial, capacity)[0]

    assert peak(replace(mold, mass=1.5 * mold.mass)) <= peak(mold) + GRID_ERROR


@pytest.mark.parametrize(
    ("half_time", "one_body"),
    [
        pytest.param(10.0, 69.4, id="own-arithmetic-10"),
        pytest.param(20.0, 62.8, id="own-arithmetic-20"),
        pytest.param(40.0, 54.1, id="own-arithmetic-40"),
    ],
)
def test_weightless_mold_is_one_body(half_time, one_body):
    """Without the mold's own heat capacity the worked case reads 12 to 16 K hotter."""
    heat, capacity = 52.5e3 / WORKED.volume, 874.0 / WORKED.volume
    weightless = replace(WORKED, mass=0.1)
    peak, _ = casting_peak(weightless, 0.0, heat, 18.0, 30.0, capacity, half_time)
    assert peak == pytest.approx(one_body, abs=0.5)


def test_sets_at_once_and_thin_hot_molds_stay_finite():
    tiny = MoldCase(20.0, 0.2, mass=5.0, thickness=0.5)
    peak, _ = casting_peak(tiny, np.array([150.0, 150.0]), 50.0, np.array([5.0, 5.0]), 5.0, 2.3, 600.0)
    assert np.isfinite(peak).all()


def test_arrays_broadcast():
    gypsum = np.linspace(50.0, 150.0, 4)
    peak, when = casting_peak(MOLD, gypsum, np.array([[0.0], [40.0]]), 18.0, 30.0, 2.3)
    assert peak.shape == when.shape == (2, 4)
    assert peak[1, 2] == pytest.approx(casting_peak(MOLD, gypsum[2], 40.0, 18.0, 30.0, 2.3)[0])


def test_mold_of_a_vessel():
    """Geometry: outside, inside, floor and base of an 85 x 95 mm cylinder with 8 mm walls."""
    mold = mold_case(Vessel(214.0), Shop(mold_mass=700.0, mold_thickness=12.0, temperature=19.0))
    outside = math.pi * 85.0 * 95.0 + math.pi * 85.0**2 / 4.0
    inside = math.pi * 69.0 * 87.0 + math.pi * 69.0**2 / 4.0
    assert mold.area == pytest.approx((outside + inside) * 1e-6)
    assert (mold.volume, mold.mass, mold.thickness, mold.room) == (214.0, 700.0, 12.0, 19.0)
