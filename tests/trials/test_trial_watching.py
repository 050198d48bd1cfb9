"""Drying and burn tests: fits against certified results, published drying data and simulated series."""

from __future__ import annotations

import math

import numpy as np
import pytest

from optimizer.errors import NoVerdict, QuantityError
from optimizer.job import Candle, Vessel
from optimizer.trials.drying_curve import Beforehand, fit_approach
from optimizer.trials.drying_watch import CONSTANT, constant_since, days_to_constant_mass, dry_mass_forecast
from optimizer.trials.measuring import Measured, flame_share, steady_wall_temperature
from optimizer.trials.records import Weighing

OPEN_MIND = Beforehand(time=1.8, factor=1e6)


def test_fit_against_certified_nonlinear_regression():
    """NIST StRD, BoxBOD: y = b1 (1 - exp(-b2 x)). Data and certified errors read, parameters from memory.

    The curve starts at 0, said here by a reading of no error.
    """
    hours, demand = [0, 1, 2, 3, 5, 7, 10], [0, 109, 149, 149, 191, 213, 224]
    fit = fit_approach(hours, demand, [1e-4] + [17.0] * 6, OPEN_MIND)
    assert fit.end == pytest.approx(213.80940889, rel=1e-5)
    assert 1.0 / fit.time == pytest.approx(0.54723748542, rel=1e-4)
    assert fit.draws[:, 0].std() == pytest.approx(12.354515176, rel=0.01)
    assert fit.draws[:, 2].std() / fit.time == pytest.approx(0.10455993237, rel=0.01)


@pytest.mark.parametrize("steady", [0.0, 0.3, 0.6])
def test_fit_finds_the_steady_stage(steady):
    days = np.linspace(0.0, 6.0, 25)
    turn = steady / (1.0 - steady) * 0.9
    falling = np.exp(-np.maximum(days - turn, 0.0) / 0.9)
    masses = 300.0 + np.where(
        days < turn, 60.0 - (1.0 - steady) * 60.0 * days / 0.9, (1.0 - steady) * 60.0 * falling
    )
    known = Beforehand(time=0.6, factor=10.0, steady=0.4, steady_error=10.0)
    fit = fit_approach(days, masses, [0.01] * 25, known)
    assert (fit.end, fit.time, fit.steady) == pytest.approx((300.0, 0.9, steady), abs=0.02)


def _series(days, dry=365.0, water=55.0, time=0.8, steady=0.0, step=1.0, noise=None):
    turn = steady / (1.0 - steady) * time
    rows = []
    for day in days:
        share = (1.0 - steady) * (math.exp(-(day - turn) / time) if day > turn else 0.0)
        left = share if day > turn else 1.0 - (1.0 - steady) * day / time
        mass = dry + water * left + (0.0 if noise is None else noise.normal(0.0, 0.07))
        rows.append(Weighing(float(day), round(mass / step) * step))
    return rows


def _true_day(dry=365.0, water=55.0, time=0.8, steady=0.0):
    """Find by stepping the first time whose change over the day before is 0.1 %."""
    per_day = 100
    ages = [number / per_day for number in range(per_day * 30)]
    masses = [weighing.mass for weighing in _series(ages, dry, water, time, steady, step=1e-9)]
    pairs = zip(ages[per_day:], masses, masses[per_day:], strict=False)
    return next(age for age, early, late in pairs if early - late <= CONSTANT * late)


@pytest.mark.parametrize("steady", [0.0, 0.4, 0.6])
@pytest.mark.parametrize("time", [0.4, 0.8, 1.5])
def test_forecast_of_a_generated_series(time, steady):
    """A fine scale and weighings over most of the way: the day is found within a few hours."""
    last = _true_day(time=time, steady=steady)
    days = [part * last / 12.0 for part in range(9)]
    weighings = _series(days, time=time, steady=steady, step=0.01)
    found = days_to_constant_mass(weighings, 0.01, expected_dry=(365.0, 3.0))
    assert found.value == pytest.approx(last, abs=0.25)
    assert abs(found.value - last) < 2.0 * found.spread
    assert dry_mass_forecast(weighings, 0.01).value == pytest.approx(365.0, abs=1.0)


def test_spread_of_the_forecast_covers_the_truth():
    """Four daily weighings to 1 g, times and steady stages drawn: the truth is within as often as said."""
    random = np.random.default_rng(11)
    inside = []
    while len(inside) < 60:
        time, steady = 0.6 * 2.0 ** random.normal(), float(np.clip(random.normal(0.4, 0.2), 0.0, 0.8))
        weighings = _series(range(4), time=time, steady=steady, noise=random)
        if constant_since(weighings) is not None:
            continue
        found = days_to_constant_mass(weighings)
        inside.append(abs(found.value - _true_day(time=time, steady=steady)) / found.spread)
    assert np.mean(np.array(inside) < 1.0) > 0.6
    assert np.mean(np.array(inside) < 2.0) > 0.85


def test_forecast_of_published_drying():
    """Model plaster in an oven of 45 degC, after Gibson & Johnson 1932 in a dental textbook, from memory.

    Losses of 5.1, 11.9 and 17.4 % at 2, 4 and 8 h; full dry strength, so dry, at 24 h or soon after.
    The 0.1 % rule needs a full day without loss after that: 1 to 3 days.
    """
    losses = {0: 0.0, 2: 0.051, 4: 0.119, 8: 0.174}
    weighings = [Weighing(hour / 24.0, 1000.0 * (1.0 - loss)) for hour, loss in losses.items()]
    found = days_to_constant_mass(weighings)
    assert found.value - found.spread >= 1.0
    assert found.value + found.spread <= 3.0
    # free water of model plaster at w/p 0.5 to 0.7: 21 to 30 % of the cast (stoichiometry)
    dry = dry_mass_forecast(weighings)
    assert 700.0 - dry.spread < dry.value < 790.0 + dry.spread


def test_an_expected_dry_mass_sharpens_an_early_forecast():
    weighings = _series(range(3), steady=0.4)
    bare, told = days_to_constant_mass(weighings), days_to_constant_mass(weighings, expected_dry=(365.0, 3.0))
    assert told.spread < bare.spread
    two = days_to_constant_mass(weighings[:2], expected_dry=(365.0, 3.0))
    assert two.spread > told.spread


@pytest.mark.parametrize(
    ("masses", "after", "since"),
    [
        pytest.param((420, 372, 365, 364.8), 0.0, 3.0, id="0.05 % in a day"),
        pytest.param((420, 372, 365, 364.5), 0.0, None, id="0.14 % in a day"),
        pytest.param((420, 420, 400, 380), 0.0, None, id="kept damp at first, lost more later"),
        pytest.param((420, 420), 1.5, None, id="only weighings after the damp cure count"),
        pytest.param((365, 365, 365), 0.0, 1.0, id="constant from the start"),
        pytest.param((), 0.0, None, id="no weighing"),
    ],
)
def test_constant_mass_is_seen(masses, after, since):
    """0.1 % over 24 h: the rule of gypsum standards, from memory."""
    assert constant_since([Weighing(float(day), mass) for day, mass in enumerate(masses)], after) == since


def test_two_readings_on_one_day_do_not_make_constant_mass():
    assert constant_since([Weighing(3.0, 365.0), Weighing(3.3, 365.0)]) is None


def test_seen_beats_forecast():
    found = days_to_constant_mass(
        [Weighing(0, 420.0), Weighing(1, 370.0), Weighing(2, 365.0), Weighing(4, 364.9)]
    )
    assert (found.value, found.spread) == (4.0, 1.0)
    assert dry_mass_forecast([Weighing(0, 420.0), Weighing(2, 365.0), Weighing(4, 364.9)]).value == 364.9


@pytest.mark.parametrize(
    ("weighings", "expected", "words"),
    [
        (_series(range(7), time=0.5), (340.0, 2.0), "heavier than expected"),
        (_series(range(7), time=0.5), (380.0, 2.0), "crystal water"),
        (_series((0, 0.25, 0.5), steady=0.6), None, "steady rate"),
        ([Weighing(0, 60.0), Weighing(1, 54.0), Weighing(2, 51.0)], None, "cannot show 0.1 %"),
    ],
)
def test_warnings_of_drying(weighings, expected, words):
    warnings = days_to_constant_mass(weighings, expected_dry=expected).warnings
    assert any(words in text for text in warnings), warnings


@pytest.mark.parametrize("weighings", [[], [Weighing(0, 420.0), Weighing(1, 400.0)]])
def test_too_few_weighings_give_no_verdict(weighings):
    with pytest.raises(NoVerdict, match="three days"):
        days_to_constant_mass(weighings)


def test_no_loss_gives_no_verdict_and_disorder_is_refused():
    with pytest.raises(NoVerdict, match="lost no mass"):
        dry_mass_forecast([Weighing(0, 420.0), Weighing(0.2, 421.0), Weighing(0.4, 421.0)])
    with pytest.raises(QuantityError, match="later than"):
        days_to_constant_mass([Weighing(0, 420.0), Weighing(2, 400.0), Weighing(1, 390.0)])


def _burn(hours, end=46.0, time=0.7, room=21.0, noise=None):
    return [
        (
            hour,
            end - (end - room) * math.exp(-hour / time) + (0.0 if noise is None else noise.normal(0.0, 0.5)),
        )
        for hour in hours
    ]


@pytest.mark.parametrize("time", [0.3, 0.7, 1.4])
def test_steady_wall_of_a_generated_burn(time):
    found = steady_wall_temperature(_burn((0, 1, 2, 3, 4), time=time), error=0.5)
    assert found.value == pytest.approx(46.0, abs=0.4)
    assert found.unit == "degC"
    assert found.warnings == ()


def test_spread_of_the_steady_wall_covers_the_truth():
    random = np.random.default_rng(5)
    inside = []
    for _ in range(60):
        found = steady_wall_temperature(
            _burn((0, 0.5, 1, 2, 3), time=0.7 * 1.6 ** random.normal(), noise=random), 0.5
        )
        inside.append(abs(found.value - 46.0) / found.spread)
    assert np.mean(np.array(inside) < 1.0) > 0.6
    assert np.mean(np.array(inside) < 2.0) > 0.9


def test_a_short_burn_is_wide_and_says_so():
    short, long = (steady_wall_temperature(_burn(hours)) for hours in ((0, 0.25, 0.5, 0.75), (0, 1, 2, 3, 4)))
    assert short.spread > 2.0 * long.spread
    assert any("burn longer" in text for text in short.warnings)


def test_a_draft_is_noticed():
    warnings = steady_wall_temperature([(0, 21), (1, 45), (2, 33), (3, 48), (4, 36)]).warnings
    assert any("draft" in text for text in warnings)


def test_burns_that_say_nothing():
    with pytest.raises(NoVerdict, match="too few readings"):
        steady_wall_temperature([(0, 21), (1, 38)])
    with pytest.raises(QuantityError, match="ascending"):
        steady_wall_temperature([(0, 21), (2, 38), (1, 30)])
    with pytest.raises(QuantityError, match="above 0 K"):
        steady_wall_temperature(_burn((0, 1, 2)), error=0.0)


def test_share_of_the_flame_of_a_burn():
    """Loss of a 90 x 90 mm side at 60 degC in a room of 20 degC over the heat of a wick of 4 g/h of paraffin.

    12.75 W by the handbook's plate formula and 47.78 W (own arithmetic).
    """
    vessel = Vessel(300.0, outer_diameter=90.0, height=90.0)
    candle = Candle(burn_rate=4.0, heat_of_combustion=43.0, room=20.0)
    found = flame_share(Measured(60.0, 1.0, "degC", "burn test"), vessel, candle)
    assert found.value == pytest.approx(12.75 / 47.78, rel=0.02)
    # loss grows about as (T - room)^1.25: 1 K of 40 is some 3 %
    assert found.spread == pytest.approx(0.03 * found.value, rel=0.15)
