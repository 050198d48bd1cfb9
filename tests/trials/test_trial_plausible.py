"""What is asked about before it is taken, the soak test, and numbers from NumPy."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace

import numpy as np
import pytest
from trial_samples import FULL, TODAY

from optimizer.calibration.measurement_errors import KINDS
from optimizer.calibration.readings import Studio, readings_of
from optimizer.errors import FileFaults, QuantityError
from optimizer.job import Shop
from optimizer.trials.book import TrialBook
from optimizer.trials.checks import DoubtfulReadings, check_trial, doubtful
from optimizer.trials.exchange import import_trials
from optimizer.trials.measuring import absorption_soaked
from optimizer.trials.records import FIELDS, GROUP_FIELDS, Portion, Strength, Trial, field_names
from ui.cli import run
from ui.trial_form import doubts_of

DAY = dt.date(2026, 3, 2)
POWDER = (Portion("gypsum_cement", 300.0),)


@pytest.mark.parametrize(
    ("trial", "places"),
    [
        pytest.param(FULL, [], id="a whole trial of the samples"),
        pytest.param(
            Trial(DAY, strengths=(Strength(5.6 * 0.00689476),)), ["strengths.1.value"], id="5.6 psi"
        ),
        pytest.param(Trial(DAY, strengths=(Strength(0.0, sense="<="),)), [], id="nothing held"),
        pytest.param(Trial(DAY, portions=POWDER, water=380.0), ["water"], id="ratio 1.27"),
        pytest.param(Trial(DAY, portions=POWDER, water=1.2), ["water"], id="1,200 read as 1.2"),
        pytest.param(Trial(DAY, portions=POWDER, cast=2), ["water"], id="cast without water"),
        pytest.param(Trial(DAY, portions=POWDER), [], id="half filled"),
        pytest.param(Trial(DAY, water=118.0), [], id="powders not weighed"),
    ],
)
def test_what_is_asked_about(trial, places):
    assert [fault.where for fault in doubtful(trial)] == places


@pytest.mark.parametrize(("strength", "asked"), [(0.49, True), (0.5, False)])
def test_a_weak_strength_is_asked_about_in_both_units(strength, asked):
    """0.5 MPa is 73 psi (NIST SP 811: 1 psi = 6.894757 kPa)."""
    found = doubtful(Trial(DAY, strengths=(Strength(strength),)))
    assert [fault.allowed for fault in found] == ["0.5 MPa (73 psi) or more, as a rule"] * asked


@pytest.mark.parametrize(("water", "asked"), [(29.0, True), (30.0, False), (360.0, False), (361.0, True)])
def test_water_is_asked_about_beyond_a_tenth_and_six_fifths_of_the_powder(water, asked):
    trial = Trial(DAY, portions=POWDER, water=water)
    assert [fault.where for fault in doubtful(trial)] == ["water"] * asked


def test_a_table_is_asked_about_before_anything_is_entered(tmp_path):
    table = tmp_path / "casts.csv"
    head = "id;date;mass of gypsum_cement [g];water [g];strength 1 value [psi]\n"
    table.write_text(head + "a;2026-03-02;300,5;105;5,600\nb;2026-03-03;300;105;5600\n")
    book = tmp_path / "new.db"
    with pytest.raises(FileFaults, match="row 2, column 'strength 1 value"):
        import_trials(book, table, today=TODAY)
    assert not book.exists()
    assert import_trials(book, table, confirmed=True, today=TODAY).entered.added == ("a", "b")


def test_the_command_asks_and_takes_a_yes(tmp_path, capsys):
    book = ["--book", str(tmp_path / "trials.db")]
    typed = ["trials", "add", "--weighed", "gypsum_cement=300, water=380", "demold=40 min", *book]
    assert run(typed) == DoubtfulReadings.exit_code
    assert "add --yes if it is right" in capsys.readouterr().err
    assert not (tmp_path / "trials.db").exists()
    assert run([*typed, "--yes", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["water"] == 380.0


def test_the_form_marks_the_field_that_is_odd():
    assert list(doubts_of(Trial(DAY, strengths=(Strength(24.0), Strength(0.04))))) == ["strength 2 value"]


@pytest.mark.parametrize("number", [np.float32, np.float64, np.int64, np.asarray])
def test_a_numpy_number_is_a_number(tmp_path, number):
    plain = Trial(DAY, id="a", water=118.0, cast=3, strengths=(Strength(24.0),))
    other = Trial(DAY, id="a", water=number(118), cast=np.int32(3), strengths=(Strength(number(24)),))
    assert other == plain
    assert type(other.water) in (int, float)
    book = TrialBook(tmp_path / "trials.db")
    book.add(other, TODAY)
    assert book.get("a").trial == plain
    assert book.get("a").whole


def test_every_field_of_the_records_has_its_row():
    groups = {field: parts for field, parts in GROUP_FIELDS.values()}
    named = {name for name in field_names(FULL) if name not in groups}
    assert named == set(FIELDS)
    for field, parts in groups.items():
        assert tuple(parts) == field_names(getattr(FULL, field)[0])


def test_absorption_by_soaking():
    """The sandstone of a textbook's exercise on ASTM C97, from memory: 150.0 g dry, 157.5 g soaked, 5.0 %."""
    found = absorption_soaked(150.0, 157.5, 0.1)
    assert found.value == pytest.approx(0.05)
    assert found.warnings == ()
    assert absorption_soaked(150.0, 157.5, 1.0).spread > found.spread
    assert any("too coarse" in word for word in absorption_soaked(60.0, 63.0, 1.0).warnings)
    assert any("small" in word for word in absorption_soaked(20.0, 23.4, 0.1).warnings)


@pytest.mark.parametrize(("dry", "soaked"), [(0.0, 10.0), (140.0, 120.0), (float("nan"), 1.0)])
def test_absorption_needs_two_masses_in_order(dry, soaked):
    with pytest.raises(QuantityError):
        absorption_soaked(dry, soaked)


def test_the_soak_is_noted_as_it_is_said(tmp_path, capsys):
    assert run(["trials", "measure", "soak", "dry=150 g", "soaked=175.5 g", "scale=0.1 g", "--json"]) == 0
    (found,) = json.loads(capsys.readouterr().out)["answers"]
    book = ["--book", str(tmp_path / "trials.db"), "--weighed", "gypsum_cement=300, water=105"]
    assert run(["trials", "add", *found["note_as"], "coats=2", *book, "--json"]) == 0
    noted = json.loads(capsys.readouterr().out)
    assert noted["absorption"] == pytest.approx(0.17)
    assert noted["coats"] == 2
    assert {"water absorption", "absorption by its coats"} <= set(noted["counts"])


@pytest.mark.parametrize(
    ("coats", "bounds"),
    [(0, [(-1, 0.03)]), (1, [(-1, 0.03 / 0.35), (1, 0.03)]), (2, [(-1, 0.03 / 0.35**2), (1, 0.03 / 0.35)])],
)
def test_coats_bound_the_absorption(catalogue, coats, bounds):
    """By hand: each coat leaves 0.35 of the absorption, and 0.03 is asked for."""
    trial = Trial(DAY, id="a", portions=POWDER, water=105.0, coats=coats)
    studio = Studio(shop=Shop(target_absorption=0.03, coat_factor=0.35))
    _, readings, _ = readings_of([trial], catalogue, studio)
    assert [(one.side, pytest.approx(one.value)) for one in readings] == bounds
    assert {one.error for one in readings} == {KINDS["coats"].error}


def test_a_stated_error_of_a_soak_counts(catalogue):
    trial = Trial(DAY, id="a", portions=POWDER, water=105.0, absorption=0.2, absorption_error=0.03)
    _, (reading,), _ = readings_of([trial], catalogue, Studio())
    assert reading.error == pytest.approx(0.15)


def test_a_count_of_coats_is_whole():
    with pytest.raises(FileFaults, match="whole number"):
        check_trial(replace(FULL, coats=1.5), TODAY)
