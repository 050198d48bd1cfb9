"""From bags to vessels on the page and at the command line: own bookkeeping, lots and vessels invented."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace

import pandas as pd
import pytest

from optimizer.trials.book import TrialBook
from optimizer.trials.records import Portion, Strength, Trial
from optimizer.trials.trace import last_lots
from tests.ui.test_page_logic import _button, noting, opened, text_of, turned
from ui.trial_form import lot_column, powder_column, trial_of

GYPSUM, FLOUR = "gypsum_cement", "marble_flour"
SMALL_LIST = 946
"""Width of the list in a window 1280 px wide, sidebar open, as measured in Chromium [px]."""


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Run in an empty folder: the trial book is made where the page is started."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def book(folder):
    """Return a book of three batches from two bags."""
    book = TrialBook(folder / "trials.db")
    rows = [
        ("mon", (Portion(GYPSUM, 300, "G1"), Portion(FLOUR, 100, "F1")), ("V1", "V2"), "order 1", 2),
        ("tue", (Portion(GYPSUM, 300, "G2"), Portion(FLOUR, 100)), ("V3",), "order 2", 3),
        ("wed", (Portion(GYPSUM, 300), Portion(FLOUR, 100)), (), "", 1),
    ]
    for day, (name, portions, labels, order, cast) in enumerate(rows, start=2):
        trial = Trial(
            dt.date(2026, 3, day), name, portions, water=140.0, labels=labels, sold_order=order, cast=cast
        )
        book.add(trial, dt.date(2026, 4, 1))
    return book


def lots_of(trial: Trial) -> dict[str, str]:
    return {portion.material: portion.lot for portion in trial.portions}


def found_in(at) -> pd.DataFrame:
    """Return the table of what a search found."""
    return next(each.value for each in at.dataframe if "batch" in each.value)


class TestNoting:
    """Lots and vessels in the form."""

    def test_the_cards_recipe_takes_a_lot_for_each_of_its_powders(self, folder):
        at = turned(opened(), "trial_book")
        fields = [each for each in at.text_input if each.key.startswith("trial.lot of ")]
        for place, field in enumerate(fields):
            field.set_value(f"L{place}")
        at.text_input(key="trial.labels").set_value("V1, V2 V3")
        at.text_input(key="trial.sold_order").set_value("order 7")
        _button(at, "Enter it").click().run()
        assert not at.exception
        (entry,) = TrialBook(folder / "trials.db").page()
        assert lots_of(entry.trial) == {
            each.key.removeprefix("trial.lot of "): f"L{place}" for place, each in enumerate(fields)
        }
        assert (entry.trial.labels, entry.trial.sold_order) == (("V1", "V2", "V3"), "order 7")
        assert not any(each.value for each in at.text_input if each.key.startswith("trial.lot of "))

    def test_numbers_from_one_to_another_are_all_of_them(self, folder):
        at = noting(opened())
        field = at.text_input(key="trial.labels")
        assert field.placeholder == "such as V1-V6, V9"
        field.set_value("V6-V1")
        _button(at, "Enter it").click().run()
        assert "the lower number first, and at most 200 of them" in at.error[0].value
        at.text_input(key="trial.labels").set_value("V1-V6, V9")
        _button(at, "Enter it").click().run()
        (entry,) = TrialBook(folder / "trials.db").page()
        assert entry.trial.labels == ("V1", "V2", "V3", "V4", "V5", "V6", "V9")
        at.text_input(key="trace number of a vessel").set_value("v6").run()
        found = found_in(at)
        assert list(found["vessels"]) == ["V1 V2 V3 V4 V5 V6 V9"]

    def test_a_lot_of_a_powder_that_was_not_weighed_is_told_at_its_field(self, folder):
        at = noting(opened())
        at.text_input(key=f"trial.{powder_column(GYPSUM)}").set_value("300 g")
        at.text_input(key=f"trial.{lot_column(FLOUR)}").set_value("F1")
        _button(at, "Enter it").click().run()
        assert "no mass of marble_flour is noted" in at.error[0].value
        assert at.text_input(key=f"trial.{lot_column(FLOUR)}").value == "F1"
        assert not (folder / "trials.db").exists()

    def test_the_lots_noted_last_are_offered_and_not_taken_by_themselves(self, book):
        at = noting(opened())
        same = at.checkbox(key="trial_same_bags")
        assert same.label == "From the same bags as noted last: gypsum cement G2, marble flour F1"
        assert at.text_input(key=f"trial.{lot_column(GYPSUM)}").placeholder == "such as G2"
        for name in (GYPSUM, FLOUR):
            at.text_input(key=f"trial.{powder_column(name)}").set_value("100 g")
        _button(at, "Enter it").click().run()
        assert lots_of(book.page()[0].trial) == {GYPSUM: "", FLOUR: ""}
        for name in (GYPSUM, FLOUR):
            at.text_input(key=f"trial.{powder_column(name)}").set_value("100 g")
        at.checkbox(key="trial_same_bags").check()
        at.text_input(key=f"trial.{lot_column(FLOUR)}").set_value("F2")
        _button(at, "Enter it").click().run()
        assert not at.exception
        assert lots_of(book.page()[0].trial) == {GYPSUM: "G2", FLOUR: "F2"}
        assert not at.checkbox(key="trial_same_bags").value
        assert last_lots(book) == {GYPSUM: "G2", FLOUR: "F2"}

    def test_a_lot_in_another_spelling_is_asked_about(self, book):
        at = noting(opened())
        at.text_input(key=f"trial.{powder_column(GYPSUM)}").set_value("300 g")
        at.text_input(key=f"trial.{lot_column(GYPSUM)}").set_value("g-1")
        _button(at, "Enter it").click().run()
        assert book.count() == 3
        assert "a lot as it is noted of gypsum_cement: G1; or one unlike it" in at.error[0].value
        at.checkbox(key="trial_right").check()
        _button(at, "Enter it").click().run()
        assert not at.exception
        assert lots_of(book.page()[0].trial) == {GYPSUM: "g-1"}

    def test_a_number_that_another_batch_has_is_asked_about(self, book):
        at = noting(opened())
        at.text_input(key="trial.labels").set_value("v1-v3, V4")
        _button(at, "Enter it").click().run()
        assert book.count() == 3
        assert "V1, V2 of batch mon; V3 of batch tue" in at.error[0].value
        at.checkbox(key="trial_right").check()
        _button(at, "Enter it").click().run()
        assert book.page()[0].trial.labels == ("v1", "v2", "v3", "V4")

    def test_a_mass_at_fault_is_told_once(self):
        typed = {"date": "2026-03-02", powder_column(GYPSUM): "much", lot_column(GYPSUM): "G1"}
        assert list(trial_of(typed)[1]) == [powder_column(GYPSUM)]

    def test_a_trial_corrected_by_its_table_keeps_its_lots(self, book, command):
        command("trials", "export", "out.csv")
        table = (book.path.parent / "out.csv").read_bytes()
        assert table.count(b",140.0,") == 3
        at = turned(opened(), "trial_book")
        at.file_uploader(key="trials_upload").upload(
            "out.csv", table.replace(b",140.0,", b",141.0,"), "text/csv"
        )
        at.run()
        at.checkbox(key="corrections").check().run()
        at.button(key="import_trials").click().run()
        assert not at.exception
        corrected = book.get("mon").trial
        assert (corrected.water, lots_of(corrected)) == (141.0, {GYPSUM: "G1", FLOUR: "F1"})


class TestCorrecting:
    """One reading put right, or noted at last: all else stays."""

    def test_a_lot_is_noted_afterwards_and_all_else_stays(self, book):
        before = book.get("wed").trial
        at = turned(opened(), "trial_book")
        at.selectbox(key="correct_id").set_value("wed").run()
        at.selectbox(key="correct_what").set_value("powder 1 lot").run()
        assert "In the book: nothing" in text_of(at)
        at.text_input(key="correct powder 1 lot").set_value("G2")
        at.text_input(key="correct_reason").set_value("bag found")
        _button(at, "Correct it").click().run()
        assert not at.exception
        assert at.success[0].value == "wed is corrected: version 2; the one before stays in the book."
        entry = book.get("wed")
        assert entry.reason == "bag found"
        portions = (replace(before.portions[0], lot="G2"), *before.portions[1:])
        assert entry.trial == replace(before, portions=portions)
        assert at.text_input(key="correct powder 1 lot").value == ""
        assert "In the book: G2" in text_of(at)

    def test_a_corrected_reading_leaves_the_lots(self, book):
        before = book.get("mon").trial
        at = turned(opened(), "trial_book")
        at.selectbox(key="correct_id").set_value("mon").run()
        at.selectbox(key="correct_what").set_value("water").run()
        assert "In the book: 140 g" in text_of(at)
        at.text_input(key="correct water").set_value("lots")
        _button(at, "Correct it").click().run()
        assert "'lots'" in at.error[0].value
        at.text_input(key="correct water").set_value("139 g")
        _button(at, "Correct it").click().run()
        assert book.get("mon").trial == replace(before, water=139.0)

    def test_a_number_that_another_batch_has_is_asked_about(self, book):
        at = turned(opened(), "trial_book")
        at.selectbox(key="correct_id").set_value("wed").run()
        at.selectbox(key="correct_what").set_value("labels").run()
        at.text_input(key="correct labels").set_value("V3")
        _button(at, "Correct it").click().run()
        assert "V3 of batch tue" in at.error[0].value
        assert book.get("wed").revision == 1

    def test_what_is_odd_is_asked_about(self, book):
        at = turned(opened(), "trial_book")
        at.selectbox(key="correct_id").set_value("mon").run()
        at.selectbox(key="correct_what").set_value("strength 1 value").run()
        at.text_input(key="correct strength 1 value").set_value("5.6 psi")
        _button(at, "Correct it").click().run()
        assert at.error
        assert book.get("mon").revision == 1
        at.checkbox(key="correct_right").check()
        _button(at, "Correct it").click().run()
        assert not at.exception
        assert book.get("mon").trial.strengths


class TestPlaces:
    """The framework shuts a section that moves up or down on the page."""

    def test_no_section_moves_when_what_was_done_is_said(self, book):
        at = turned(opened(), "trial_book")
        before = places(at)
        assert len(before) == 4
        _button(at, "Enter it").click().run()
        assert at.success
        assert places(at) == before
        at.run()
        assert not at.success
        assert places(at) == before


def places(at) -> dict[str, int]:
    """Return where each folded section stands on the page."""
    return {block.label: place for place, block in at.main.children.items() if block.type == "expander"}


class TestSearch:
    """A complaint: what else came from the bag."""

    def test_a_lot_leads_to_batches_vessels_and_orders_as_at_the_command_line(self, book, command):
        at = turned(opened(), "trial_book")
        at.text_input(key="trace lot of a bag").set_value(" G2 ").run()
        assert not at.exception
        found = found_in(at)
        assert found.to_dict("records") == [
            {
                "batch": "tue",
                "blend by mass": "75 % gypsum cement, 25 % marble flour",
                "vessels": "V3",
                "order": "order 2",
            }
        ]
        told = command("trials", "trace", "--lot", "G2").out
        for words in (
            "Bags: gypsum cement, lot G2; marble flour, lot not noted.",
            "Not every vessel of tue has a label.",
        ):
            assert words in text_of(at)
            assert words in told

    def test_the_bags_of_several_batches_are_told_batch_by_batch(self, book, command):
        for day, (name, lot) in enumerate((("sat", "G4"), ("sun", "G1")), start=7):
            trial = Trial(dt.date(2026, 3, day), name, (Portion(GYPSUM, 300, lot),), labels=("V1",))
            book.add(trial, dt.date(2026, 4, 1))
        at = turned(opened(), "trial_book")
        at.text_input(key="trace number of a vessel").set_value("v1").run()
        told = command("trials", "trace", "--vessel", "v1").out
        for words in (
            "Bags of mon: gypsum cement, lot G1; marble flour, lot F1.",
            "Bags of sat: gypsum cement, lot G4.",
            "Bags of sun: gypsum cement, lot G1.",
        ):
            assert words in text_of(at)
            assert words in told
        book.withdraw("mon", "no batch")
        book.withdraw("sun", "no batch")
        assert "Bags: gypsum cement, lot G4." in command("trials", "trace", "--vessel", "V1").out

    def test_a_vessel_leads_to_its_bags(self, book):
        at = turned(opened(), "trial_book")
        at.text_input(key="trace number of a vessel").set_value("V1").run()
        assert "Bags: gypsum cement, lot G1; marble flour, lot F1." in text_of(at)
        assert found_in(at)["order"][0] == "order 1"

    def test_what_is_not_in_the_book_is_told_with_its_repair(self, book, command):
        at = turned(opened(), "trial_book")
        at.text_input(key="trace lot of a bag").set_value("G9").run()
        (told,) = [each.value for each in at.info if "G9" in each.value]
        assert "Check the spelling; only what was noted on weighing or labeling can be traced." in told
        assert "Check the spelling; only what was noted" in command("trials", "trace", "--lot", "G9").err

    def test_lots_in_another_spelling_are_named_found_or_not(self, book, command):
        slip = Trial(dt.date(2026, 3, 5), "thu", (Portion(GYPSUM, 300, "g l"),))
        book.add(slip, dt.date(2026, 4, 1))
        at = turned(opened(), "trial_book")
        at.text_input(key="trace lot of a bag").set_value("G1").run()
        words = "Also noted: g l, perhaps the same bag."
        assert words in text_of(at)
        assert words in command("trials", "trace", "--lot", "G1").out
        at.text_input(key="trace lot of a bag").set_value("G-1").run()
        words = "Also noted: G1, g l, perhaps the same bag."
        assert words in text_of(at)
        assert words in command("trials", "trace", "--lot", "G-1").err

    def test_the_list_shows_lots_where_any_are_noted(self, folder):
        book = TrialBook(folder / "trials.db")
        book.add(Trial(dt.date(2026, 3, 2), "mon", (Portion(GYPSUM, 300),)), dt.date(2026, 4, 1))
        at = turned(opened(), "trial_book")
        assert "lots" not in next(each.value for each in at.dataframe if "left out" in each.value)
        book.add(Trial(dt.date(2026, 3, 3), "tue", (Portion(GYPSUM, 300, "G1"),)), dt.date(2026, 4, 1))
        at.run()
        listed = next(each.value for each in at.dataframe if "left out" in each.value)
        assert list(listed["lots"]) == ["gypsum cement G1", ""]

    def test_the_list_shows_what_was_noted_in_a_small_window(self, folder, book):
        at = turned(opened(), "trial_book")
        listed = next(each for each in at.dataframe if "left out" in each.value)
        assert list(listed.value) == ["trial", "left out", "blend by mass", "lots", "vessels", "order"]
        assert list(listed.value["vessels"]) == ["", "V3", "V1, V2"]
        labels = tuple(f"W{number}" for number in range(1, 25))
        trial = Trial(
            dt.date(2026, 3, 5), "thu", (Portion(GYPSUM, 300),), whiteness=90.0, labels=labels, remarks="late"
        )
        book.add(replace(trial, demold=40.0, strengths=(Strength(24.0),)), dt.date(2026, 4, 1))
        at.run()
        listed = next(each for each in at.dataframe if "left out" in each.value)
        assert listed.value["vessels"][0] == "W1-W24"
        columns = json.loads(listed.proto.columns)
        widths = [columns[name]["width"] for name in listed.value]
        assert len(widths) == 10
        assert sum(widths) <= SMALL_LIST


class TestCommandLine:
    """Lots beside weighed grams."""

    WEIGHED = ("trials", "add", "date=2026-03-02", "--weighed", "gypsum_cement=300, water=105")

    def test_a_lot_beside_weighed_grams_is_kept(self, folder, command):
        told = command(*self.WEIGHED, "lot of gypsum_cement=G1", "labels=V1, V2", "id=mon")
        assert told.code == 0
        trial = TrialBook(folder / "trials.db").get("mon").trial
        assert (lots_of(trial), trial.labels) == ({GYPSUM: "G1"}, ("V1", "V2"))

    def test_numbers_from_one_to_another_are_all_of_them(self, folder, command):
        assert command(*self.WEIGHED, "labels=v08-v11, A1", "id=mon").code == 0
        trial = TrialBook(folder / "trials.db").get("mon").trial
        assert trial.labels == ("v08", "v09", "v10", "v11", "A1")
        assert "mon" in command("trials", "trace", "--vessel", "V10").out
        told = command(*self.WEIGHED, "labels=V1-V201")
        assert told.code == 4
        assert "read V1-V201" in told.err.replace("'", "")
        assert command(*self.WEIGHED, "labels=W1-W200").code == 0

    def test_a_lot_in_another_spelling_is_asked_about(self, folder, command):
        assert command(*self.WEIGHED, "lot of gypsum_cement=B-1017", "id=mon").code == 0
        typed = (*self.WEIGHED, "lot of gypsum_cement=b-1O17")
        told = command(*typed)
        assert told.code == 4
        assert "B-1017; or one unlike it. Correct it, or add --yes if it is right." in told.err
        assert command(*typed, "--yes").code == 0
        for same in ("B-1017", "b-1O17", "B-1018"):
            assert command(*self.WEIGHED, f"lot of gypsum_cement={same}").code == 0
        assert command(*self.WEIGHED, "lot of gypsum_cement=b1O17").code == 4

    def test_a_number_that_another_batch_has_is_asked_about(self, book, command):
        told = command(*self.WEIGHED, "labels=V2-V3")
        assert told.code == 4
        assert "labels: read V2 of batch mon; V3 of batch tue" in told.err
        assert command("trials", "add", "--correct", "mon", "labels=V1-V2, V5").code == 0
        assert command("trials", "add", "--correct", "mon", "labels=V1-V3").code == 4
        assert command(*self.WEIGHED, "labels=V2-V3", "--yes").code == 0

    def test_a_spelling_is_put_right_without_a_question(self, folder, command):
        assert command(*self.WEIGHED, "lot of gypsum_cement=b-1O17", "id=mon").code == 0
        assert command("trials", "add", "--correct", "mon", "powder 1 lot=B-1017").code == 0

    def test_a_lot_without_a_mass_is_refused(self, command):
        told = command(*self.WEIGHED, "lot of marble_flour=F1")
        assert told.code == 4
        assert "lot of marble_flour: read 'F1'" in told.err
        assert "Note its mass, or take the lot out." in told.err

    def test_a_correction_of_what_was_weighed_keeps_the_lots(self, book, command):
        grams = "gypsum_cement=310, silica_sand=90, water=141"
        told = command("trials", "add", "--correct", "mon", "--weighed", grams, "lot of silica_sand=S1")
        assert told.code == 0
        assert lots_of(book.get("mon").trial) == {GYPSUM: "G1", "silica_sand": "S1"}

    def test_one_mass_of_two_bags_is_asked_for_each(self, folder, command):
        book = TrialBook(folder / "trials.db")
        portions = (Portion(GYPSUM, 100, "G1"), Portion(GYPSUM, 200, "G2"))
        book.add(Trial(dt.date(2026, 3, 2), "mon", portions), dt.date(2026, 4, 1))
        told = command("trials", "add", "--correct", "mon", "--weighed", "gypsum_cement=310")
        assert told.code == 4
        assert "from the lots G1, G2" in told.err
        assert book.get("mon").revision == 1
