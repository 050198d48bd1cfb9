"""What is refused, what a trial can teach, and the fingerprint: all from what the readings mean."""

from __future__ import annotations

import dataclasses
import datetime as dt

import pytest
from hypothesis import given
from trial_samples import FULL, HALF, TODAY, trials

from optimizer.errors import FileFaults
from optimizer.job import EXPOSURES as SHOP_EXPOSURES
from optimizer.nomenclature import PROPERTIES
from optimizer.trials.checks import check_trial, trial_faults
from optimizer.trials.records import EXPOSURES, Burn, Portion, Reject, Strength, Trial, Weighing, digest
from optimizer.trials.usable_readings import cannot_teach, teaches

IMPOSSIBLE = {
    "dry-heavier-than-wet": ({"weighings": (Weighing(0, 380.0), Weighing(3, 395.0))}, "weighings.2.mass"),
    "demold-before-final-set": ({"demold": 20.0}, "demold"),
    "demold-before-initial-set": ({"final_set": None, "demold": 10.0}, "demold"),
    "taken-out-before-it-could-be": ({"demold_first": 45.0}, "demold"),
    "first-out-before-final-set": ({"demold_first": 20.0}, "demold_first"),
    "final-before-initial-set": ({"final_set": 17.0}, "final_set"),
    "pours-after-final-set": ({"window_end": 60.0}, "final_set"),
    "negative-mass": ({"portions": (Portion("gypsum_cement", -1.0),)}, "portions.1.mass"),
    "negative-water": ({"water": -5.0}, "water"),
    "not-a-number": ({"water": float("nan")}, "water"),
    "infinite": ({"initial_set": float("inf")}, "initial_set"),
    "future": ({"date": dt.date(2026, 11, 26)}, "date"),
    "long-ago": ({"date": dt.date(1899, 12, 31)}, "date"),
    "piece-heavier-than-mix": ({"weighings": (Weighing(0, 900.0),)}, "weighings.1.mass"),
    "weighings-not-in-order": ({"weighings": (Weighing(2, 390.0), Weighing(1, 380.0))}, "weighings.2.age"),
    "two-weighings-at-once": ({"weighings": (Weighing(2, 390.0), Weighing(2, 380.0))}, "weighings.2.age"),
    "tested-before-set": ({"strengths": (Strength(5.0, 1.0),)}, "strengths.1.age"),
    "unknown-state": ({"strengths": (Strength(5.0, 60.0, "moist"),)}, "strengths.1.state"),
    "more-rejects-than-cast": ({"rejects": (Reject("bubbles", 3),)}, "rejects"),
    "half-a-casting": ({"cast": 1.5}, "cast"),
    "label-twice": ({"labels": ("V-1", "V-1")}, "labels"),
    "label-with-space": ({"labels": ("V 1",)}, "labels.1"),
    "humidity-in-percent": ({"humidity": 45.0}, "humidity"),
    "burn-without-temperature": ({"burns": (Burn(burn_rate=4.0),)}, "burns.1"),
    "control-sign": ({"remarks": "a\x00b"}, "remarks"),
    "endless-remark": ({"remarks": "a" * 10_001}, "remarks"),
    "strength-older-than-the-casting": (
        {"date": TODAY, "weighings": (), "strengths": (Strength(36.0, 7 * 1440.0, "dry"),)},
        "strengths.1.age",
    ),
    "tested-tomorrow": (
        {"date": TODAY - dt.timedelta(days=1), "weighings": (), "strengths": (Strength(36.0, 2 * 1440.0),)},
        "strengths.1.age",
    ),
    "weighed-tomorrow": (
        {"date": TODAY, "strengths": (), "weighings": (Weighing(1, 380.0),)},
        "weighings.1.age",
    ),
    "left-the-mold-tomorrow": (
        {"date": TODAY, "strengths": (), "weighings": (), "demold": 1500.0},
        "demold",
    ),
    "nameless-powder": ({"portions": (Portion(" ", 1.0),)}, "portions.1.material"),
}


@pytest.mark.parametrize("case", IMPOSSIBLE)
def test_impossible_values_are_refused_with_place_and_repair(case):
    change, where = IMPOSSIBLE[case]
    faults = trial_faults(dataclasses.replace(FULL, **change), TODAY)
    assert [fault.where for fault in faults] == [where]
    assert faults[0].allowed
    assert faults[0].repair.endswith(".")


def test_a_reading_of_the_last_day_is_taken():
    """Poured yesterday early and tested today late, a piece may be nearly two days old."""
    aged = Trial(TODAY - dt.timedelta(days=1), strengths=(Strength(36.0, 2 * 1440.0 - 1.0),))
    assert trial_faults(aged, TODAY) == ()


def test_all_faults_come_at_once():
    with pytest.raises(FileFaults, match=r"(?s)water: .*humidity: ") as caught:
        check_trial(dataclasses.replace(FULL, water=-1.0, humidity=3.0), TODAY)
    assert len(caught.value.faults) == 2


@pytest.mark.parametrize("trial", [FULL, HALF, Trial(TODAY)], ids=["full", "half", "only a date"])
def test_half_filled_trials_are_kept(trial):
    assert trial_faults(trial, TODAY) == ()


@given(trials())
def test_generated_trials_pass(trial):
    assert trial_faults(trial, TODAY) == ()


def test_full_trial_teaches_everything_the_book_can_hold():
    assert cannot_teach(FULL) == {}
    assert set(teaches(FULL)) <= set(PROPERTIES)
    assert len(teaches(FULL)) == 14


def test_half_trial_says_what_is_missing():
    missing = cannot_teach(HALF)
    assert teaches(HALF) == ("working_window",)
    assert missing["dry_strength"] == "test a compressive strength"
    assert "0.1 %" in missing["drying_time"]


@pytest.mark.parametrize(
    ("change", "lost"),
    [
        ({"portions": ()}, set(teaches(FULL))),
        ({"water": None}, set(teaches(FULL))),
        ({"humidity": None}, {"drying_time"}),
        ({"vessel": "", "cavity_volume": None}, {"dry_mass", "demolded_mass"}),
        ({"strengths": FULL.strengths[1:]}, {"wet_strength"}),
        ({"strengths": (Strength(5.0, None, "wet"),)}, {"wet_strength", "dry_strength", "flexural_strength"}),
        ({"burns": (Burn(45.0),)}, {"outer_wall_temperature", "inner_wall_temperature"}),
        ({"weighings": FULL.weighings[:2]}, {"dry_mass", "drying_time"}),
        ({"damp_cure": 3 * 1440.0}, {"dry_mass", "drying_time"}),
    ],
)
def test_what_is_not_noted_is_not_taught(change, lost):
    assert set(cannot_teach(dataclasses.replace(FULL, **change))) == lost


def test_blend_and_water_ratio():
    # own arithmetic: 300 of 400.4 g, and 121.5 g of water on them
    assert FULL.blend["gypsum_cement"] == pytest.approx(300.0 / 400.4)
    assert FULL.water_ratio == pytest.approx(121.5 / 400.4)
    assert Trial(TODAY).water_ratio is None


def test_same_powder_from_two_bags_is_one_material():
    trial = Trial(
        TODAY, portions=(Portion("gypsum_cement", 100.0, "1"), Portion("gypsum_cement", 300.0, "2"))
    )
    assert trial.blend == {"gypsum_cement": 1.0}


def test_exposures_are_those_of_the_job():
    assert EXPOSURES == SHOP_EXPOSURES


@pytest.mark.parametrize("field", [field.name for field in dataclasses.fields(Trial) if field.name != "id"])
def test_fingerprint_sees_every_field(field):
    default = Trial(TODAY)
    changed = getattr(default, field) if field == "date" else getattr(FULL, field)
    other = TODAY - dt.timedelta(1) if field == "date" else changed
    assert digest(dataclasses.replace(default, **{field: other})) != digest(default) or other == getattr(
        default, field
    )


def test_fingerprint_is_the_same_for_whole_numbers():
    assert digest(Trial(TODAY, water=100)) == digest(Trial(TODAY, water=100.0))
