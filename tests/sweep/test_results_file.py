"""Files of rows: whole lines only, whatever happens; go on where it stopped; one writer at a time."""

from __future__ import annotations

import csv
import os

import pytest

from optimizer.errors import FileFaults
from optimizer.sweep import CsvResults, ParquetResults, results_at

COLUMNS = (("scenario", False), ("job", False), ("price", True), ("status", False))
JOB = "0123456789abcdef"


def key(number):
    return f"{number:016x}"


def row(number, price=1.5, status="designed"):
    return (key(number), JOB, price, status)


def rows_of(path):
    with path.open(newline="") as file:
        return list(csv.reader(file))


def filled(path, count=3):
    results = results_at(path, COLUMNS, JOB)
    for number in range(count):
        results.append(row(number))
    results.close()
    return path


def test_rows_are_on_the_disk_when_append_returns(tmp_path):
    path = tmp_path / "out.csv"
    results = CsvResults(path, COLUMNS, JOB)
    for number in range(3):
        results.append(row(number, 1 / 3))
        assert rows_of(path)[1:][number] == [key(number), JOB, "0.333333", "designed"]
    results.close()


@pytest.mark.parametrize("cut", range(1, 60, 7))
def test_a_line_cut_short_is_designed_again_not_doubled(tmp_path, cut):
    path = filled(tmp_path / "out.csv")
    whole = path.read_bytes()
    os.truncate(path, len(whole) - cut)
    results = results_at(path, COLUMNS, JOB)
    missing = {0, 1, 2} - results.done
    assert missing
    for number in sorted(missing):
        results.append(row(number))
    results.close()
    assert path.read_bytes() == whole


@pytest.mark.parametrize("size", [0, 5])
def test_a_file_without_a_whole_header_begins_anew(tmp_path, size):
    path = tmp_path / "out.csv"
    path.write_bytes(b"scena"[:size])
    results_at(path, COLUMNS, JOB).close()
    assert rows_of(path) == [[name for name, _ in COLUMNS]]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda _: "my notes, one line without an end", "other columns"),
        (lambda text: f"{text}my notes", "a row 5 of something else"),
        (lambda text: f"{text}{key(4)},my notes", "a row 5 of something else"),
        (lambda text: f"{text}{key(4)[:9]},", "a row 5 of something else"),
        (lambda text: text.replace("price", "weight"), "other columns"),
        (lambda text: text.replace(JOB, "f" * 16), "another job"),
        (lambda text: text.replace(",designed", "", 1), "a damaged row 2"),
        (lambda text: text.replace(key(1), "no key"), "a damaged row 3"),
        (lambda text: "my,own,notes\n1,2,3\n", "other columns"),
    ],
)
def test_files_of_something_else_are_refused_and_left_alone(tmp_path, change, words):
    path = filled(tmp_path / "out.csv")
    path.write_text(change(path.read_text()))
    before = path.read_bytes()
    with pytest.raises(FileFaults, match=words):
        results_at(path, COLUMNS, JOB)
    assert path.read_bytes() == before


def test_one_writer_at_a_time(tmp_path):
    path = tmp_path / "out.csv"
    first = results_at(path, COLUMNS, JOB)
    with pytest.raises(FileFaults, match="in use by another sweep"):
        results_at(path, COLUMNS, JOB)
    first.close()
    results_at(path, COLUMNS, JOB).close()


@pytest.mark.parametrize("name", ["nowhere/out.csv", "nowhere/out.parquet", "folder"])
def test_a_file_that_cannot_be_is_a_fault(tmp_path, name):
    (tmp_path / "folder").mkdir()
    with pytest.raises(FileFaults, match="a file to write"):
        results_at(tmp_path / name, COLUMNS, JOB)


def test_a_full_disk_takes_the_half_line_back(tmp_path, monkeypatch):
    path = filled(tmp_path / "out.csv", 2)
    before = path.read_bytes()
    results = CsvResults(path, COLUMNS, JOB)
    real = results._file

    class Full:
        def write(self, line):
            return real.write(line[:10])  # the disk took ten bytes

        def __getattr__(self, name):
            return getattr(real, name)

    monkeypatch.setattr(results, "_file", Full())
    with pytest.raises(FileFaults, match="No space"):
        results.append(row(7))
    assert path.read_bytes() == before
    assert 7 not in results.done
    real.close()


@pytest.mark.parametrize("sign", list("=+-@"))
def test_no_cell_is_a_formula_but_numbers_stay_numbers(tmp_path, sign):
    path = tmp_path / "out.csv"
    results = CsvResults(path, COLUMNS, JOB)
    results.append(row(1, -3.25, f"{sign}1+1"))
    results.close()
    assert rows_of(path)[1][2:] == ["-3.25", f"'{sign}1+1"]


def parts(folder, part_rows=2):
    return ParquetResults(folder, COLUMNS, JOB, part_rows)


def read_parts(folder):
    import pyarrow.parquet as pq

    return sorted(pq.read_table(folder).to_pylist(), key=lambda each: each["scenario"])


def test_parquet_parts_hold_every_row_once(tmp_path):
    folder = tmp_path / "out.parquet"
    results = parts(folder)
    for number in range(5):
        results.append(row(number, None if number == 3 else number / 7, "=1+1"))
    results.close()
    assert sorted(path.name for path in folder.iterdir()) == [f"part-{k:06d}.parquet" for k in (1, 2, 3)]
    expected = [(key(n), JOB, None if n == 3 else n / 7, "=1+1") for n in range(5)]
    assert [tuple(each.values()) for each in read_parts(folder)] == expected


def test_a_parquet_folder_goes_on_after_a_kill(tmp_path):
    folder = tmp_path / "out.parquet"
    killed = parts(folder)
    for number in range(3):
        killed.append(row(number))
    killed._journal.close()  # the process is gone; a part and a journal of one row stay
    results = parts(folder)
    assert results.done == {0, 1, 2}
    results.append(row(3))
    results.close()
    assert [each["scenario"] for each in read_parts(folder)] == [key(n) for n in range(4)]


def test_a_kill_between_part_and_journal_doubles_nothing(tmp_path):
    folder = tmp_path / "out.parquet"
    killed = parts(folder)
    killed._journal.clear = lambda: (_ for _ in ()).throw(KeyboardInterrupt)  # killed just after the part
    killed.append(row(0))
    with pytest.raises(KeyboardInterrupt):
        killed.append(row(1))
    killed._journal.close()
    assert len(rows_of(folder / "_rows.csv")) == 3
    results = parts(folder)
    results.append(row(2))
    results.close()
    assert [each["scenario"] for each in read_parts(folder)] == [key(n) for n in range(3)]


def test_a_folder_of_other_parts_is_refused(tmp_path):
    folder = tmp_path / "out.parquet"
    results = parts(folder)
    results.append(row(0))
    results.close()
    with pytest.raises(FileFaults, match="another sweep"):
        ParquetResults(folder, COLUMNS, "f" * 16)
    (folder / "part-000009.parquet").write_bytes(b"no parquet")
    with pytest.raises(FileFaults, match="no part"):
        parts(folder)


def test_readers_of_parquet_folders_pass_over_the_journal(tmp_path):
    import pandas as pd

    folder = tmp_path / "out.parquet"
    results = parts(folder)
    for number in range(3):
        results.append(row(number))
    assert (folder / "_rows.csv").exists()
    assert len(pd.read_parquet(folder)) == 2
    results.close()
