"""A powder from its bag, kept by the form of the page."""

from __future__ import annotations

from pathlib import Path

import pytest

from optimizer.specs import load_catalogue
from tests.ui.test_page_logic import opened, turned


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Run in an empty folder: own powders are kept where the page is started."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def filled(at, **typed):
    at.selectbox(key="new_powder.like").set_value("csa_cement")
    for key, text in typed.items():
        at.text_input(key=f"new_powder.{key}").set_value(text)
    at.button(key="FormSubmitter:new_powder-Keep it").click()
    return at.run()


def test_a_powder_is_kept_and_the_job_may_use_it_at_its_price(folder):
    at = turned(opened(), "shelf")
    at = filled(at, name="budget_csa", pack="25 kg", price="22", strengths="3 h = 15 MPa; 28 d = 42.5 MPa")
    assert not at.exception
    own = load_catalogue(folder / "own_materials")["budget_csa"]
    assert [point.strength.value for point in own.reference_points] == [15.0, 42.5]
    assert "budget_csa" in at.pills(key="powders").value
    assert any("budget csa is kept" in each.value for each in at.success)


def test_faults_come_together_and_nothing_is_kept():
    at = turned(opened(), "shelf")
    at = filled(at, name="budget_csa", set_begins="soon", silica="lots")
    assert not at.exception
    (told,) = [each.value for each in at.error if "Not kept" in each.value]
    assert "set_begins" in told
    assert "silica" in told
    assert not Path("own_materials").exists()
    assert at.text_input(key="new_powder.set_begins").value == "soon"


def test_what_a_powder_is_like_is_asked_and_never_taken_for_granted(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    at = turned(opened(), "shelf")
    assert at.selectbox(key="new_powder.like").value is None
    at.text_input(key="new_powder.name").set_value("budget_filler")
    next(each for each in at.button if each.label == "Keep it").click().run()
    assert not at.exception
    assert any("most like: choose" in each.value for each in at.error)
    assert not list(tmp_path.glob("**/budget_filler.toml"))
