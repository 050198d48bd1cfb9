"""Undo: back through all edits of a window, a fit that was kept there included."""

from __future__ import annotations

import datetime as dt

import pytest
from streamlit.testing.v1 import AppTest

from optimizer.calibration.files import newest_calibration
from optimizer.jobfile import template
from optimizer.trials.book import TrialBook
from optimizer.trials.records import Portion, Strength, Trial
from tests.ui.test_page_logic import opened, text_of, turned
from ui import edits

FIELDS = (("dry_strength", "21 MPa"), ("demold_time", "75 min"), ("volume", "230 mL"))


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Run in an empty folder: the trial book is made where the page is started."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def values(at: AppTest) -> list[str]:
    return [at.text_input(key=key).value for key, _ in FIELDS]


def has_button(at: AppTest, key: str) -> bool:
    return any(each.key == key for each in at.button)


def test_undo_goes_back_through_all_edits_and_redo_forward():
    at = opened()
    stood = [values(at)]
    for key, text in FIELDS:
        at.text_input(key=key).set_value(text).run()
        stood.append(values(at))
    for before in stood[-2::-1]:
        at.button(key="undo").click().run()
        assert values(at) == before
    assert not has_button(at, "undo")
    assert "All changes are undone" in text_of(at)
    for after in stood[1:]:
        at.button(key="redo").click().run()
        assert values(at) == after
    assert not has_button(at, "redo")
    assert not at.exception


def test_a_new_edit_after_undo_ends_redo():
    at = opened()
    at.text_input(key="dry_strength").set_value("21 MPa").run()
    at.button(key="undo").click().run()
    at.text_input(key="dry_strength").set_value("22 MPa").run()
    assert not has_button(at, "redo")
    assert "20 MPa → 22 MPa" in text_of(at)
    at.button(key="undo").click().run()
    assert at.text_input(key="dry_strength").value == "20 MPa"


def test_the_words_of_each_edit_come_back_with_it():
    at = opened()
    at.text_input(key="dry_strength").set_value("21 MPa").run()
    at.text_input(key="demold_time").set_value("75 min").run()
    assert "60 min → 75 min" in text_of(at)
    at.button(key="undo").click().run()
    assert "20 MPa → 21 MPa" in text_of(at)
    assert "75 min" not in text_of(at)


def test_the_edits_that_can_be_taken_back_are_bounded(monkeypatch):
    monkeypatch.setattr(edits, "_MOST", 2)
    at = opened()
    for strength in (21, 22, 23):
        at.text_input(key="dry_strength").set_value(f"{strength} MPa").run()
    for strength in (22, 21):
        at.button(key="undo").click().run()
        assert at.text_input(key="dry_strength").value == f"{strength} MPa"
    assert not has_button(at, "undo")


def test_undo_takes_a_fit_out_of_use_and_keeps_its_file(folder):
    book = TrialBook(folder / "trials.db")
    for day in (1, 2, 3):
        portions = (Portion("gypsum_cement", 300.0),)
        strength = Strength(60.0, age=10_080.0, state="dry", method="cube")
        trial = Trial(dt.date(2026, 3, day), portions=portions, water=126.0, strengths=(strength,))
        book.add(trial, dt.date(2026, 4, 1))
    at = turned(opened(), "trial_book")
    assert "shipped figures" in text_of(at)
    at.button(key="keep_fit").click().run()
    kept = newest_calibration(folder)
    assert kept is not None
    assert "other fitted figures" in text_of(at)
    text = kept.read_text(encoding="utf-8")
    at.button(key="undo").click().run()
    assert not at.exception
    assert newest_calibration(folder) is None
    assert (folder / f"undone-{kept.name}").read_text(encoding="utf-8") == text
    assert has_button(at, "keep_fit")  # it can be used again
    at.button(key="keep_fit").click().run()
    assert newest_calibration(folder) is not None
    at.toggle(key="use_trials").set_value(False).run()
    at.button(key="undo").click().run()
    assert at.toggle(key="use_trials").value
    assert newest_calibration(folder) is not None  # the toggle alone was taken back


def test_an_edit_says_why_another_blend_took_the_place_of_the_one_before():
    """A hot room: what pours for long enough at 21 degC does not at 32."""
    at = opened(template("demo"))
    at.text_input(key="shop.temperature").set_value("32 C").run()
    assert "the blend before would hold with" in text_of(at)
    assert "least surely its working window" in text_of(at)
    at.text_input(key="shop.temperature").set_value("31.9 C").run()
    assert "the blend before" not in text_of(at), "it holds still"
