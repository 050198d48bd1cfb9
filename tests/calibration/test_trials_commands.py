"""``trials fit`` and ``trials next`` from the command line, in this process."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path

import pytest

from optimizer.calibration.files import newest_calibration
from optimizer.trials.book import TrialBook
from optimizer.trials.records import Portion, Strength, Trial
from tests.calibration.studios import World
from ui.cli import run

FIVE_CASTS = Path(__file__).parents[1] / "trials" / "five_casts.csv"


@pytest.fixture
def studio(catalogue, tmp_path, monkeypatch):
    """Make a folder with a book of three trials."""
    world = World(catalogue, 51)
    book = TrialBook(tmp_path / "trials.db")
    for number in range(3):
        book.add(world.trial(number))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_fit_keeps_a_dated_file_and_says_how_to_undo_it(studio, capsys):
    assert run(["trials", "fit"]) == 0
    shown = capsys.readouterr()
    assert "3 trials" in shown.out
    assert "gypsum cement: strength" in shown.out
    assert "gamma" not in shown.out
    assert "gypsum_cement" not in shown.out
    path = newest_calibration(studio)
    assert path is not None
    assert str(path) in shown.err
    assert "remove that file" in shown.err


def test_a_look_writes_nothing(studio, capsys):
    assert run(["trials", "fit", "--dry-run", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["file"] is None
    assert data["trials"] == ["t000", "t001", "t002"]
    assert all(one["after"]["standard_error"] >= 0.0 for one in data["figures"])
    assert newest_calibration(studio) is None


def test_an_empty_book_gives_no_verdict(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    TrialBook(tmp_path / "trials.db")
    assert run(["trials", "fit"]) == 5
    assert "empty" in capsys.readouterr().err


def test_no_book_is_a_bad_file(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(["trials", "fit"]) == 4
    assert "no such file" in capsys.readouterr().err


def test_next_rests_on_the_newest_calibration(studio, capsys):
    (studio / "job.toml").write_text(JOB)
    assert run(["trials", "next", "job.toml", "--json"]) == 0
    before = json.loads(capsys.readouterr().out)
    assert run(["trials", "fit", "job.toml"]) == 0
    capsys.readouterr()
    assert run(["trials", "next", "job.toml", "--json"]) == 0
    after = json.loads(capsys.readouterr().out)
    assert set(before["weigh"]) == {*before["blend"], "water"}
    mixed = sum(before["weigh"].values())
    # three molds of 215 mL with 8 % waste, of slurry of some 1.7 to 2.1 g/mL
    assert 1.6 < mixed / (3 * 215 * 1.08) < 2.2
    assert "dry_strength" in before["measure"]
    assert before["worth"]["vessels"] == 300
    assert before["calibration"] is None
    assert after["calibration"] == str(newest_calibration(studio))
    assert run(["trials", "next", "job.toml"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert ("No cast is worth its cost" in said) == after["stop"]


def test_what_moved_away_is_explained(tmp_path, monkeypatch, capsys):
    """A late final set beside a first one as expected: the two readings pull apart, and the fit says so."""
    monkeypatch.chdir(tmp_path)
    weak = Strength(15.0, 10_080.0, "dry", "compressive", "cube")
    lean = (Portion("gypsum_cement", 1150.0), Portion("silica_sand", 950.0))
    trial = Trial(dt.date(2026, 3, 2), "L1", lean, 428.0, demold=60.0, strengths=(weak,))
    torn = replace(trial, initial_set=20.0, final_set=58.0)
    unknown = Strength(36.0, 10_080.0)
    TrialBook(tmp_path / "trials.db").add(torn)
    TrialBook(tmp_path / "trials.db").add(replace(trial, id="L2", demold=None, strengths=(unknown,)))
    (tmp_path / "job.toml").write_text(JOB.replace('"215 mL"', '"190 mL"\nwall = "5 mm"'))
    assert run(["trials", "fit", "job.toml", "--dry-run"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "initial set: moved further off, pulled by final set of L1" in shown
    assert "L2: strength: note whether the piece tested was wet or dry" in shown
    assert run(["trials", "fit", "job.toml", "--dry-run", "--json"]) == 0
    read = {one["reading"]: one for one in json.loads(capsys.readouterr().out)["readings"]}
    assert read["demold"]["bound"] == "<="
    assert read["initial_set"]["worse"]
    assert read["initial_set"]["pulled_by"] == [{"trial": "L1", "reading": "final_set"}]


JOB = """
title = "Small tumbler"
currency = "EUR"
materials = ["gypsum_cement", "marble_flour"]
example_prices = true
[vessel]
cavity_volume = "215 mL"
[limits]
dry_strength = ">= 25 MPa"
[prices.gypsum_cement]
pack = "25 kg"
price = 41.50
[prices.marble_flour]
pack = "25 kg"
price = 14.00
"""


def test_an_unknown_powder_is_refused_with_the_nearest_name(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "casts.csv").write_text(
        "id,date,water [g],powder 1 material,powder 1 mass [g],demold [min]\n"
        "A1,2026-03-02,100,gypsum_cement,300,35\n"
        "A2,2026-03-03,100,gipsum cement,300,36\n"
    )
    assert run(["trials", "import", "casts.csv"]) == 4
    said = capsys.readouterr().err
    assert "row 3" in said
    assert "gypsum_cement" in said
    assert run(["trials", "import", "casts.csv", "--leave-out-faulty"]) == 0
    assert "1 added" in capsys.readouterr().out
    assert [trial.id for trial in TrialBook(tmp_path / "trials.db").trials()] == ["A1"]


def test_rows_left_out_are_counted_once_each(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "casts.csv").write_text(
        "id,date,water [g],powder 1 material,powder 1 mass [g],humidity [fraction]\n"
        "A1,2026-03-02,100,gypsum_cement,300,0.5\n"
        "A2,2026-03-03,-5,gypsum_cement,-300,150 %\n"
    )
    assert run(["trials", "import", "casts.csv", "--leave-out-faulty"]) == 0
    assert "1 added, 0 corrected, 0 unchanged, 1 left out" in capsys.readouterr().out


def test_nothing_to_enter_is_no_trial(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(["trials", "add"]) == 4
    assert "at least one mass or reading" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.fixture
def five_casts(tmp_path, monkeypatch, capsys):
    """Make a folder with the demo job and a book of five invented casts."""
    monkeypatch.chdir(tmp_path)
    assert run(["trials", "import", str(FIVE_CASTS)]) == 0
    assert run(["init", "tumbler.toml", "--demo"]) == 0
    capsys.readouterr()


def test_every_reading_is_shown_before_now_and_seen(five_casts, capsys):
    assert run(["trials", "fit", "tumbler.toml", "--dry-run", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    kinds = {one["reading"] for one in data["readings"]}
    assert {"demold", "dry_share", "demolded_mass", "casting_peak", "final_set"} <= kinds
    assert len(data["readings"]) == 45
    assert all(one["before"] is not None and one["after"] is not None for one in data["readings"])
    worse = {one["trial"] for one in data["readings"] if one["worse"]}
    assert run(["trials", "fit", "tumbler.toml", "--dry-run"]) == 0
    shown = capsys.readouterr().out
    assert worse
    assert "further off than before" in " ".join(shown.split())
    assert "out at 50 min" in shown
    assert shown.count("hottest while setting") >= 7, "five casts, and a row in each of two tables"


def test_five_casts_change_the_recipe_and_name_the_next(five_casts, capsys):
    """The way of a newcomer: import, fit, design with and without what was learned, next cast."""
    assert run(["trials", "fit", "tumbler.toml"]) == 0
    capsys.readouterr()
    assert run(["design", "tumbler.toml", "--json", "--calibration", "none"]) in (0, 5)
    shipped = json.loads(capsys.readouterr().out)
    assert run(["design", "tumbler.toml", "--json", "--calibration", "."]) in (0, 5)
    learned = json.loads(capsys.readouterr().out)
    blends = [answer["blend"] for answer in (shipped, learned)]
    names = {name for blend in blends for name in blend}
    assert max(abs(blends[0].get(name, 0.0) - blends[1].get(name, 0.0)) for name in names) > 0.01
    assert run(["trials", "next", "tumbler.toml"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "white CSA cement" in said
    assert "Measure" in said
    for left in ("gypsum_cement", "1 % to 1 %"):
        assert left not in said


def test_a_peak_without_a_job_says_what_is_missing(five_casts, capsys):
    assert run(["trials", "fit", "--dry-run", "--json"]) == 0
    reasons = [one["reason"] for one in json.loads(capsys.readouterr().out)["unused"]]
    assert any("how hot it sets depends on its wall" in reason for reason in reasons)
