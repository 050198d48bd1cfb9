"""Writers that are killed, many at once, and a full disk: nothing said to be done is lost."""

from __future__ import annotations

import os
import subprocess

import pytest

from optimizer.trials.book import TrialBook
from optimizer.trials.trial_errors import BookError
from tests.trust.flipped_bytes import invented, sample
from tests.trust.kills import trial
from ui.cli import run


@pytest.mark.slow
def test_kills_and_writers_at_once_cost_nothing():
    assert trial(kills=70, writers=20).faults == []


@pytest.fixture
def small_disk(tmp_path):
    """Give a disk of 400 kB, where the machine lets us make one."""
    if os.name != "posix" or os.geteuid() != 0:
        pytest.skip("only the administrator may make a small disk")
    disk = tmp_path / "disk"
    disk.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=400k", "tmpfs", disk], capture_output=True, check=False
    )
    if made.returncode:
        pytest.skip("this machine makes no small disk")
    yield disk
    subprocess.run(["umount", disk], check=True)


def test_a_full_disk_still_lets_the_book_be_read(small_disk, capsys):
    book = sample(small_disk, 6)
    path = small_disk / "sample.db"
    with pytest.raises(OSError, match="No space"):
        (small_disk / "filler").write_bytes(b"x" * 400_000)
    assert list(TrialBook(path).versions()) == list(book.versions)
    for words in (("list",), ("export",), ("show", "t01")):
        assert run(["trials", *words, "--book", str(path)]) == 0
    assert "t01" in capsys.readouterr().out
    with pytest.raises(BookError, match=r"[Ff]ree some room|may write"):
        TrialBook(path).add(invented(50))
    assert run(["trials", "export", str(small_disk / "out.csv"), "--book", str(path)]) == 4
    (small_disk / "filler").unlink()
    assert list(TrialBook(path).versions()) == list(book.versions)
