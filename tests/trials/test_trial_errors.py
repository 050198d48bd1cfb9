"""What can happen to the file of a book: each ends in our own error with a repair, and costs no trial.

Error codes are SQLite's (sqlite.org/rescode.html, from memory).
"""

from __future__ import annotations

import dataclasses
import os
import shutil
import sqlite3
import tempfile
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from trial_samples import FULL, HALF, TODAY

from optimizer.errors import VesselblendError
from optimizer.trials import files
from optimizer.trials.book import TrialBook
from optimizer.trials.exchange import export_trials
from optimizer.trials.salvage import salvage
from optimizer.trials.table_files import read_csv
from optimizer.trials.trial_errors import (
    BookBusy,
    BookDamaged,
    BookError,
    BookFull,
    BookNewer,
    BookReadOnly,
    NotABook,
)

ALL = [BookBusy, BookDamaged, BookFull, BookNewer, BookReadOnly, NotABook]


@pytest.fixture
def filled(book):
    book.enter([dataclasses.replace(FULL, id=f"t{number:03d}") for number in range(300)])
    return book


def test_errors_are_ours_with_exit_code_4():
    assert all(issubclass(kind, BookError) and issubclass(kind, VesselblendError) for kind in ALL)
    assert {kind.exit_code for kind in ALL} == {4}


def test_a_locked_book_says_so_and_keeps_what_it_has(filled):
    with closing(sqlite3.connect(filled.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(BookBusy, match=r"trials\.db: .*try again"):
            TrialBook(filled.path, timeout=0.1).add(HALF, TODAY)
        assert TrialBook(filled.path, timeout=0.1).count() == 300
    TrialBook(filled.path).add(HALF, TODAY)


@contextmanager
def _without_right_to_write(folder):
    """Take the right to write away; the administrator of a test machine first becomes somebody else."""
    modes = {path: path.stat().st_mode for path in (folder, *folder.iterdir())}
    for path in modes:
        path.chmod(0o555 if path.is_dir() else 0o444)
    administrator = os.geteuid() == 0
    if administrator:
        os.seteuid(65534)
    try:
        yield
    finally:
        if administrator:
            os.seteuid(0)
        for path, mode in modes.items():
            path.chmod(mode)


@pytest.fixture
def guarded(filled):
    """Give a folder that anybody may enter, with a copy of the filled book in it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        shutil.copy(filled.path, folder / "trials.db")
        yield folder


def test_a_read_only_book_can_be_read_and_exported(guarded, tmp_path):
    with _without_right_to_write(guarded):
        book = TrialBook(guarded / "trials.db", timeout=1.0)
        with pytest.raises(BookReadOnly, match="Copy the book"):
            book.add(HALF, TODAY)
        assert book.count() == 300
        kept = list(book.trials())
    export_trials(kept, tmp_path / "out.csv")
    assert len(read_csv(tmp_path / "out.csv", TODAY).trials) == 300


def test_a_read_only_book_with_an_unmerged_log_shows_the_log_too(guarded):
    with closing(sqlite3.connect(guarded / "trials.db", isolation_level=None)) as writer:
        writer.execute("SELECT count(*) FROM entry").fetchone()  # as long as it is open, the log stays
        book = TrialBook(guarded / "trials.db")
        book.add(HALF, TODAY)
        for ending in ("", "-wal"):
            shutil.copy(guarded / f"trials.db{ending}", guarded / f"copy.db{ending}")
    assert (guarded / "copy.db-wal").stat().st_size > 0
    with _without_right_to_write(guarded):
        assert TrialBook(guarded / "copy.db", timeout=1.0).count() == 301


def test_a_new_book_in_a_forbidden_folder(guarded):
    with _without_right_to_write(guarded), pytest.raises(BookReadOnly, match="Make the folder"):
        TrialBook(guarded / "new.db", timeout=1.0)


def test_a_missing_folder(tmp_path):
    with pytest.raises(BookReadOnly, match="Make the folder"):
        TrialBook(tmp_path / "nowhere" / "trials.db")


def test_a_folder_in_place_of_a_book(tmp_path):
    with pytest.raises(NotABook, match=r"a folder.*Name a file"):
        TrialBook(tmp_path)


def test_a_device_in_place_of_a_book():
    with pytest.raises(NotABook, match=r"a device or pipe.*Name a file"):
        TrialBook(Path("/dev/null"))


def test_a_full_disk_costs_only_the_entry(filled, monkeypatch):
    connect = files._connect

    def small_disk(path, mode, timeout):
        connection = connect(path, mode, timeout)
        connection.execute(
            "PRAGMA max_page_count = 1"
        )  # SQLite then answers SQLITE_FULL, as a full disk does
        return connection

    monkeypatch.setattr(files, "_connect", small_disk)
    with pytest.raises(BookFull, match="Free some room"):
        filled.enter([dataclasses.replace(FULL, id=f"n{number}") for number in range(200)])
    monkeypatch.undo()
    assert filled.count() == 300
    assert TrialBook(filled.path).add(HALF, TODAY)


def test_a_newer_book_is_left_alone(filled):
    with closing(sqlite3.connect(filled.path)) as connection:
        connection.execute("PRAGMA user_version = 99")
    before = filled.path.read_bytes()
    with pytest.raises(BookNewer, match=r"version 99.*Update this program"):
        TrialBook(filled.path)
    assert filled.path.read_bytes() == before


@pytest.mark.parametrize("content", [b"id,date\r\n1,2026-03-02\r\n", b"x" * 5000, b"SQLite form"])
def test_a_file_of_another_kind(tmp_path, content):
    path = tmp_path / "trials.db"
    path.write_bytes(content)
    with pytest.raises(NotABook, match="another kind"):
        TrialBook(path)
    assert path.read_bytes() == content


def test_a_database_of_another_program(tmp_path):
    path = tmp_path / "trials.db"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE somebody (else_s)")
    with pytest.raises(NotABook, match="another kind"):
        TrialBook(path)


def _overwrite(path, page, pages=1):
    with path.open("r+b") as file:
        file.seek(page * 4096)
        file.write(b"\xa5" * 4096 * pages)


def _table_pages(path, table):
    with closing(sqlite3.connect(path)) as connection:
        try:
            order = "SELECT pageno - 1 FROM dbstat WHERE name = ? AND pagetype = 'leaf' ORDER BY pageno"
            return [row[0] for row in connection.execute(order, (table,))]
        except sqlite3.OperationalError:
            pytest.skip("this SQLite does not tell which table a page belongs to")


def _merged(book):
    with closing(sqlite3.connect(book.path)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return book.path


def test_damage_is_found_on_opening_and_the_rest_can_be_exported(filled, tmp_path):
    path = _merged(filled)
    size = path.stat().st_size // 4096
    _overwrite(path, size // 2, 2)
    with pytest.raises(BookDamaged, match="Export what is readable"):
        TrialBook(path)
    before = path.read_bytes()
    found = salvage(path)
    assert path.read_bytes() == before
    assert len(found.trials) + len(found.partial) + len(found.lost) == 300
    assert all(dataclasses.replace(trial, id=FULL.id) == FULL for trial in found.trials)
    export_trials([*found.trials, *found.partial], tmp_path / "rest.csv")
    rest = read_csv(tmp_path / "rest.csv", TODAY)
    assert len(rest.trials) == len(found.trials) + len(found.partial)


@pytest.mark.parametrize("table", ["entry", "portion", "strength"])
def test_one_damaged_page_costs_only_its_own_rows(filled, table):
    path = _merged(filled)
    pages = _table_pages(path, table)
    _overwrite(path, pages[len(pages) // 2])
    found = salvage(path)
    spoiled = len(found.lost) if table == "entry" else len(found.partial)
    assert 0 < spoiled < 100
    assert len(found.trials) == 300 - spoiled


@pytest.mark.parametrize("share", [0.6, *(pytest.param(part, marks=pytest.mark.slow) for part in (0.3, 0.9))])
def test_a_cut_off_file(filled, share):
    path = _merged(filled)
    content = path.read_bytes()
    path.write_bytes(content[: int(len(content) * share) // 4096 * 4096])
    with pytest.raises(BookDamaged):
        TrialBook(path)
    try:
        found = salvage(path)
    except BookDamaged:
        return  # nothing readable is an answer too
    assert all(dataclasses.replace(trial, id=FULL.id) == FULL for trial in found.trials)


def test_a_healthy_book_is_salvaged_whole(filled):
    filled.withdraw("t001", "wrong")
    filled.correct(dataclasses.replace(FULL, id="t002", water=122.0), "scale", today=TODAY)
    found = salvage(filled.path)
    assert list(found.trials) == list(filled.trials())
    assert (found.partial, found.lost) == ((), ())
