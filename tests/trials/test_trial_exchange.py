"""CSV and spreadsheet files of trials. Round trips are exact; files follow RFC 4180 (from memory).

Which signs a spreadsheet takes for a formula: OWASP, CSV injection (from memory).
"""

from __future__ import annotations

import csv
import dataclasses
import datetime as dt
import io
import re
import zipfile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from trial_samples import FULL, HALF, TODAY, trials

from optimizer.errors import FileFaults
from optimizer.trials import table_files
from optimizer.trials.book import TrialBook
from optimizer.trials.cells import neutral, restored
from optimizer.trials.columns import headers_for
from optimizer.trials.exchange import export_trials, import_trials, read_trials
from optimizer.trials.records import Portion, Strength, Trial, Version
from optimizer.trials.table_files import read_csv, read_csv_text, write_csv_text


@settings(max_examples=100)
@given(st.lists(trials(), max_size=4, unique_by=lambda trial: trial.id), st.booleans())
def test_csv_round_trip_is_exact(several, decimal_comma):
    table = read_csv_text(write_csv_text(several, decimal_comma), today=TODAY)
    assert table.faults == ()
    assert table.trials == tuple(several)


@settings(max_examples=30)
@given(several=st.lists(trials(), max_size=3, unique_by=lambda trial: trial.id))
def test_spreadsheet_round_trip_is_exact(tmp_path_factory, several):
    path = tmp_path_factory.mktemp("sheet") / "trials.xlsx"
    export_trials(several, path)
    table = read_trials(path, TODAY)
    assert table.faults == ()
    assert table.trials == tuple(several)


@pytest.mark.parametrize(("tried", "most"), [((), 1), ((HALF,), 1), ((HALF, FULL), 4)])
def test_a_table_has_each_group_of_readings_as_often_as_the_fullest_trial_needs(tried, most):
    """Once where there is none, to be filled in; the full sample has four weighings."""
    columns = headers_for([Version(trial) for trial in tried])
    numbers = {column.number for column in columns if (column.field, column.part) == ("weighings", "mass")}
    assert numbers == set(range(1, most + 1))
    assert columns[-1].field == "remarks"


@pytest.mark.parametrize("ending", ["out.csv", "out.xlsx"])
def test_book_to_file_to_book(book, tmp_path, ending):
    book.enter([FULL, dataclasses.replace(HALF, id="b")])
    export_trials(list(book.trials()), tmp_path / ending)
    other = TrialBook(tmp_path / "other.db")
    assert import_trials(other, tmp_path / ending, today=TODAY).entered.added == (FULL.id, "b")
    assert list(other.trials()) == list(book.trials())
    assert import_trials(other, tmp_path / ending, today=TODAY).entered.unchanged == (FULL.id, "b")


@pytest.mark.parametrize("sign", list("=+-@\t\n"))
def test_formulas_are_neutralized_and_restored(sign):
    trial = Trial(TODAY, remarks=f"{sign}HYPERLINK(1)", vessel=f"{sign}1".strip())
    text = write_csv_text([trial])
    cells = dict(zip(*csv.reader(io.StringIO(text, newline="")), strict=True))
    assert cells["remarks"] == f"'{sign}HYPERLINK(1)"
    assert read_csv_text(text, today=TODAY).trials == (trial,)


@given(st.text("'=+-@\t\nab", max_size=6))
def test_neutral_text_is_no_formula_and_comes_back(text):
    assert restored(neutral(text)) == text
    assert not neutral(text).startswith(("=", "+", "-", "@", "\t", "\n"))


def test_spreadsheet_cells_hold_no_formula(tmp_path):
    import openpyxl

    export_trials([Trial(TODAY, remarks="=1+1", water=2.5)], tmp_path / "a.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "a.xlsx").active
    kinds = {cell.value: cell.data_type for cell in sheet[2] if cell.value is not None}
    assert kinds == {"2026-11-25": "s", "'=1+1": "s", 2.5: "n"}


STUDIO = (
    "\ufeffdate;Room Temperature [F];water_kg;mass of gypsum cement [g];"
    "mass of marble flour (g);demold [min];strength_psi\r\n"
)


@pytest.mark.parametrize(
    "text",
    [
        STUDIO + "2.3.2026;75;0,1215;300,5;100;1h15;3500\r\n",
        STUDIO.replace(";", ",") + '2026-03-02,24 C,121.5 g,300.5,"0,1 kg",75,24.13165 MPa\n',
        "sep=\t\n"
        + STUDIO[1:].replace(";", "\t")
        + "2026-03-02\t23.888889 C\t0.1215\t300.5\t100\t75\t3500\n",
    ],
    ids=["semicolon-comma-BOM", "comma-point", "tab-with-sep-line"],
)
def test_files_of_a_studio_are_understood(text):
    (trial,) = read_csv_text(text, today=TODAY).trials
    assert trial.date == dt.date(2026, 3, 2)
    assert trial.portions == (Portion("gypsum_cement", 300.5), Portion("marble_flour", 100.0))
    assert trial.water == pytest.approx(121.5)
    assert trial.room_temperature == pytest.approx((75 - 32) / 1.8, abs=0.2)
    assert trial.demold == 75.0
    # 1 psi is 6.894757 kPa: NIST SP 811 (from memory)
    assert trial.strengths == (Strength(pytest.approx(3500 * 6.894757e-3, rel=1e-6)),)


def test_an_empty_cell_of_a_powder_column_means_not_in_the_batch():
    header = "date,mass of gypsum_cement [g],mass of marble_flour [g],lot of marble_flour"
    text = f"{header}\n2026-03-02,300,,\n2026-03-03,300,0,M1\n"
    assert [len(trial.portions) for trial in read_csv_text(text, today=TODAY).trials] == [1, 1]


def test_files_for_the_decimal_comma_are_written_with_it(tmp_path):
    export_trials([dataclasses.replace(HALF, id="a", water=150.25)], tmp_path / "a.csv", decimal_comma=True)
    content = (tmp_path / "a.csv").read_bytes()
    assert content.startswith(b"\xef\xbb\xbfid;date;")
    assert b";150,25;" in content


def test_a_comma_in_a_remark_is_no_decimal_comma():
    (trial,) = read_csv_text("date;water [g];remarks\n2026-03-02;100.5;1,5\n", today=TODAY).trials
    assert (trial.water, trial.remarks) == (100.5, "1,5")


def test_columns_marked_with_a_hash_and_empty_rows_are_passed_over():
    text = "date,# price,water [g]\n\n2026-03-02,12.50,100\n,,\n"
    table = read_csv_text(text, today=TODAY)
    assert [trial.water for trial in table.trials] == [100.0]
    assert table.rows == (3,)


WEIGHINGS = "date,weighing 1 age [d],weighing 1 mass [g],weighing 2 age [d],weighing 2 mass [g]"

FAULTY_ROWS = {
    "unit": ("date,water [g]", "2026-03-02,12 min", r"row 2, column 'water \[g\]'.*mass"),
    "no-number": ("date,water [g]", "2026-03-02,much", r"column 'water \[g\]'.*Begin with a number"),
    "ambiguous-comma": ("date,water [g]", '2026-03-02,"1,234"', "the comma can be read both ways"),
    "mixed-marks": ("date;water [g];demold [min]", "2026-03-02;100,5;40.5", "decimal comma.*Write 1234,5"),
    "no-such-day": ("date,water [g]", "2026-02-30,100", "a day the calendar has"),
    "no-date": ("date,water [g]", ",100", "Add the day of the pour"),
    "future": ("date,water [g]", "2027-01-01,100", "row 2, column 'date'.*2026-11-25"),
    "dry-heavier": (
        WEIGHINGS,
        "2026-03-02,0,380,3,400",
        r"row 2, column 'weighing 2 mass \[g\]': read '400'.*dry cannot be heavier",
    ),
    "demold-first": (
        "date,final_set [min],demold [min]",
        "2026-03-02,30,20",
        r"row 2, column 'demold \[min\]': read '20'.*it has set",
    ),
    "negative-mass": ("date,water [g]", "2026-03-02,-5", r"row 2, column 'water \[g\]': read '-5'.*from 0"),
    "half-a-reading": ("date,strength 1 age [min]", "2026-03-02,60", r"column 'strength 1 value \[MPa\]'"),
    "too-many-cells": ("date,water [g]", "2026-03-02,100,5", "3 cells.*header"),
    "half-a-casting": ("date,cast", "2026-03-02,1.5", "column 'cast'.*whole number"),
}


@pytest.mark.parametrize("case", FAULTY_ROWS)
def test_faults_name_row_column_reason_and_repair(case):
    header, row, message = FAULTY_ROWS[case]
    table = read_csv_text(f"{header}\n{row}\n", "notes.csv", TODAY)
    assert table.trials == ()
    (fault,) = table.faults
    assert fault.where.startswith("notes.csv:row 2")
    assert re.search(message, str(fault)), str(fault)


def test_all_faults_of_all_rows_at_once_by_the_columns_of_the_file(tmp_path):
    header = "date,WATER kg,mass of gypsum_cement [g],demold [h],final_set [min],strength_psi"
    header += ",powder 1,powder 1 mass [g]"
    path = tmp_path / "notes.csv"
    path.write_text(f"{header}\nsoon,-1,300,0.5,40,999999,gipsum,-3\n2026-03-02,0.1,much,1,20,3500,,\n")
    table = read_trials(path, TODAY)
    assert {str(fault).split("; allowed")[0] for fault in table.faults} == {
        "notes.csv:row 2, column 'date': read 'soon'",
        "notes.csv:row 2, column 'WATER kg': read '-1', which is -1000 g",
        "notes.csv:row 2, column 'demold [h]': read '0.5', which is 30 min",
        "notes.csv:row 2, column 'strength_psi': read '999999', which is 6894.75 MPa",
        "notes.csv:row 2, column 'powder 1 mass [g]': read '-3'",
        "notes.csv:row 3, column 'mass of gypsum_cement [g]': read 'much'",
    }
    with pytest.raises(FileFaults) as told:
        import_trials(tmp_path / "new.db", path, materials=("gypsum_cement",), today=TODAY)
    assert any("column 'powder 1': read 'gipsum'" in str(fault) for fault in told.value.faults)
    assert not (tmp_path / "new.db").exists()


def test_faults_of_header_and_rows_come_together():
    with pytest.raises(FileFaults) as told:
        read_csv_text("date,water [F],demold [min]\n2026-03-02,100,soon\n", "notes.csv", TODAY)
    assert [fault.where for fault in told.value.faults] == [
        "notes.csv:row 1, column 2 'water [F]'",
        "notes.csv:row 2, column 'demold [min]'",
    ]


@pytest.mark.parametrize("ending", ["out.csv", "out.xlsx"])
def test_corrections_and_void_trials_survive_a_file(book, tmp_path, ending):
    book.add(dataclasses.replace(FULL, remarks="=x"), TODAY)
    book.correct(dataclasses.replace(FULL, water=120.0), "=misread", today=TODAY)
    second = book.add(HALF, TODAY)
    book.withdraw(second, "poured from a wet bag")
    book.correct(dataclasses.replace(HALF, id=second, water=151.0), "dry after all", today=TODAY)
    book.withdraw(second, "wet indeed")
    export_trials(list(book.versions()), tmp_path / ending)
    other = tmp_path / "other.db"
    assert import_trials(other, tmp_path / ending, today=TODAY).entered.added == (FULL.id, second)
    assert list(TrialBook(other).versions()) == list(book.versions())
    again = import_trials(other, tmp_path / ending, today=TODAY).entered
    assert (again.added, again.corrected, again.unchanged) == ((), (), (FULL.id, second))
    assert len(TrialBook(other).history(second)) == 4


def test_a_newer_version_in_a_file_is_entered_and_another_past_is_refused(book, tmp_path):
    path = tmp_path / "notes.csv"
    path.write_text("id,date,water [g],version,reason\na,2026-03-02,100,1,\n")
    import_trials(book, path, today=TODAY)
    path.write_text("id,date,water [g],version,reason\na,2026-03-02,101,2,misread\na,2026-03-02,100,1,\n")
    assert import_trials(book, path, today=TODAY).entered.corrected == ("a",)
    assert book.get("a").reason == "misread"
    path.write_text("id,date,water [g],version\na,2026-03-02,99,1\n")
    with pytest.raises(FileFaults, match="version 1 of 'a'"):
        import_trials(book, path, today=TODAY)


def test_a_table_says_void_by_yes(book, tmp_path):
    path = tmp_path / "notes.csv"
    path.write_text("id,date,void\na,2026-03-02,maybe\n")
    with pytest.raises(FileFaults, match=r"column 'void': read 'maybe'.*yes or no"):
        import_trials(book, path, today=TODAY)
    path.write_text("id,date,void\na,2026-03-02,yes\nb,2026-03-02,\n")
    import_trials(book, path, today=TODAY)
    assert (book.count(), book.count(void=True)) == (1, 2)


FAULTY_FILES = {
    "no-unit": ("date,water\n2026-03-02,100\n", "columns 'water'.*--unit g"),
    "american-date": ("date,water [g]\n3/2/2026,100\n", "column 'date'.*--dates us"),
    "column-twice": ("date,water [g],water_kg\n", "each column once"),
    "no-date-column": ("water [g]\n100\n", "a column named date"),
    "wrong-unit": ("date,water [min]\n", "the unit 'min'.*mass"),
    "open-quote": ('date,remarks\n2026-03-02,"never closed\n', "line .*closing"),
    "empty": ("", "a column named date"),
}


@pytest.mark.parametrize("case", FAULTY_FILES)
def test_files_that_cannot_be_read_as_a_whole(case):
    text, message = FAULTY_FILES[case]
    with pytest.raises(FileFaults, match=message):
        read_csv_text(text, "notes.csv", TODAY)


def test_a_column_taken_by_its_likeness_waits_for_a_person(tmp_path):
    path = tmp_path / "notes.csv"
    path.write_text("date,watre [g]\n2026-03-02,100\n")
    with pytest.raises(FileFaults, match=r"'watre .g.'.*taken for 'water .g.'"):
        import_trials(tmp_path / "new.db", path, today=TODAY)
    assert import_trials(tmp_path / "new.db", path, today=TODAY, confirmed=True).entered.added


def test_other_encodings_are_named(tmp_path):
    path = tmp_path / "notes.csv"
    path.write_bytes("date,remarks\n2026-03-02,größer\n".encode("cp1252"))
    with pytest.raises(FileFaults, match=r"notes\.csv:line 2.*CSV UTF-8"):
        read_csv(path)


@pytest.mark.parametrize("name", ["no.csv", "no.xlsx"])
def test_missing_files(tmp_path, name):
    with pytest.raises(FileFaults, match="no such file"):
        read_trials(tmp_path / name)


def test_a_spreadsheet_that_is_none(tmp_path):
    (tmp_path / "a.xlsx").write_bytes(b"PK nonsense")
    with pytest.raises(FileFaults, match="not XLSX"):
        read_trials(tmp_path / "a.xlsx")


def test_a_spreadsheet_with_a_damaged_part(tmp_path):
    export_trials([FULL], tmp_path / "a.xlsx")
    content = bytearray((tmp_path / "a.xlsx").read_bytes())
    with zipfile.ZipFile(tmp_path / "a.xlsx") as archive:
        part = archive.getinfo("xl/workbook.xml")
    content[part.header_offset + 30 + len(part.filename)] = (
        0x07  # a kind of block that there is not (RFC 1951)
    )
    (tmp_path / "a.xlsx").write_bytes(content)
    with pytest.raises(FileFaults, match="not XLSX"):
        read_trials(tmp_path / "a.xlsx")


def test_a_spreadsheet_whose_fault_names_half_the_file_is_told_shortly(tmp_path):
    export_trials([FULL], tmp_path / "a.xlsx")
    content = bytearray((tmp_path / "a.xlsx").read_bytes())
    with zipfile.ZipFile(tmp_path / "a.xlsx") as archive:
        start = archive.getinfo("docProps/core.xml").header_offset
    # The part's name is said to be 4,000 bytes long (PKWARE APPNOTE 4.3.7, from memory).
    content[start + 26 : start + 28] = (4000).to_bytes(2, "little")
    (tmp_path / "a.xlsx").write_bytes(content)
    with pytest.raises(FileFaults, match="not XLSX") as caught:
        read_trials(tmp_path / "a.xlsx")
    assert len(str(caught.value)) < 1000


def test_a_spreadsheet_that_swells_on_unpacking(tmp_path, monkeypatch):
    export_trials([FULL], tmp_path / "a.xlsx")
    monkeypatch.setattr(table_files, "_MOST_UNPACKED", 1000)
    with pytest.raises(FileFaults, match="unpacked"):
        read_trials(tmp_path / "a.xlsx")


def test_spreadsheet_dates_and_numbers_typed_by_hand(tmp_path):
    import openpyxl

    workbook = openpyxl.Workbook()
    workbook.active.append(
        ["date", "water [kg]", "cast", "lot of gypsum_cement", "mass of gypsum_cement [g]"]
    )
    workbook.active.append([dt.datetime(2026, 3, 2), 0.125, 3, 17, 300])
    workbook.save(tmp_path / "a.xlsx")
    (trial,) = read_trials(tmp_path / "a.xlsx", TODAY).trials
    assert dataclasses.replace(trial, id="") == Trial(
        dt.date(2026, 3, 2), cast=3, water=125.0, portions=(Portion("gypsum_cement", 300.0, "17"),)
    )


@pytest.mark.parametrize(
    ("limit", "message"),
    [
        ("MOST_ROWS", "3 rows"),
        ("MOST_BYTES", "Split the file"),
        ("MOST_COLUMNS", "row 1.*last column"),
        ("MOST_CELLS", "2 cells"),
    ],
)
def test_files_beyond_the_limits_are_refused(tmp_path, monkeypatch, limit, message):
    export_trials([dataclasses.replace(HALF, id=f"{n}") for n in range(3)], tmp_path / "a.csv")
    monkeypatch.setattr(table_files, limit, 2)
    with pytest.raises(FileFaults, match=message):
        read_trials(tmp_path / "a.csv", TODAY)


def _notebook(tmp_path, *rows):
    path = tmp_path / "notes.csv"
    path.write_text("\n".join(["id,date,water [g]", *rows]))
    return path


def test_one_faulty_row_keeps_all_out_unless_asked_otherwise(book, tmp_path):
    path = _notebook(tmp_path, "a,2026-03-02,100", "b,2026-03-02,-1", "c,2026-03-02,100", "d,yesterday,100")
    with pytest.raises(FileFaults, match=r"(?s)row 3.*row 5"):
        import_trials(book, path, today=TODAY)
    assert book.count() == 0
    done = import_trials(book, path, leave_out_faulty=True, today=TODAY)
    assert done.entered.added == ("a", "c")
    assert [fault.where.split(",")[0] for fault in done.faults] == ["notes.csv:row 3", "notes.csv:row 5"]


def test_known_trials_with_other_content_are_corrections_only_when_asked(book, tmp_path):
    import_trials(book, _notebook(tmp_path, "a,2026-03-02,100", "b,2026-03-02,100"), today=TODAY)
    changed = _notebook(tmp_path, "a,2026-03-02,101", "b,2026-03-02,100", "c,2026-03-02,100")
    with pytest.raises(FileFaults, match=r"row 2, column 'id'.*Import with corrections"):
        import_trials(book, changed, today=TODAY)
    entered = import_trials(book, changed, corrections=True, today=TODAY).entered
    assert (entered.added, entered.corrected, entered.unchanged) == (("c",), ("a",), ("b",))
    assert [entry.trial.water for entry in book.history("a")] == [100.0, 101.0]
    assert book.get("a").reason == "import of notes.csv"


def test_one_id_on_two_rows_is_a_fault_of_both(book, tmp_path):
    path = _notebook(tmp_path, "a,2026-03-02,100", "a,2026-03-02,101", "b,2026-03-02,101")
    with pytest.raises(FileFaults, match=r"2 rows: read 'a' in rows 2, 3.*each id once"):
        import_trials(book, path, today=TODAY)
    assert import_trials(book, path, leave_out_faulty=True, today=TODAY).entered.added == ("b",)


def test_rows_without_id_are_the_same_trials_next_time(book, tmp_path):
    rows = (",2026-03-02,100", ",2026-03-02,100", ",2026-03-03,100")
    assert len(import_trials(book, _notebook(tmp_path, *rows), today=TODAY).entered.added) == 3
    again = import_trials(book, _notebook(tmp_path, *rows, ",2026-03-04,99"), today=TODAY).entered
    assert (len(again.added), len(again.unchanged)) == (1, 3)
