"""Files are written whole or not at all, in the place and with the rights they had, and never over a book."""

from __future__ import annotations

import os
import stat
import threading
from pathlib import Path

import pytest

from optimizer import outputs
from optimizer.errors import FileFaults
from optimizer.outputs import check_output, create_whole, write_whole
from optimizer.trials.book import TrialBook
from optimizer.trials.table_files import write_csv, write_xlsx

posix = pytest.mark.skipif(os.name == "nt", reason="rights, pipes and links as POSIX has them")


def test_a_trial_book_is_known_by_its_header_under_any_name(tmp_path):
    book = tmp_path / "notes.csv"
    TrialBook(book)
    before = book.read_bytes()
    (tmp_path / "link.csv").symlink_to(book)
    os.link(book, tmp_path / "hard.csv")
    for name in ("notes.csv", "link.csv", "hard.csv", "../" + tmp_path.name + "/notes.csv"):
        for write in (lambda path: write_whole(path, b"x"), lambda path: write_csv([], path)):
            with pytest.raises(FileFaults, match="never written over"):
                write(tmp_path / name)
    with pytest.raises(FileFaults, match="a trial book"):
        write_xlsx([], book)
    assert book.read_bytes() == before


def test_a_book_whose_first_bytes_are_damaged_is_still_known_and_so_are_its_companions(tmp_path):
    book = tmp_path / "trials.db"
    TrialBook(book)
    log = tmp_path / "trials.db-wal"
    log.write_bytes(b"pages not merged yet")
    with pytest.raises(FileFaults, match="a part of a trial book"):
        write_whole(log, b"x")
    book.write_bytes(b"XX" + book.read_bytes()[2:])
    with pytest.raises(FileFaults, match="a trial book"):
        write_whole(book, b"x")
    assert log.read_bytes() == b"pages not merged yet"


def test_an_input_is_known_by_links_and_other_spellings_and_before_it_exists(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    job = tmp_path / "job.toml"
    job.write_text("x")
    (tmp_path / "linked.toml").symlink_to("job.toml")
    os.link(job, tmp_path / "hard.toml")
    (tmp_path / "folder").symlink_to(tmp_path)
    for name in ("job.toml", "./job.toml", "linked.toml", "hard.toml", "folder/job.toml", str(job)):
        with pytest.raises(FileFaults, match="the job itself"):
            check_output(Path(name), [("job", job)])
    with pytest.raises(FileFaults, match="the trial book itself"):
        check_output(Path("folder/new.db"), [("trial book", Path("new.db"))])
    check_output(Path("answer.toml"), [("job", job), ("trial book", Path("new.db"))])


def test_the_files_of_a_folder_that_is_read_are_inputs(tmp_path):
    own = tmp_path / "chalk.toml"
    own.write_text("x")
    with pytest.raises(FileFaults, match="the spec file itself"):
        check_output(own, [("spec file", tmp_path)])
    check_output(tmp_path / "answer.txt", [("spec file", tmp_path)])


@posix
def test_rights_and_links_stay_and_a_new_file_gets_the_usual_rights(tmp_path):
    kept = tmp_path / "kept.txt"
    kept.write_text("before")
    kept.chmod(0o640)
    link = tmp_path / "link.txt"
    link.symlink_to("kept.txt")
    write_whole(link, b"after")
    assert (kept.read_text(), link.is_symlink()) == ("after", True)
    assert stat.S_IMODE(kept.stat().st_mode) == 0o640
    before = os.umask(0o027)
    try:
        write_whole(tmp_path / "new.txt", b"new")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "new.txt").stat().st_mode) == 0o640


@posix
def test_a_pipe_is_written_to_and_stays_a_pipe(tmp_path):
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    got: list[bytes] = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_bytes()), daemon=True)
    reader.start()
    write_csv([], pipe)
    reader.join(timeout=30)
    assert got
    assert got[0].startswith(b"id,")
    assert stat.S_ISFIFO(pipe.stat().st_mode)


@posix
@pytest.mark.skipif(os.name != "nt" and os.geteuid() == 0, reason="root may write everything")
def test_a_file_marked_read_only_is_left_alone(tmp_path):
    path = tmp_path / "kept.txt"
    path.write_text("before")
    path.chmod(0o444)
    with pytest.raises(FileFaults, match="may not be written"):
        write_whole(path, b"after")
    assert path.read_text() == "before"


def test_a_full_disk_costs_no_older_file_and_leaves_no_draft(tmp_path, monkeypatch):
    path = tmp_path / "answer.txt"
    path.write_text("before")

    def full(_descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(outputs.os, "fsync", full)
    for write in (write_whole, create_whole):
        with pytest.raises(FileFaults, match="No space left on device"):
            write(path if write is write_whole else tmp_path / "new.txt", b"after")
    assert path.read_text() == "before"
    assert list(tmp_path.iterdir()) == [path]


def test_content_is_on_the_disk_before_the_name_and_the_name_before_the_return(tmp_path, monkeypatch):
    """The order is that of the POSIX rationale of `fsync`: file, rename, folder."""
    steps: list[str] = []
    sync, rename = os.fsync, Path.replace

    def noted_sync(descriptor):
        steps.append("folder" if stat.S_ISDIR(os.fstat(descriptor).st_mode) else "file")
        sync(descriptor)

    def noted_rename(self, target):
        steps.append("rename")
        return rename(self, target)

    monkeypatch.setattr(outputs.os, "fsync", noted_sync)
    monkeypatch.setattr(Path, "replace", noted_rename)
    write_whole(tmp_path / "answer.txt", b"x")
    assert steps == ["file", "rename", "folder"]


@pytest.mark.parametrize("links", [True, False])
def test_a_new_file_never_takes_the_place_of_another(tmp_path, monkeypatch, links):
    if not links:

        def no_links(*_):
            raise OSError(1, "Operation not permitted")

        monkeypatch.setattr(outputs.os, "link", no_links)
    path = tmp_path / "calibration-2026-03-02-a.toml"
    won: list[int] = []
    at_once = threading.Barrier(8)

    def make(number):
        at_once.wait()
        if create_whole(path, f"{number}".encode()):
            won.append(number)

    threads = [threading.Thread(target=make, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert path.read_text() == f"{won[0]}"
    assert len(won) == 1
    assert list(tmp_path.iterdir()) == [path]


def test_what_is_half_written_has_a_name_nothing_reads(tmp_path, monkeypatch):
    names: list[str] = []
    sync = os.fsync

    def noted(descriptor):
        names.extend(path.name for path in tmp_path.iterdir())
        sync(descriptor)

    monkeypatch.setattr(outputs.os, "fsync", noted)
    create_whole(tmp_path / "calibration-2026-03-02-a.toml", b"x")
    drafts = {name for name in names if name != "calibration-2026-03-02-a.toml"}
    assert drafts
    assert all(name.startswith(".") and name.endswith(".tmp") for name in drafts)
