"""kill -9 in the middle of an import: nothing acknowledged is lost, no half trial is left.

SQLite's ``integrity_check`` judges the file; the fingerprint taken on writing judges each trial.
"""

from __future__ import annotations

import dataclasses
import os
import random
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest
from trial_samples import FULL

from optimizer.trials.book import TrialBook
from optimizer.trials.exchange import export_trials

ROWS = 400
CHUNK = 5
PROGRAM = Path(__file__).with_name("import_until_killed.py")


@pytest.fixture(scope="module")
def table(tmp_path_factory):
    file = tmp_path_factory.mktemp("table") / "notebook.csv"
    export_trials(
        [dataclasses.replace(FULL, id=f"t{number:04d}", water=number / 7) for number in range(1, ROWS + 1)],
        file,
    )
    return file


def _start(book, table):
    environment = os.environ | {"PYTHONPATH": str(PROGRAM.parents[2])}
    arguments = [sys.executable, str(PROGRAM), str(book), str(table), str(CHUNK)]
    return subprocess.Popen(arguments, stdout=subprocess.PIPE, text=True, env=environment)


def _kill_after_some(book, table, chance):
    """Let it acknowledge some chunks, wait a moment more, and kill it; return what it acknowledged."""
    program = _start(book, table)
    told = []
    lines = chance.randint(-15, 60)
    if lines <= 0:  # now and then before the first word: while the book itself is being made
        time.sleep(chance.uniform(0.2, 1.5))
    for _ in range(lines):
        line = program.stdout.readline()
        if not line:
            break
        told.append(line.strip())
    time.sleep(chance.uniform(0.0, 0.02))
    program.kill()
    rest, _ = program.communicate()
    told += rest.split("\n")[:-1]  # a last line without its end was not wholly said
    return {word for word in told if word not in ("", "done")}


def _kill(times, book, table, seed):
    chance = random.Random(seed)
    acknowledged = set()
    for _ in range(times):
        acknowledged |= _kill_after_some(book, table, chance)
        _check(book, acknowledged)
        if len(acknowledged) == ROWS:  # all in: begin a new book
            book, acknowledged = book.with_name(f"{book.stem}x.db"), set()
    return book


def _check(path, acknowledged):
    if not path.exists() or path.stat().st_size == 0:
        assert not acknowledged
        return
    book = TrialBook(path)
    held = list(book.trials())
    assert acknowledged <= {trial.id for trial in held}
    assert len(held) % CHUNK == 0
    assert all(dataclasses.replace(trial, id=FULL.id, water=FULL.water) == FULL for trial in held)
    assert all(trial.water == int(trial.id[1:]) / 7 for trial in held)
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def _assert_finishes(book, table):
    output, _ = _start(book, table).communicate()
    assert output.endswith("done\n")
    assert len(list(TrialBook(book).trials())) == ROWS


def test_ten_kills(tmp_path, table):
    _assert_finishes(_kill(10, tmp_path / "trials.db", table, seed=1), table)


@pytest.mark.slow
def test_two_hundred_kills(tmp_path, table):
    _assert_finishes(_kill(200, tmp_path / "trials.db", table, seed=2), table)
