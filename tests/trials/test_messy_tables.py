"""Tables as casters keep them, all invented: understood with one question at most, or refused as a whole.

What each table should say was written down by hand, cell by cell; ounces and psi by NIST SP 811, table B.8
(1 oz 28.349523 g, 1 psi 6.894757 kPa), from memory.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, replace
from pathlib import Path

import openpyxl
import pytest
from trial_samples import TODAY

from optimizer.calibration.readings import Studio, readings_of
from optimizer.errors import FileFaults
from optimizer.specs import load_catalogue
from optimizer.trials.book import TrialBook
from optimizer.trials.exchange import import_trials, read_trials
from optimizer.trials.import_choices import ImportChoices, read_choices
from optimizer.trials.records import Portion, Strength, Trial, Weighing
from optimizer.trials.trial_errors import NoSuchTrial
from ui.cli import run

MATERIALS = tuple(load_catalogue(None))
DAY, NEXT = dt.date(2026, 3, 2), dt.date(2026, 3, 14)
OUNCE, PSI = 28.349523, 6.894757e-3


def gypsum(grams: float) -> tuple[Portion, ...]:
    return (Portion("gypsum_cement", pytest.approx(grams, rel=1e-6)),)


@dataclass(frozen=True)
class Messy:
    """One table: its cells or its text, the answer to its one question, and what its first row says."""

    content: str | list[list[object]]
    first: Trial
    trials: int = 2
    question: str = ""
    answer: ImportChoices | None = None
    merged: str = ""
    formats: tuple[tuple[str, str], ...] = ()


TABLES = {
    "title-rows-and-units-beneath": Messy(
        [
            ["Casting log, spring 2026"],
            [],
            ["Date", "Gypsum cement", "Mixing water", "Demold", "L*", None, "Notes"],
            ["yyyy-mm-dd", "g", "g", "min", None, None, None],
            [dt.datetime(2026, 3, 2), 300, 105, 38, 89, None, "poured slowly"],
            [dt.datetime(2026, 3, 14), 300.5, 104, 41, "-", None, None],
        ],
        Trial(DAY, portions=gypsum(300), water=105, demold=38, whiteness=89, remarks="poured slowly"),
        question="rows 1 to 2",
        merged="A1:G1",
    ),
    "us-dates-that-show-their-order": Messy(
        "poured,gypsum cement (oz),water (oz),out of mold (min),strength psi\n"
        "3/2/2026,10.5,3.7,40,3500\n3/14/2026,10.5,3.8,,\n",
        Trial(
            DAY,
            portions=gypsum(10.5 * OUNCE),
            water=pytest.approx(3.7 * OUNCE, rel=1e-6),
            demold=40,
            strengths=(Strength(pytest.approx(3500 * PSI, rel=1e-6)),),
        ),
        question="3/14/2026",
    ),
    "us-dates-that-do-not": Messy(
        "Date,gypsum cement [g],water [g],demold [min]\n3/2/26,300,105,40\n3/4/26,300,105,42\n",
        Trial(DAY, portions=gypsum(300), water=105, demold=40),
        question="--dates us",
        answer=read_choices("us"),
    ),
    "decimal-commas-and-day-first": Messy(
        "Log;;;\nDate;gypsum cement [kg];mixing water [kg];demold after [h]\n"
        "2.3.2026;0,3005;0,1055;0,75\n14.3.2026;0,3;0,105;1\n",
        Trial(DAY, portions=gypsum(300.5), water=pytest.approx(105.5), demold=45),
        question="row 1",
    ),
    "no-units-anywhere": Messy(
        [
            ["Batch", "Day", "gypsum cement", "water", "room temp", "demold", "strength"],
            ["B1", "2 Mar 2026", 300, 105, 70, 40, 3500],
            ["B2", "March 14, 2026", 300, 106, 71, 41, None],
        ],
        Trial(
            DAY,
            id="B1",
            portions=gypsum(300),
            water=105,
            room_temperature=pytest.approx((70 - 32) / 1.8),
            demold=40,
            strengths=(Strength(pytest.approx(3500 * PSI, rel=1e-6)),),
        ),
        question="--unit",
        answer=read_choices(units=["g,F,min,psi"]),
    ),
    "slips-of-the-pen": Messy(
        "date,gypsum cemnt [g],watre [g],demould (min),stregth [MPa]\n"
        "2026-03-02,300,105,40,24\n2026-03-14,300,105,41,25\n",
        Trial(DAY, portions=gypsum(300), water=105, demold=40, strengths=(Strength(24.0),)),
        question="its likeness",
    ),
    "parts-of-names-and-a-price": Messy(
        "Date,plaster g,marble g,Mixing water g,price\n2026-03-02,200,50,150,0.61\n2026-03-14,200,50,,0.61\n",
        Trial(DAY, portions=(Portion("molding_plaster", 200), Portion("marble_flour", 50)), water=150),
        question="price",
    ),
    "a-word-for-several-powders": Messy(
        "date,cement [g],gypsum cement [g],water [g]\n2026-03-02,100,200,105\n2026-03-14,100,200,106\n",
        Trial(DAY, portions=(Portion("csa_cement", 100), Portion("gypsum_cement", 200)), water=105),
        question="cement [g]=mass of csa_cement",
        answer=read_choices(columns=["cement=csa_cement"]),
    ),
    "totals-dashes-and-percent": Messy(
        [
            [
                "date",
                "gypsum cement [g]",
                "silica sand [g]",
                "water [g]",
                "RH",
                "weight out of mold g",
                "weight day 3 g",
            ],
            ["2026-03-02", 300, "-", 105, 0.45, 402, 362],
            ["2026-03-14", 280, "20 g", 105, 0.5, "n/a", None],
            ["Total", 580, 20, 210, None, None, None],
        ],
        Trial(
            DAY,
            portions=gypsum(300),
            water=105,
            humidity=0.45,
            weighings=(Weighing(0.0, 402), Weighing(3.0, 362)),
        ),
        question="totals",
        formats=(("E2", "0%"), ("E3", "0%")),
    ),
    "strengths-dry-and-wet-and-a-note-beneath": Messy(
        [
            ["Date of pour", "Gypsum Cement [g]", "Water [g]", "wet strength [psi]", "dry strength [psi]"],
            [dt.datetime(2026, 3, 2, 14, 30), 300, 105, 2000, 5000],
            [dt.datetime(2026, 3, 14), 300, 105, None, 5100],
            ["remember to order sand"],
        ],
        Trial(
            DAY,
            portions=gypsum(300),
            water=105,
            strengths=(
                Strength(pytest.approx(2000 * PSI, rel=1e-6), state="wet"),
                Strength(pytest.approx(5000 * PSI, rel=1e-6), state="dry"),
            ),
        ),
        question="remember",
    ),
}


def written(table: Messy, folder: Path) -> Path:
    if isinstance(table.content, str):
        path = folder / "casts.csv"
        path.write_text(table.content, encoding="utf-8")
        return path
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    for row in table.content:
        sheet.append(row)
    if table.merged:
        sheet.merge_cells(table.merged)
    for place, shown in table.formats:
        sheet[place].number_format = shown
    path = folder / "casts.xlsx"
    workbook.save(path)
    return path


def first_of(trials):
    one = min(trials, key=lambda trial: trial.date)
    return one if one.id.startswith("B") else replace(one, id="")


@pytest.mark.parametrize("name", TABLES)
def test_a_table_as_casters_keep_it_comes_in_after_one_question(name, tmp_path):
    """Asked once and answered, all rows are in; before the answer nothing is."""
    table = TABLES[name]
    path, book = written(table, tmp_path), tmp_path / "trials.db"
    with pytest.raises(FileFaults) as told:
        import_trials(book, path, materials=MATERIALS, today=TODAY)
    assert table.question in str(told.value)
    assert not book.exists()
    assert questions(path, told.value.faults) == 1
    done = import_trials(
        book,
        path,
        materials=MATERIALS,
        today=TODAY,
        choices=table.answer,
        confirmed=True,
    )
    assert len(done.entered.added) == table.trials
    assert first_of(TrialBook(book).trials()) == table.first
    again = import_trials(book, path, today=TODAY, choices=table.answer, confirmed=True, **AGAIN).entered
    assert len(again.unchanged) == table.trials


AGAIN = {"materials": MATERIALS, "leave_out_faulty": True}


def questions(path, faults):
    """Count what a person has to answer: each fault is one, all that is to be confirmed together is one."""
    try:
        confirm = read_trials(path, TODAY, MATERIALS).layout.doubts
    except FileFaults:
        confirm = ()
    return len([fault for fault in faults if fault not in confirm]) + bool(confirm)


HOPELESS = {
    "days in two orders": (
        "date,gypsum cement [g],water [g]\n3/14/2026,300,105\n14/3/2026,300,105\n",
        "days in one order",
    ),
    "a list of prices": (
        "powder,pack,price\ngypsum cement,25 kg,41.50\nplaster,25 kg,12\n",
        "no date column",
    ),
    "trials in columns": ("date,2026-03-02,2026-03-14\nwater [g],105,106\ndemold [min],40,41\n", "date"),
}


@pytest.mark.parametrize("name", HOPELESS)
def test_a_hopeless_table_is_refused_as_a_whole(name, tmp_path):
    text, reason = HOPELESS[name]
    path, book = tmp_path / "casts.csv", tmp_path / "trials.db"
    path.write_text(text)
    with pytest.raises(FileFaults, match=reason):
        import_trials(
            book,
            path,
            materials=MATERIALS,
            today=TODAY,
            confirmed=True,
            choices=read_choices(units=["g,min"]),
        )
    assert not book.exists()


def test_one_kind_of_trouble_in_a_column_is_one_line(tmp_path):
    path = tmp_path / "casts.csv"
    rows = "".join(f"2026-03-{day:02},300,about 105\n" for day in range(1, 31))
    path.write_text(f"date,gypsum cement [g],water [g]\n{rows}")
    with pytest.raises(FileFaults) as told:
        import_trials(tmp_path / "trials.db", path, materials=MATERIALS, today=TODAY)
    (fault,) = told.value.faults
    assert fault.where == "casts.csv: column 'water [g]', 30 rows"
    assert "'about 105' in rows 2, 3, 4, 5, 6, 7 and 24 more" in fault.value


UNSAID = """Date,gypsum cement,water,strength psi,1 day wet strength (psi),wet strength [MPa],28 d strength
2026-03-02,300 g,105 g,3500,1200,9,24 MPa
2026-03-03,300 g,105 g,,1300,,23 MPa
"""


def test_strengths_a_fit_cannot_use_are_told_before_they_are_kept_and_said_once_for_the_column(tmp_path):
    """One line per column; a fit needs wet or dry, and the age of a wet one (it gains strength with it)."""
    path, book = tmp_path / "casts.csv", tmp_path / "trials.db"
    path.write_text(UNSAID)
    with pytest.raises(FileFaults) as told:
        import_trials(book, path, materials=MATERIALS, today=TODAY)
    columns = [fault.where.partition("column ")[2] for fault in told.value.faults]
    assert columns == ["'strength psi', 1 row", "'wet strength [MPa]', 1 row", "'28 d strength', 2 rows"]
    assert all("no fit can use them" in fault.value for fault in told.value.faults)
    # each answer as it is told, the other state where there are two
    said = [re.search('--column "(.+?)"', fault.repair)[1] for fault in told.value.faults]
    assert said[0] == "strength psi=dry strength"
    done = import_trials(book, path, materials=MATERIALS, today=TODAY, choices=read_choices(columns=said))
    assert len(done.entered.added) == 2
    first = next(trial for trial in TrialBook(book).trials() if trial.date == DAY)
    assert [(one.state, one.age) for one in first.strengths] == [
        ("dry", None),
        ("wet", 1440.0),
        ("wet", 1440.0),
        ("dry", 28 * 1440.0),
    ]
    used = readings_of([first], load_catalogue(), Studio())[1]
    assert [one.kind for one in used] == ["dry_strength", "wet_strength", "wet_strength", "dry_strength"]


def test_a_state_column_that_is_not_filled_is_named(tmp_path):
    path = tmp_path / "casts.csv"
    head = "date,strength 1 value [MPa],strength 1 state\n"
    path.write_text(f"{head}2026-03-02,24,dry\n2026-03-03,25,\n")
    (doubt,) = read_trials(path, TODAY, MATERIALS).layout.doubts
    assert "1 row" in doubt.where
    assert doubt.repair == "Fill in the column 'strength 1 state'."


def test_numbers_of_casts_are_not_silently_castings_poured(tmp_path):
    path = tmp_path / "casts.csv"
    path.write_text("Cast,date,water [g]\n1,2026-03-02,105\n2,2026-03-03,106\n")
    (doubt,) = read_trials(path, TODAY, MATERIALS).layout.doubts
    assert '--column "Cast=id"' in doubt.repair
    said = read_trials(path, TODAY, MATERIALS, read_choices(columns=["Cast=id"]))
    assert [trial.id for trial in said.trials] == ["1", "2"]
    assert not said.layout.doubts
    path.write_text("cast,date,water [g]\n6,2026-03-02,105\n6,2026-03-03,106\n")
    assert not read_trials(path, TODAY, MATERIALS).layout.doubts


def test_who_says_months_come_first_means_days_with_points_too(tmp_path):
    path = tmp_path / "casts.csv"
    path.write_text("date,water [g]\n3.2.2026,105\n3.14.2026,106\n")
    read = read_trials(path, TODAY, MATERIALS, read_choices("us"))
    assert [trial.date for trial in read.trials] == [DAY, NEXT]
    path.write_text("date,water [g]\n14.3.2026,105\n")
    assert [trial.date for trial in read_trials(path, TODAY, MATERIALS).trials] == [NEXT]
    with pytest.raises(FileFaults, match="Say --dates day-first"):
        read_trials(path, TODAY, MATERIALS, read_choices("us"))


def test_a_table_in_other_words_is_shown_even_where_nothing_is_to_be_confirmed(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    Path("casts.csv").write_text("date,mixing water,water temp\n2026-03-02,0.105,70\n")
    assert run(["trials", "import", "casts.csv", "--unit", "kg,F"]) == 0
    told = capsys.readouterr()
    assert "water_temperature [F]" in told.err
    assert "1 added" in told.out
    Path("own.csv").write_text("date,water [g]\n2026-03-02,106\n")
    assert run(["trials", "import", "own.csv"]) == 0
    assert capsys.readouterr().err == ""


def test_what_is_to_be_confirmed_is_told_once(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    Path("casts.csv").write_text("date,watre [g]\n2026-03-02,106\n")
    assert run(["trials", "import", "casts.csv"]) == 4
    assert capsys.readouterr().err.count("likeness. If it") == 1
    Path("casts.csv").write_text("date,watre [g]\n2026-03-02,106\n2026-03-03,much\n")
    assert run(["trials", "import", "casts.csv"]) == 4
    said = capsys.readouterr().err
    assert said.count("likeness. If it") == 1
    assert "'much'" in said
    assert not Path("trials.db").exists()


def test_what_seldom_is_is_one_line_per_column(tmp_path):
    path = tmp_path / "casts.csv"
    rows = "".join(f"2026-03-{day:02},24,0.{day:02}\n" for day in range(1, 31))
    path.write_text(f"date,demold [min],dry strength [MPa]\n{rows}")
    (doubt,) = read_trials(path, TODAY, MATERIALS).layout.doubts
    assert doubt.where == "casts.csv: column 'dry strength [MPa]', 30 rows"


def test_an_age_never_gets_the_unit_said_for_times(tmp_path):
    """28 under 'strength 1 age' is 28 days to one caster and 28 minutes to nobody: it is asked for itself."""
    path = tmp_path / "casts.csv"
    path.write_text("date,strength [psi],strength 1 age,demold\n2026-03-02,3500,28,40\n")
    with pytest.raises(FileFaults, match=r"'strength 1 age \[d\]'"):
        read_trials(path, TODAY, MATERIALS, read_choices(units=["min"]))


def test_the_command_shows_what_it_understood_and_waits_for_yes(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    written(TABLES["parts-of-names-and-a-price"], tmp_path)
    assert run(["trials", "import", "casts.csv"]) == 4
    said = capsys.readouterr().err
    assert "mass of molding_plaster [g] (by likeness)" in said
    assert "2 trials, from 2026-03-02 to 2026-03-14." in said
    assert "not read" in said
    assert not Path("trials.db").exists()
    assert run(["trials", "import", "casts.csv", "--yes"]) == 0
    assert "2 added" in capsys.readouterr().out


def test_a_machine_made_id_has_a_short_name_that_can_be_typed(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "100")
    Path("casts.csv").write_text("date,water [g]\n2026-03-02,100\n2026-03-03,101\n")
    assert run(["trials", "import", "casts.csv"]) == 0
    capsys.readouterr()
    assert run(["trials", "list"]) == 0
    listed = capsys.readouterr().out
    book = TrialBook(Path("trials.db"))
    for id, short in book.short_names().items():
        assert len(short) == len("2026-03-02-") + 3
        assert short in listed
        assert id not in listed
        assert book.get(short).trial.id == id
    (short, *_) = book.short_names().values()
    assert run(["trials", "void", short, "--reason", "wet bag"]) == 0
    assert book.count() == 1
    with pytest.raises(NoSuchTrial, match="could be"):
        book.get("2026-03-")


@pytest.mark.parametrize(
    ("header", "said"),
    [
        ("7 d strength [MPa]", '=dry strength 7 d" (or wet strength 7 d).'),
        ("strength [MPa]", '=dry strength" (or wet strength 1 d).'),
        ("wet strength [MPa]", '=wet strength 1 d".'),
    ],
)
def test_what_a_column_of_strengths_lacks_is_said_with_the_age_it_has(tmp_path, header, said):
    table = tmp_path / "casts.csv"
    table.write_text(f"id;date;mass of gypsum_cement [g];water [g];{header}\na;2026-03-02;300;105;20\n")
    with pytest.raises(FileFaults) as told:
        import_trials(tmp_path / "new.db", table, today=TODAY)
    assert f'Say it once: --column "{header}{said}' in told.value.faults[0].repair
