"""``trials measure``: texts in, figures out; the arithmetic is checked in the tests of its functions."""

from __future__ import annotations

import json

import numpy as np
import pytest

from optimizer.errors import FileFaults
from optimizer.trials.book import TrialBook
from ui.cli import run
from ui.commands.trials_measure import _WORDS
from ui.measuring import MEASUREMENTS, measured


def answers(capsys, *words):
    assert run(["trials", "measure", *words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)["answers"]


def test_a_mold_by_its_water(capsys):
    """Three fills of 214.67 g on average; water of 22 degC is 0.99777 g/mL (IAPWS, from memory)."""
    (found,) = answers(capsys, "volume", "water=214 g; 215 g; 215 g", "temperature=22 C")
    assert found["value"] == pytest.approx(214.667 / 0.99777, abs=0.02)
    assert found["note_as"] == ["cavity_volume=215.1 mL"]


def test_pounds_and_kilograms_are_read_alike(capsys):
    """An avoirdupois pound is 453.59237 g by definition."""
    one = answers(capsys, "density", "full=520 g", "empty=47 g", "volume=250 mL")
    other = answers(capsys, "density", f"full={520 / 453.59237:.8f} lb", "empty=0.047 kg", "volume=0.25 L")
    assert one[0]["value"] == pytest.approx(473 / 250)
    assert other[0]["value"] == pytest.approx(one[0]["value"], rel=1e-6)


def test_a_piece_hanging_in_water(capsys):
    """Archimedes: 362 g in air, 150 g in water of 20 degC, 0.9982 g/mL."""
    (found,) = answers(capsys, "piece", "air=362 g", "hanging=150 g")
    assert found["value"] == pytest.approx(362 * 0.9982 / 212, rel=1e-4)


def test_a_bar_and_what_it_says_of_crushing(capsys):
    """``3 P L / (2 b d^2)``, ASTM C293 (formula from memory): 20 kg on 100 mm, 40 x 20 mm."""
    bent, crushed = answers(
        capsys, "bar", "load=20 kg", "span=100 mm", "width=40 mm", "depth=20 mm", "gypsum=100 %"
    )
    assert bent["value"] == pytest.approx(3 * 20 * 9.80665 * 100 / (2 * 40 * 400), rel=1e-6)
    assert crushed["value"] > bent["value"]
    assert "strength 1 kind=flexural" in bent["note_as"]
    assert any("three bars" in word for word in bent["warnings"])


def test_a_photo_with_a_card(capsys, tmp_path):
    """A face as bright as the card has the card's L*: 116 * 0.86^(1/3) - 16 = 94.3 (CIE 15)."""
    from PIL import Image

    Image.fromarray(np.full((60, 90, 3), 200, np.uint8)).save(tmp_path / "photo.png")
    (found,) = answers(
        capsys,
        "whiteness",
        f"photo={tmp_path / 'photo.png'}",
        "face=0.4 0.2 0.6 0.8",
        "card=0.1, 0.2, 0.3, 0.8",
        "card2=0.7 0.2 0.9 0.8",
    )
    assert found["value"] == pytest.approx(94.3, abs=0.1)


def test_a_day_of_the_week_for_a_drying_piece(capsys):
    """300 + 60 exp(-t / 0.8 d) changes by 0.1 % over a day from day 4.97 on (own algebra)."""
    masses = ", ".join(f"{day} d: {300 + 60 * np.exp(-day / 0.8):.2f} g" for day in range(5))
    days, mass = answers(capsys, "drying", f"weighings={masses}", "scale=0.1 g", "demolded=2026-03-02")
    assert days["value"] == pytest.approx(4.97, abs=0.4)
    assert mass["value"] == pytest.approx(300.0, abs=0.5)
    assert "Saturday, 2026-03-07" in days["more"]


def test_a_burn_settles_and_takes_no_credit(capsys):
    readings = ", ".join(f"{hour} h: {45 - 24 * np.exp(-hour / 0.7):.2f} C" for hour in range(5))
    wall, share = answers(capsys, "burn", f"readings={readings}", "burn_rate=4.5 g/h")
    assert wall["value"] == pytest.approx(45.0, abs=0.3)
    assert "certifies nothing" in wall["more"]
    assert 0.05 < share["value"] < 0.25


@pytest.mark.parametrize("what", MEASUREMENTS)
def test_what_is_asked_for_is_told_and_what_is_missing_too(capsys, what):
    assert run(["trials", "measure", what]) == 0
    assert MEASUREMENTS[what].how.split(";")[0][:30] in " ".join(capsys.readouterr().out.split())
    with pytest.raises(FileFaults) as told:
        measured(what, {"nonsense": "1"})
    needed = [field for field in MEASUREMENTS[what].fields if field.needed and not field.default]
    assert len(told.value.faults) == 1 + len(needed)


def test_all_faults_of_a_line_come_at_once(capsys):
    assert run(["trials", "measure", "volume", "waterr=3", "temperature=soon"]) == 4
    said = capsys.readouterr().err
    for words in ("'waterr'", "measure volume: water", "measure volume: temperature: read 'soon'"):
        assert words in said
    assert run(["trials", "measure", "volume", "water"]) == 4


def test_the_command_knows_every_measurement():
    assert tuple(MEASUREMENTS) == _WORDS


def test_what_is_measured_can_be_noted_as_it_is_said(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    load = ("load=18.2 kg, 17.5 kg, 19.1 kg", "span=100 mm", "width=20 mm", "depth=20 mm")
    bent, _ = answers(capsys, "bar", *load)
    assert run(["trials", "add", *bent["note_as"], "strength 1 state=dry"]) == 0
    (trial,) = TrialBook(tmp_path / "trials.db").trials()
    assert (trial.strengths[0].kind, trial.strengths[0].method) == ("flexural", "bent bar")
