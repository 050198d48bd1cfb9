"""Gain curves and the set curve."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from reference_rows import reference_rows

from optimizer.properties.maturity import (
    FINAL_SET_DEGREE,
    INITIAL_SET_DEGREE,
    arrhenius_rate,
    avrami_degree,
    avrami_parameters,
    avrami_time,
    gain_rate_from_two,
    gypsum_gain,
    hemihydrate_degree,
    hyperbolic_gain,
)


@pytest.mark.parametrize("row", reference_rows("arrhenius_rates.csv"))
def test_arrhenius_rate_astm_c1074_from_memory(row):
    rate = arrhenius_rate(row["temperature"], row["activation_energy"], 23.0)
    assert rate == pytest.approx(row["rate"], abs=5e-4)


@pytest.mark.parametrize(
    ("temperature", "rate"),
    [(40, 0.24), (45, 0.44), (48, 0.63), (55, 1.4), (60, 2.43), (65, 4.2), (70, 7.0), (80, 19), (90, 48)],
    ids=lambda value: f"own-arithmetic-{value}",
)
def test_rate_of_dehydration_against_52_degrees(temperature, rate):
    assert arrhenius_rate(temperature, 100.0, 52.0) == pytest.approx(rate, rel=0.025)


@pytest.mark.parametrize(
    ("age", "strength"),
    [(0.5, 0.0), (1.5, 22.222), (3.0, 33.333), (6.0, 40.741), (24.0, 47.475), (168.0, 49.630)],
    ids=lambda value: f"own-arithmetic-{value}",
)
def test_hyperbolic_gain(age, strength):
    assert 50.0 * hyperbolic_gain(age, 0.8, 0.5) == pytest.approx(strength, abs=1e-3)


@pytest.mark.parametrize(
    ("temperature", "strength"), [(35.0, 40.23), (15.0, 26.51)], ids=lambda value: f"own-arithmetic-{value}"
)
def test_three_hours_warm_and_cool(temperature, strength):
    age = 3.0 * arrhenius_rate(temperature, 40.0, 23.0)
    assert 50.0 * hyperbolic_gain(age, 0.8, 0.5) == pytest.approx(strength, abs=0.01)


def test_no_strength_before_the_start():
    assert np.array_equal(hyperbolic_gain(np.array([0.0, 1.0, 2.0]), 5.0, 2.0), np.zeros(3))


@given(st.floats(1e-3, 50.0), st.floats(0.0, 2.0), st.floats(0.2, 5.0), st.floats(1.5, 50.0))
def test_the_rate_is_recovered_from_two_strengths(rate, start, step, span):
    early, late = start + step, start + step * span
    ratio = hyperbolic_gain(early, rate, start) / hyperbolic_gain(late, rate, start)
    straight = (early - start) / (late - start)
    assume(straight + 2e-3 * (1.0 - straight) < ratio < 1.0 - 2e-3 * (1.0 - straight))
    assert gain_rate_from_two(ratio, early, late, start) == pytest.approx(rate, rel=1e-6)


@pytest.mark.parametrize("ratio", [0.0, 0.04, 1.0, 1.3])
def test_a_ratio_without_a_hyperbola_still_gives_a_rate(ratio):
    rate = gain_rate_from_two(ratio, 2.0, 24.0, 1.0)
    assert np.isfinite(rate)
    assert rate > 0.0


@pytest.mark.parametrize(
    ("initial", "final", "exponent", "rate", "most", "nearly_all"),
    [
        pytest.param(10.0, 18.0, 3.91, 0.0563, 22.0, 26.3, id="own-arithmetic-10-18"),
        pytest.param(20.0, 35.0, 4.11, 0.0289, 42.4, 50.2, id="own-arithmetic-20-35"),
        pytest.param(7.0, 13.0, 3.71, None, 16.1, None, id="own-arithmetic-7-13"),
    ],
)
def test_avrami_curve(initial, final, exponent, rate, most, nearly_all):
    found = avrami_parameters(initial, final)
    assert found[0] == pytest.approx(exponent, rel=0.01)
    assert avrami_time(0.90, *found) == pytest.approx(most, rel=0.01)
    if rate is not None:
        assert found[1] == pytest.approx(rate, rel=0.01)
        assert avrami_time(0.99, *found) == pytest.approx(nearly_all, rel=0.01)


def test_avrami_exponent_lies_where_nucleation_and_growth_put_it():
    """Singh and Middendorf 2007 review: 3 to 4 for hemihydrate (from memory)."""
    for initial, final in ((8.0, 15.0), (11.0, 21.0), (18.0, 30.0)):
        assert 3.0 < avrami_parameters(initial, final)[0] < 4.6


@given(st.floats(2.0, 60.0), st.floats(1.05, 4.0))
def test_degree_at_both_set_times(initial, factor):
    final = initial * factor
    assert hemihydrate_degree(initial, initial, final, 6.0) == pytest.approx(INITIAL_SET_DEGREE, rel=1e-6)
    assert hemihydrate_degree(final, initial, final, 6.0) == pytest.approx(FINAL_SET_DEGREE, rel=1e-6)
    assert hemihydrate_degree(6.0 * final, initial, final, 6.0) == pytest.approx(0.98, rel=1e-6)


@pytest.mark.parametrize("law", [hemihydrate_degree, gypsum_gain], ids=lambda law: law.__name__)
def test_degree_and_strength_rise_from_nothing_to_all_without_a_step(law):
    gained = law(np.linspace(0.0, 4000.0, 40_001), 10.0, 16.0, 6.0)
    assert gained[0] == 0.0
    assert np.all(np.diff(gained) >= 0.0)
    assert np.diff(gained).max() < 0.02
    assert gained[-1] == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize(
    ("needle", "ended"),
    [
        pytest.param(3.0, 20.0, id="Winkler-1998-abstract-fast-type-III"),
        pytest.param(10.0, 60.0, id="Winkler-1998-abstract-type-IV"),
    ],
)
def test_hydration_ends_where_x_rays_see_it_end(catalogue, needle, ended):
    """The needle read as the final one, or as the initial one with a final set 1.6 times later."""
    end = catalogue.model["gypsum_end"]
    degrees = [hemihydrate_degree(ended, final / 1.6, final, end.value) for final in (needle, 1.6 * needle)]
    assert degrees[0] == pytest.approx(0.98, abs=0.003)
    assert degrees[1] == pytest.approx(0.98, abs=0.02)
    assert end.low <= ended / (1.6 * needle) <= ended / needle <= end.high


def test_weak_bodies_wait_for_the_last_of_the_strength():
    """With what is gained by final set a body leaves at once; with nearly all of it, much later."""
    ages = np.linspace(16.0, 400.0, 4000)
    gained = gypsum_gain(ages, 10.0, 16.0, 6.0)
    early, late = (float(np.interp(x, gained, ages)) for x in (0.28, 0.97))
    assert early < 17.0
    assert late > 5.0 * 16.0


@given(st.floats(0.001, 0.999), st.floats(2.0, 60.0), st.floats(1.05, 4.0))
def test_time_and_degree_are_inverse(degree, initial, factor):
    curve = avrami_parameters(initial, initial * factor)
    assert avrami_degree(avrami_time(degree, *curve), *curve) == pytest.approx(degree, rel=1e-9)


def test_equal_set_times_do_not_break_the_curve():
    assert np.isfinite(hemihydrate_degree(12.0, 10.0, 10.0, 6.0))


@pytest.mark.parametrize("age", [1e300, np.inf])
def test_what_is_left_forever_gains_all_it_can(age):
    """A casting that no age makes strong enough is asked about at an age without end."""
    with np.errstate(over="ignore"):  # as the chain reads it: the power of the set curve overflows to "all"
        gained = [hyperbolic_gain(age, 0.8, 0.5), gypsum_gain(age, 10.0, 16.0, 6.0)]
        gained.append(hemihydrate_degree(age, 10.0, 16.0, 6.0))
    assert gained == pytest.approx([1.0, 1.0, 1.0])


def test_what_never_sets_gains_nothing():
    ages = np.array([0.0, 1e6, np.inf])
    assert np.array_equal(hyperbolic_gain(ages, 0.8, np.inf), np.zeros(3))
