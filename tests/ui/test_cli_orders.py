"""Orders and the trial book from the command line."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from pathlib import Path
from typing import Any

import pytest

from optimizer.job import Job
from optimizer.materials import Catalogue
from optimizer.studies.check import check
from optimizer.studies.order_blends import candidate_of
from tests.ui.conftest import SMALL, Command
from tests.ui.test_levers_page import GYPSUM, MIXED

DATES = ("--start", "2026-11-02", "--due", "2026-11-27")


def _order(command: Command, job: Path, *words: object) -> tuple[int, dict[str, Any]]:
    ran = command("order", job, *words, "--json")
    return ran.code, json.loads(ran.out)


def test_an_order_in_time(command: Command, small: Path) -> None:
    code, data = _order(command, small, "--vessels", 60, *DATES)
    plan = data["plan"]
    assert (code, data["status"]) == (0, "in time")
    # 60 / (1 - 0.08) = 65.2 on average; 69 give 60 with 90 % (tests/money/test_pours.py)
    assert plan["pours"] == 69
    assert sum(day["cast"] for day in plan["days"]) == 69
    assert sum(day["packed"] for day in plan["days"]) == 60
    assert dt.date.fromisoformat(plan["ready"]) <= dt.date(2026, 11, 27)
    bought = {pack["material"]: pack["packs"] * pack["pack_kg"] for pack in plan["purchase"]["packs"]}
    for name, grams in data["blend"]["per_vessel"].items():
        if name != "water":
            assert bought[name] >= 69 * 1.08 * grams / 1000.0


def test_an_order_too_late_says_what_would_help(command: Command, small: Path) -> None:
    words = ("--vessels", 300, "--start", "2026-11-02", "--due", "2026-11-05", "--molds", 2)
    code, data = _order(command, small, *words)
    assert (code, data["status"]) == (3, "late")
    text = command("order", small, *words).out
    assert "Late: ready on" in text
    assert "Day by day" in text


@pytest.mark.parametrize(("text", "exit"), [(MIXED, 5), (GYPSUM, 3)], ids=["not sure enough", "no blend"])
def test_an_order_that_lacks_time_names_levers(
    command: Command, tmp_path: Path, text: str, exit: int
) -> None:
    job = tmp_path / "short.toml"
    job.write_text(text, encoding="utf-8")
    ran = command("order", job, "--vessels", 20, *DATES)
    assert ("Promise nothing on this blend" in " ".join(ran.out.split())) == (text == MIXED)
    assert "Or hasten it: any one of these lets a blend hold with 80 %" in ran.out
    code, data = _order(command, job, "--vessels", 20, *DATES)
    assert code == ran.code == exit
    assert data["levers"][0]["sure_enough"]
    assert data["levers"][0]["edits"]


def test_levers_are_of_a_design_and_a_blend_of_ones_own_is_judged_as_it_is(
    command: Command, tmp_path: Path
) -> None:
    job = tmp_path / "short.toml"
    job.write_text(MIXED, encoding="utf-8")
    ran = command("order", job, "--vessels", 20, *DATES, "--blend", "gypsum_cement=1")
    assert "hasten" not in ran.out


def test_an_order_of_nothing_is_ready(command: Command, small: Path) -> None:
    code, data = _order(command, small, "--vessels", 0, *DATES)
    assert (code, data["plan"]["pours"], data["plan"]["purchase"]["packs"]) == (0, 0, [])


def test_bought_molds_are_charged_or_worn(command: Command, small: Path) -> None:
    text = command("order", small, "--vessels", 300, *DATES, "--molds", 0).out
    assert "to buy" in text.split("Blend (")[0]
    _, data = _order(command, small, "--vessels", 300, *DATES, "--molds", 0)
    plan = data["plan"]
    assert plan["molds_to_buy"] >= 1
    assert plan["cost_molds_charged"] > plan["cost_mold_wear"]
    ranks = [row["rank_molds_charged"] for row in data["ranking"]]
    assert ranks == list(range(1, len(ranks) + 1))


def test_an_order_without_blend(command: Command, impossible: Path) -> None:
    ran = command("order", impossible, "--vessels", 10, *DATES)
    assert ran.code == 3
    assert "No blend" in ran.out


def test_bad_dates_are_told(command: Command, small: Path) -> None:
    assert command("order", small, "--vessels", 3, "--due", "tomorrow").code == 4
    late = command("order", small, "--vessels", 3, "--start", "2026-11-10", "--due", "2026-11-09")
    assert late.code == 4
    assert "Give a later due date" in late.err


def test_an_order_counts_the_window_from_powder_in(demo: Job, catalogue: Catalogue) -> None:
    solution = check(demo, {"gypsum_cement": 1.0}, catalogue)
    window = candidate_of("plain", solution, catalogue).working_window
    assert window == pytest.approx(solution.properties["working_window"].value + demo.shop.mixing)


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """Name a book that is not there yet."""
    return tmp_path / "trials.db"


def _add(command: Command, book: Path, *words: object) -> str:
    ran = command("trials", "add", *words, "--book", book, "--json")
    assert ran.code == 0, ran.err
    return str(json.loads(ran.out)["id"])


def test_a_batch_is_entered_listed_and_exported(command: Command, book: Path) -> None:
    weighed = ("--weighed", "gypsum_cement=300, marble_flour=120; water=125,5")
    named = _add(
        command, book, *weighed, "date=2026-11-20", "demold=38 min", "strength=3500 psi", "whiteness=89"
    )
    assert named == "2026-11-20-a"
    listed = json.loads(command("trials", "list", "--book", book, "--json").out)
    trial = listed["trials"][0]
    assert listed["count"] == 1
    # 1 psi is 6894.757 Pa (NIST SP 811, table B.8)
    assert trial["strengths"][0]["value"] == pytest.approx(3500 * 6.894757e-3, rel=1e-6)
    assert (trial["water"], trial["demold"], trial["whiteness"]) == (125.5, 38.0, 89.0)
    assert "71 % gypsum" in command("trials", "list", "--book", book).out
    rows = list(csv.DictReader(io.StringIO(command("trials", "export", "--book", book).out)))
    assert [row["id"] for row in rows] == [named]
    assert float(rows[0]["water [g]"]) == 125.5


def test_the_date_of_a_batch_is_today_unless_stated(command: Command, book: Path) -> None:
    assert _add(command, book, "water=100 g").startswith(dt.date.today().isoformat())


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_a_book_survives_export_and_import(command: Command, book: Path, tmp_path: Path, ending: str) -> None:
    _add(command, book, "--weighed", "gypsum_cement=300, water=105", "date=2026-11-20", "remarks==1+1")
    file, copy = tmp_path / f"book.{ending}", tmp_path / "copy.db"
    assert command("trials", "export", file, "--book", book).code == 0
    done = command("trials", "import", file, "--book", copy, "--json")
    assert json.loads(done.out) == {"added": 1, "corrected": 0, "unchanged": 0, "left_out": 0}
    first, second = (command("trials", "list", "--book", each, "--json").out for each in (book, copy))
    assert json.loads(first) == json.loads(second)


def test_trials_come_in_by_standard_input(command: Command, book: Path, tmp_path: Path) -> None:
    _add(command, book, "water=105 g", "date=2026-11-20")
    table = command("trials", "export", "--book", book).out.encode()
    copy = tmp_path / "copy.db"
    assert "1 added" in command("trials", "import", "-", "--book", copy, stdin=table).out


def test_faulty_rows_are_told_and_nothing_entered(command: Command, book: Path, tmp_path: Path) -> None:
    file = tmp_path / "trials.csv"
    file.write_text("date,water [g],demold [min]\n2026-11-20,100,-4\nyesterday,100,40\n2026-11-20,100,40\n")
    ran = command("trials", "import", file, "--book", book)
    assert ran.code == 4
    assert "row 2" in ran.err
    assert "row 3" in ran.err
    assert not book.exists()
    done = command("trials", "import", file, "--book", book, "--leave-out-faulty")
    assert "1 added" in done.out
    assert "row 3" in done.err


def test_a_correction_must_be_asked_for(command: Command, book: Path, tmp_path: Path) -> None:
    _add(command, book, "id=a", "water=105 g", "date=2026-11-20")
    file = tmp_path / "trials.csv"
    file.write_text("id,date,water [g]\na,2026-11-20,110\n")
    assert command("trials", "import", file, "--book", book).code == 4
    done = command("trials", "import", file, "--book", book, "--corrections")
    assert "1 corrected" in done.out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["demold=38"], "Add the unit"),
        (["demould=38 min"], "trials columns"),
        (["38 min"], "name=value"),
        (["date=2026-13-01"], "2026-13-01"),
        (["--weighed", "gypsm=3"], "nearest"),
        (["water=-1 g"], "-1"),
    ],
)
def test_slips_of_a_batch_are_told(command: Command, book: Path, words: list[str], told: str) -> None:
    ran = command("trials", "add", *words, "--book", book)
    assert ran.code == 4
    assert told in ran.err


def test_a_book_is_not_made_by_looking(command: Command, book: Path) -> None:
    for words in (("list",), ("export",)):
        assert command("trials", *words, "--book", book).code == 4
    assert not book.exists()


def test_another_file_is_no_book(command: Command, tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(SMALL)
    ran = command("trials", "list", "--book", path)
    assert ran.code == 4
    assert "another kind" in ran.err
    assert path.read_text() == SMALL


def _calibrated(command: Command, small: Path, folder: Path) -> Path:
    """Pour a blend three times, weaker than the specs say, and fit."""
    rows = ["2026-10-01,20,95", "2026-10-02,19,95", "2026-10-03,21,94"]
    lines = [day.replace(",", ",300,75,130,20160,dry,", 1) for day in rows]
    heads = "date,mass of gypsum_cement [g],mass of marble_flour [g],water [g]"
    table = f"{heads},strength 1 age [min],strength 1 state,strength 1 value [MPa],whiteness\n"
    (folder / "trials.csv").write_text(table + "\n".join(lines) + "\n")
    book = folder / "trials.db"
    assert command("trials", "import", folder / "trials.csv", "--book", book).code == 0
    fitted = command("trials", "fit", small, "--book", book, "--json")
    assert fitted.code == 0, fitted.err
    return Path(json.loads(fitted.out)["file"])


def test_a_calibration_changes_answers_only_where_it_is_named(
    command: Command, small: Path, tmp_path: Path
) -> None:
    blend = ("--blend", "gypsum_cement=80, marble_flour=20", "--water-ratio", "0.347", "--json")
    before = json.loads(command("check", small, *blend).out)
    file = _calibrated(command, small, tmp_path)
    assert json.loads(command("check", small, *blend).out) == before
    named = json.loads(command("check", small, *blend, "--calibration", file).out)
    newest = json.loads(command("check", small, *blend, "--calibration", tmp_path).out)
    assert named == newest
    strength, shipped = (each["properties"]["dry_strength"] for each in (named, before))
    # the trials read 20 MPa where the specs say about 31; doubt shrinks and the answer moves toward them
    assert 20.0 < strength["value"] < shipped["value"]
    assert strength["high"] / strength["low"] < shipped["high"] / shipped["low"]
    assert strength["evidence"] == "calibrated"
    assert named["fingerprint"] != before["fingerprint"]
    card = json.loads(command("card", small, *blend, "--calibration", file).out)
    assert card["model"] == "made with model calibrated on 3 trials"
    assert card["mark"] == named["fingerprint"][:12]


def test_a_calibration_that_is_none_is_told(command: Command, small: Path, tmp_path: Path) -> None:
    assert command("design", small, "--calibration", tmp_path / "nowhere.toml").code == 4
    assert "trials fit" in command("design", small, "--calibration", tmp_path).err
    assert command("design", small, "--calibration", small).code == 4


def test_a_shelf_that_does_not_do_says_what_counted(tmp_path, command):
    path = tmp_path / "shelf.toml"
    stocked = SMALL.replace("price = 14.00", 'price = 14.00\nstock = "5 kg"')
    path.write_text(stocked.replace("price = 41.50", 'price = 41.50\nstock = "1 kg"'), encoding="utf-8")
    told = command("order", path, "--vessels", "300", "--due", "2030-01-31", "--from-stock")
    assert told.code == 3
    counted = (
        "Only what stands on the shelf counts: gypsum_cement, marble_flour. A powder that states no stock"
    )
    assert counted in " ".join(told.out.split())
