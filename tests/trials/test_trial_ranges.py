"""The most and the least that a bench can show, and a little beyond: taken, and refused by its place.

From the meaning: a fraction ends at 1, CIE L* at 100, liquid water at 0 degC, a count begins at 1. All else
is wide common practice, no source: it catches slips of the pen and of the unit.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from trial_samples import TODAY

from optimizer.trials.checks import trial_faults
from optimizer.trials.records import Burn, Portion, Reject, Strength, Trial, Weighing

DAY = 1440.0
FIELDS = [
    ("cast", 10_000, 10_001),
    ("water", 1e6, 1.001e6),
    ("water_temperature", 95.0, 95.5),
    ("water_temperature", 0.0, -0.5),
    ("room_temperature", 60.0, 60.5),
    ("room_temperature", -20.0, -20.5),
    ("humidity", 1.0, 1.01),
    ("damp_cure", 366 * DAY, 367 * DAY),
    ("cavity_volume", 1e5, 1.001e5),
    ("cavity_volume", 1.0, 0.9),
    ("fresh_density", 4.0, 4.1),
    ("fresh_density", 0.2, 0.19),
    ("window_end", 366 * DAY, 367 * DAY),
    ("casting_peak", 110.0, 111.0),
    ("casting_peak", -20.0, -21.0),
    ("whiteness", 100.0, 100.1),
    ("whiteness", 0.0, -0.1),
    ("whiteness_error", 50.0, 51.0),
    ("absorption", 2.0, 2.1),
    ("absorption_error", 1.0, 1.1),
    ("coats", 20, 21),
]
READINGS = [
    ("portions", Portion("gypsum_cement", 1e6), Portion("gypsum_cement", 1.001e6)),
    ("weighings", Weighing(3660.0, 400.0), Weighing(3661.0, 400.0)),
    ("weighings", Weighing(1.0, 0.1), Weighing(1.0, 0.09)),
    ("weighings", Weighing(1.0, 1e6), Weighing(1.0, 1.001e6)),
    ("strengths", Strength(300.0, DAY), Strength(301.0, DAY)),
    ("strengths", Strength(24.0, 36_600 * DAY), Strength(24.0, 36_601 * DAY)),
    ("strengths", Strength(24.0, DAY, error=150.0), Strength(24.0, DAY, error=151.0)),
    ("burns", Burn(outer=400.0), Burn(outer=401.0)),
    ("burns", Burn(outer=40.0, inner=800.0), Burn(outer=40.0, inner=801.0)),
    ("burns", Burn(outer=40.0, error=100.0), Burn(outer=40.0, error=101.0)),
    ("burns", Burn(outer=40.0, burn_rate=100.0), Burn(outer=40.0, burn_rate=101.0)),
    ("burns", Burn(outer=40.0, burn_rate=0.01), Burn(outer=40.0, burn_rate=0.009)),
    ("burns", Burn(outer=40.0, wicks=50), Burn(outer=40.0, wicks=51)),
    ("burns", Burn(outer=61.0, room=60.0), Burn(outer=62.0, room=61.0)),
    ("rejects", Reject("cracked", 1), Reject("cracked", 0)),
    ("rejects", Reject("cracked", 10_000), Reject("cracked", 10_001)),
]
PLAIN = Trial(dt.date(1920, 1, 1), id="a")
"""So long ago that no age lies in the future."""


def places(trial):
    return [fault.where for fault in trial_faults(trial, TODAY)]


@pytest.mark.parametrize(("field", "can_be", "cannot"), FIELDS, ids=lambda x: str(x))
def test_a_value_is_taken_to_its_end_and_refused_beyond(field, can_be, cannot):
    assert places(replace(PLAIN, **{field: can_be})) == []
    assert places(replace(PLAIN, **{field: cannot})) == [field]


@pytest.mark.parametrize(("group", "can_be", "cannot"), READINGS, ids=lambda x: str(x)[:30])
def test_a_reading_is_taken_to_its_end_and_refused_beyond(group, can_be, cannot):
    many = {"cast": 10_000}
    assert places(replace(PLAIN, **many, **{group: (can_be,)})) == []
    assert [place.rpartition(".")[0] for place in places(replace(PLAIN, **many, **{group: (cannot,)}))] == [
        f"{group}.1"
    ]


@pytest.mark.parametrize(
    ("date", "taken"),
    [
        (dt.date(1899, 12, 31), False),
        (dt.date(1900, 1, 1), True),
        (TODAY, True),
        (TODAY + dt.timedelta(days=1), False),
    ],
)
def test_a_pour_is_noted_from_1900_to_today(date, taken):
    assert places(Trial(date, id="a")) == ([] if taken else ["date"])


@pytest.mark.parametrize(("days", "taken"), [(2.0, True), (2.9, True), (3.0, False)])
def test_no_reading_is_older_than_the_days_since_the_pour(days, taken):
    """Poured at any hour of a day two days ago, a piece is less than three days old (own arithmetic)."""
    poured = TODAY - dt.timedelta(days=2)
    assert places(Trial(poured, weighings=(Weighing(days, 400.0),))) == ([] if taken else ["weighings.1.age"])
    strong = Trial(poured, strengths=(Strength(20.0, days * DAY, "wet"),))
    assert places(strong) == ([] if taken else ["strengths.1.age"])


def test_a_text_is_taken_up_to_ten_thousand_letters():
    assert places(replace(PLAIN, remarks="a" * 10_000)) == []
    assert places(replace(PLAIN, remarks="a" * 10_001)) == ["remarks"]
