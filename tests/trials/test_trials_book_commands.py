"""``trials add --correct``, ``void``, ``show``, ``trace``, ``columns`` and ``export``, in this process."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from optimizer.trials.book import TrialBook
from optimizer.trials.table_files import read_csv_text
from ui.cli import run

FIVE_CASTS = Path(__file__).with_name("five_casts.csv")


@pytest.fixture
def studio(tmp_path, monkeypatch, capsys):
    """Make a folder whose book holds five invented casts."""
    monkeypatch.chdir(tmp_path)
    assert run(["trials", "import", str(FIVE_CASTS)]) == 0
    capsys.readouterr()
    return tmp_path


def test_a_correction_replaces_what_is_typed_and_keeps_the_rest(studio, capsys):
    typed = ["trials", "add", "--correct", "A2", "demold=52.5 min", "casting_peak=", "--reason", "misread"]
    assert run([*typed, "mass of silica_sand=290 g"]) == 0
    book = TrialBook(studio / "trials.db")
    before, after = (entry.trial for entry in book.history("A2"))
    assert (before.demold, after.demold, after.casting_peak, after.water) == (55.0, 52.5, None, 200.0)
    assert after.portions[1].mass == 290.0
    assert len(after.portions) == 2
    capsys.readouterr()
    assert run(["trials", "show", "A2"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "demold [min] 55.0 to 52.5" in shown
    assert "Reason: misread" in shown


def test_a_void_trial_stays_in_the_book_and_no_longer_counts(studio, capsys):
    assert run(["trials", "void", "A3", "--reason", "wet bag"]) == 0
    book = TrialBook(studio / "trials.db")
    assert book.count() == 4
    assert [entry.withdrawn for entry in book.history("A3")] == [False, True]
    capsys.readouterr()
    assert run(["trials", "list", "--void", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert [one["trial"]["id"] for one in listed["trials"] if one["void"]] == ["A3"]
    assert run(["trials", "fit", "--dry-run", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["trials"] == ["A1", "A2", "A4", "A5"]


def test_an_export_carries_history_and_the_other_book_is_the_same(studio, capsys):
    assert run(["trials", "add", "--correct", "A1", "remarks==x", "--reason", "@reason"]) == 0
    assert run(["trials", "void", "A1", "--reason", "spilled"]) == 0
    assert run(["trials", "export", "all.csv"]) == 0
    assert run(["trials", "import", "all.csv", "--book", "other.db"]) == 0
    one, other = TrialBook(Path("trials.db")), TrialBook(Path("other.db"))
    assert list(one.versions()) == list(other.versions())
    capsys.readouterr()
    assert run(["trials", "export", "--current"]) == 0
    assert [trial.id for trial in read_csv_text(capsys.readouterr().out).trials] == ["A2", "A3", "A4", "A5"]


def test_a_damaged_book_is_exported_as_far_as_it_can_be_read(studio, capsys):
    path = studio / "trials.db"
    content = bytearray(path.read_bytes())
    page = int.from_bytes(content[16:18], "big")
    with closing(sqlite3.connect(path)) as connection:
        root = connection.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'weighing'").fetchone()[0]
    content[(root - 1) * page : root * page] = b"\xff" * page
    path.write_bytes(content)
    assert run(["trials", "export", "saved.csv"]) == 4
    said = capsys.readouterr().err
    assert "damaged" in said
    assert "Newest versions written" in said
    assert "A1, A2, A3, A4, A5" in said
    rows = read_csv_text((studio / "saved.csv").read_text()).versions
    assert [(row.trial.id, row.void) for row in rows] == [(f"A{number}", True) for number in range(1, 6)]


def test_bags_and_vessels_are_followed_both_ways(studio, capsys):
    assert run(["trials", "add", "--correct", "A2", "labels=V-1 V-2"]) == 0
    capsys.readouterr()
    assert run(["trials", "trace", "--lot", "G-17", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["batches"] == ["A1", "A2", "A4", "A5"]
    assert found["vessels"] == ["V-1", "V-2"]
    assert run(["trials", "trace", "--vessel", "V-2", "--json"]) == 0
    assert {"material": "gypsum_cement", "lot": "G-17"} in json.loads(capsys.readouterr().out)["bags"]
    assert run(["trials", "trace"]) == 2


def test_an_empty_table_holds_the_header_and_imports_as_nothing(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(["trials", "columns", "--empty", "-o", "empty.csv"]) == 0
    assert (tmp_path / "empty.csv").read_text().startswith("id,date,")
    assert run(["trials", "import", "empty.csv"]) == 0
    assert not (tmp_path / "trials.db").exists()


def test_every_column_has_a_meaning(capsys):
    from ui.trial_text import MEANINGS, column_rows

    names = [name for name, _ in column_rows()]
    assert len(names) == len(MEANINGS) == len(set(names))


def test_what_is_typed_wrong_is_told_at_once_and_leaves_no_book(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(["trials", "add", "demold=soon", "water=-3 g", "watre=5 g", "powder 1=gipsum", "x"]) == 4
    said = capsys.readouterr().err
    for words in ("column 'demold'", "column 'water': read '-3 g'", "'watre'", "name=value"):
        assert words in said
    assert not (tmp_path / "trials.db").exists()


@pytest.mark.parametrize("typed", ["38.5 min", "38,5 min", "0.6416666666666667 h"])
def test_decimal_point_and_comma_are_both_read(tmp_path, monkeypatch, typed):
    monkeypatch.chdir(tmp_path)
    assert run(["trials", "add", f"demold={typed}"]) == 0
    (trial,) = TrialBook(tmp_path / "trials.db").trials()
    assert trial.demold == pytest.approx(38.5)


def test_what_a_trial_teaches_is_said_as_it_is_entered(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(["trials", "add", "demold=38 min"]) == 0
    assert "weigh the powders" in capsys.readouterr().out
    assert run(["trials", "add", "demold=38 min", "--weighed", "gypsum_cement=300, water=105"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "It teaches: demold time." in shown
    assert "The fit takes: time out of the mold (an upper bound)." in shown
    assert "leaves it out" not in shown


def test_what_the_fit_leaves_out_is_said_at_entry(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    weighed = ["--weighed", "gypsum_cement=300, water=105"]
    typed = ["date=2026-03-02", "strength 1 value=36 MPa", "strength 1 age=7 d"]
    typed += ["weighing 1 mass=316 g", "weighing 1 age=6 d"]
    assert run(["trials", "add", *typed, *weighed]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "The fit takes nothing of it yet." in shown
    for words in ("strength: note whether the piece", "measure what one mold holds", "weigh again a day"):
        assert words in shown
    assert "nothing was measured" not in shown
    assert run(["trials", "add", "whiteness=88", *typed, *weighed, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["counts"] == ["whiteness L*"]
    assert len(data["does_not_count"]) == 3
    assert run(["trials", "add", "demold=58 min", "strength 1 age=7 d", "strength 1 value=36 MPa"]) == 4
    assert "less than 1 d" in capsys.readouterr().err


def test_the_example_table_is_read_whole(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(["trials", "columns", "--example", "-o", "casts.csv"]) == 0
    assert run(["trials", "import", "casts.csv", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["added"] == 6
    assert [trial.id for trial in TrialBook(tmp_path / "trials.db").trials()] == [
        f"A{k}" for k in range(1, 7)
    ]
