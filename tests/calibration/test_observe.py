"""What a reading should be is what the chain predicts as a property: one model, two doors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.calibration.measurement_errors import KINDS, STATED_LEAST
from optimizer.calibration.observe import expected, observe
from optimizer.calibration.readings import Studio
from optimizer.job import Candle, Job, Shop, Vessel
from optimizer.property_model.microstructure import per_liter
from optimizer.property_model.model import compile_model
from optimizer.property_model.parameters import parameters_of
from optimizer.property_model.predict import PREDICTORS, cast_of, conditions_of
from optimizer.trials.records import Burn, Strength, Weighing
from tests.calibration.studios import NAMES, TARGET, WATER, blank

ROOM = 27.0
BURN = Burn(outer=50.0, inner=60.0, burn_rate=4.0, room=23.0)
SHOP = Shop(temperature=ROOM, damp_cure=600.0, mixing=4.0)
VESSEL = Vessel(200.0)


def readings(catalogue, trial):
    """Return what is expected of each kind of reading of one trial."""
    studio = Studio(replace(SHOP, temperature=21.0), VESSEL, heat_of_combustion=40.0)
    evidence = observe([trial], catalogue, studio)
    assert not evidence.unused
    parameters = parameters_of(catalogue, evidence.names)
    model = compile_model(catalogue, evidence.names, parameters, parameters.centers[None, :])
    found = expected(evidence, model)[0]
    return {
        reading.kind: float(np.exp(value) if KINDS[reading.kind].log else value)
        for reading, value in zip(evidence.readings, found, strict=True)
    }


@pytest.fixture(scope="module")
def there(catalogue):
    candle = Candle(burn_rate=4.0, heat_of_combustion=40.0, room=23.0)
    model = compile_model(catalogue, NAMES)
    # The chain's own estimate of a wall without a burn test also asks the wax pool; with one it does not.
    outer = readings(catalogue, replace(blank(0, TARGET), burns=(BURN,)))["outer_wall"]
    conditions = conditions_of(Job("x", "", (), VESSEL, SHOP, replace(candle, measured_outer=outer)))
    shares = np.array([[TARGET[name] for name in NAMES]])
    return cast_of(model, conditions, per_liter(model, shares, np.array([WATER])))


@pytest.fixture(scope="module")
def seen(catalogue):
    trial = replace(
        blank(0, TARGET),
        cavity_volume=200.0,
        room_temperature=ROOM,
        window_end=9.0,
        casting_peak=45.0,
        damp_cure=600.0,
        burns=(BURN,),
    )
    return readings(catalogue, trial)


@pytest.mark.parametrize(
    ("kind", "name"),
    [
        ("fresh_density", "fresh_density"),
        ("demolded_mass", "demolded_mass"),
        ("wet_strength", "wet_strength"),
        ("dry_strength", "dry_strength"),
        ("dry_flexural", "flexural_strength"),
        ("whiteness", "whiteness"),
        ("casting_peak", "casting_peak"),
        ("outer_wall", "outer_wall_temperature"),
        ("inner_wall", "inner_wall_temperature"),
    ],
)
def test_a_reading_is_the_property(seen, there, kind, name):
    assert seen[kind] == pytest.approx(float(np.ravel(PREDICTORS[name](there))[0]), rel=1e-9)


def test_the_end_of_pouring_counts_from_powder_meeting_water(seen, there):
    """The working window begins when mixing ends; the end of pouring is told from powder meeting water."""
    window = float(np.ravel(PREDICTORS["working_window"](there))[0])
    assert seen["window_end"] == pytest.approx(window + there.conditions.shop.mixing, rel=1e-9)


def test_dry_mass_by_its_share_and_alone(catalogue, seen, there):
    dry = float(np.ravel(PREDICTORS["dry_mass"](there))[0])
    assert seen["dry_share"] * seen["demolded_mass"] == pytest.approx(dry, rel=1e-9)
    late = replace(
        blank(0, TARGET), cavity_volume=200.0, weighings=(Weighing(5.0, 360.0), Weighing(6.0, 360.0))
    )
    assert readings(catalogue, late)["dry_mass"] == pytest.approx(dry, rel=1e-9)


def test_sets_come_sooner_in_a_warm_room(catalogue, there):
    cold = readings(catalogue, replace(blank(0, TARGET), room_temperature=15.0))
    warm = readings(catalogue, replace(blank(0, TARGET), room_temperature=ROOM))
    assert warm["initial_set"] < cold["initial_set"]
    assert warm["final_set"] == pytest.approx(float(there.clock.final[0]), rel=1e-9)


def test_a_casting_leaves_the_mold_when_strong_enough(catalogue, there):
    """At the chain's own demold time the margin of strength is nil."""
    time = float(np.ravel(PREDICTORS["demold_time"](there))[0])
    one = replace(blank(0, TARGET), cavity_volume=200.0, room_temperature=ROOM, demold=time)
    assert readings(catalogue, one)["demold"] == pytest.approx(time, rel=2e-3)


def test_wet_bending_strength_grows_with_age(catalogue):
    bars = [
        replace(blank(0, TARGET), strengths=(Strength(3.0, age, "wet", "flexural", "bent bar"),))
        for age in (300.0, 1440.0)
    ]
    young, old = (readings(catalogue, bar)["wet_flexural"] for bar in bars)
    assert young < old


@pytest.mark.parametrize(
    ("stated", "error"),
    [(0.0, KINDS["absorption"].error), (0.01, 0.1), (1e-5, STATED_LEAST)],
)
def test_a_stated_error_counts_relative_and_never_below_what_a_bench_can_do(catalogue, stated, error):
    """An absorption of 10 %, plus or minus 1 %, is known to a tenth; the scale is logarithmic."""
    trial = replace(blank(0, TARGET), absorption=0.10, absorption_error=stated)
    evidence = observe([trial], catalogue, Studio(SHOP, VESSEL))
    (found,) = (one for one in evidence.readings if one.kind == "absorption")
    assert KINDS["absorption"].log
    assert found.error == pytest.approx(error)


@pytest.mark.parametrize(("stated", "error"), [(2.0, 0.1), (0.01, STATED_LEAST)])
def test_a_crushed_cube_says_its_own_error(catalogue, stated, error):
    crushed = Strength(20.0, "compressive", "wet", 1440.0, error=stated)
    evidence = observe([replace(blank(0, TARGET), strengths=(crushed,))], catalogue, Studio(SHOP, VESSEL))
    (found,) = (one for one in evidence.readings if one.kind == "wet_strength")
    assert found.error == pytest.approx(error)
