"""A trial book with a changed byte: what is damaged is named, and nothing else is lost or altered."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest

from optimizer.trials import files
from optimizer.trials.book import TrialBook
from optimizer.trials.salvage import salvage
from optimizer.trials.trial_errors import BookDamaged
from tests.trust.flipped_bytes import BAD, ended, flips, sample
from ui.cli import run


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    return sample(tmp_path_factory.mktemp("book"), 12)


@pytest.fixture
def path(book, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "120")  # a narrow terminal breaks a name over two lines
    (tmp_path / "trials.db").write_bytes(book.content)
    return tmp_path / "trials.db"


def change(path, statement, table="entry"):
    """Change a row behind the back of the book, as damage does; the definitions end as they were."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        order = "SELECT sql FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = ?"
        made = [row[0] for row in connection.execute(order, (table,))]
        for trigger in made:
            connection.execute(f"DROP TRIGGER {trigger.split()[2]}")
        connection.execute(statement)
        for trigger in made:
            connection.execute(trigger)


@pytest.mark.parametrize(
    ("table", "statement", "id"),
    [
        ("entry", "UPDATE entry SET water = 99 WHERE id = 't03'", "t03"),
        ("entry", "UPDATE entry SET withdrawn = 0 WHERE id = 't07' AND revision = 2", "t07"),
        ("entry", "UPDATE entry SET withdrawn = 1 WHERE id = 't03'", "t03"),
        ("entry", "UPDATE entry SET reason = 'no reason' WHERE id = 't05' AND revision = 2", "t05"),
        ("entry", "UPDATE entry SET remarks = CAST(x'70ff75' AS TEXT) WHERE id = 't03'", "t03"),
        ("entry", "UPDATE entry SET date = 'no day' WHERE id = 't03'", "t03"),
        ("strength", "UPDATE strength SET value = 99 WHERE entry = 1", "t00"),
        ("weighing", "DELETE FROM weighing WHERE entry = 1 AND place = 1", "t00"),
    ],
)
def test_a_changed_trial_is_named_and_counts_nowhere(path, book, capsys, table, statement, id):
    change(path, statement, table)
    kept = TrialBook(path)
    assert kept.damaged() == (id,)
    expected = [v.trial for v in book.newest.values() if not v.void and v.trial.id != id]
    assert list(kept.trials()) == expected
    assert not kept.get(id).counts
    assert run(["trials", "list"]) == 0
    listed = capsys.readouterr()
    assert f"{id} (damaged)" in listed.out
    assert id in listed.err
    assert run(["trials", "fit", "--dry-run", "--json"]) in (0, 5)
    assert f"counted nowhere: {id}." in capsys.readouterr().err
    assert run(["trials", "export", "out.csv"]) == 4
    assert f"counted nowhere: {id}." in capsys.readouterr().err
    assert run(["trials", "import", "out.csv", "--book", "new.db"]) == 0
    assert id not in {trial.id for trial in TrialBook(path.with_name("new.db")).trials()}
    assert id in {version.trial.id for version in TrialBook(path.with_name("new.db")).versions()}


def test_a_correction_brings_a_damaged_trial_back(path):
    change(path, "UPDATE entry SET water = 99 WHERE id = 't03'")
    assert run(["trials", "add", "--correct", "t03", "water=123 g", "--reason", "from my notes"]) == 0
    assert TrialBook(path).damaged() == ()
    assert TrialBook(path).get("t03").counts


@pytest.mark.parametrize("lost", ["t07", "t05"])
def test_a_trial_with_a_lost_version_comes_back_as_void_by_its_id(path, lost):
    """The row of the newest version is gone, the index still knows it: what was void stays void."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        row = connection.execute("SELECT number FROM entry WHERE id = ? AND revision = 2", (lost,)).fetchone()
    change(path, f"DELETE FROM entry WHERE number = {row[0]}")
    with pytest.raises(BookDamaged, match="entries are missing"):
        TrialBook(path)
    found = salvage(path)
    assert lost not in {trial.id for trial in found.trials}
    assert lost in {trial.id for trial in found.partial}
    assert found.lost == (row[0],)


@pytest.mark.parametrize(
    "change_of",
    [
        "CREATE VIEW current AS SELECT * FROM latest WHERE withdrawn = 1",
        "CREATE VIEW current AS SELECT * FROM entry",
    ],
)
def test_a_changed_definition_is_damage(path, change_of):
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("DROP VIEW current")
        connection.execute(change_of)
    with pytest.raises(BookDamaged, match="definition of 'current'"):
        TrialBook(path)
    assert len(salvage(path).trials) == 10


@pytest.mark.parametrize("place", [0, 5, 17, 20, 47, 59, 62, 68, 71])
def test_a_changed_head_is_no_internal_error_and_mostly_rescued(book, tmp_path, place):
    assert ended(book, place, book.content[place] ^ 1, tmp_path) not in BAD


def test_a_large_book_is_looked_through_when_all_of_it_is_read(path, monkeypatch):
    monkeypatch.setattr(files, "CHECKED_UP_TO", 0)
    change(path, "DELETE FROM entry WHERE id = 't05' AND revision = 2")
    kept = TrialBook(path)
    for read in (kept.trials, kept.versions):
        with pytest.raises(BookDamaged, match="entries are missing"):
            list(read())


def test_flipped_bytes_change_nothing_without_a_word():
    assert not flips(6, seed=3).keys() & set(BAD)


@pytest.mark.slow
def test_a_thousand_flipped_bytes_change_nothing_without_a_word():
    assert not flips(1000).keys() & set(BAD)
