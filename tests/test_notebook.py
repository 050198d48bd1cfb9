"""Records in a notebook: the tables say what the records hold, and no text of a file becomes markup.

The checks compare the tables with the records themselves and with HTML as Python's own parser reads it.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from optimizer import (
    CAUTIONS,
    FileFaults,
    Limit,
    Portion,
    Strength,
    Trial,
    TrialBook,
    calibrate,
    check,
    compare,
    design,
    frontier,
    order,
    parameter_set,
)
from optimizer.calibration.record import Flagged

PRESENT = {"gypsum_cement": 68.0, "silica_sand": 32.0}


class Cells(HTMLParser):
    """Tags and texts of a piece of HTML."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.texts = set(), []
        self.feed(text)

    def handle_starttag(self, tag, attrs):  # a parser's own name
        assert attrs == []
        self.tags.add(tag)

    def handle_data(self, data):
        self.texts.append(data)


def cells(record):
    found = Cells(record._repr_html_())
    assert found.tags <= {"table", "tr", "th", "td", "p"}
    return found.texts


@pytest.fixture(scope="module")
def designed(demo, catalogue):
    return design(demo, catalogue)


def test_a_solution_shows_every_gram_limit_and_caution(designed):
    shown = cells(designed)
    assert [name for name in designed.mix.grams if name not in shown] == []
    assert sum(text in (">= 25 MPa", "<= 45 min", ">= 88.0") for text in shown) == 3
    assert [key for key in designed.cautions if CAUTIONS[key] not in shown] == []


def test_a_solution_as_a_data_frame_holds_every_property(designed):
    table = designed.table()
    assert list(table.index) == list(designed.properties)
    assert table.loc["dry_mass", "value"] == designed.properties["dry_mass"].value
    assert (table["low"] <= table["value"]).all()


def test_a_title_with_tags_stays_text(demo, catalogue):
    hostile = "<script>alert(1)</script>"
    assert f"{hostile}: fails" in cells(check(replace(demo, title=hostile), PRESENT, catalogue, 0.26))


def test_no_blend_shows_what_would_do(demo, catalogue):
    asked = replace(demo, limits=(Limit("demold_time", "<=", 45.0), Limit("dry_strength", ">=", 500.0)))
    none = design(asked, catalogue)
    shown = cells(none)
    assert none.mix is None
    assert len([text for text in shown if text.startswith("A blend is possible with")]) == len(
        none.relaxations
    )


def test_a_comparison_shows_both_blends_and_the_saving(demo, catalogue, designed):
    both = compare(check(demo, PRESENT, catalogue, 0.26), designed)
    table = both.table()
    assert (table["candidate"] - table["present"]).equals(table["change"].rename(None))
    assert f"Saved per good vessel: {both.saving:.2f} EUR." in cells(both)
    assert "Repeat the burn test." in cells(both)


def test_a_frontier_shows_its_blends_in_order(demo, catalogue):
    found = frontier(demo, catalogue, ("cost", "demold_time"), points=5)
    table = found.table()
    assert len(table) == len(found.blends)
    assert table["demold_time"].is_monotonic_increasing
    assert table["cost"].is_monotonic_decreasing
    assert cells(found).count("→") == (found.knee is not None)


def test_an_order_shows_its_plans_best_first(demo, catalogue):
    answer = order(demo, catalogue, 60, dt.date(2026, 6, 30), dt.date(2026, 6, 1))
    table = answer.table()
    assert list(table.index) == [each.plan.candidate.name for each in answer.ranked]
    assert table["in_time"].all()
    assert cells(answer).count("yes") == len(table)


def test_a_calibration_pulls_a_figure_toward_what_was_seen(demo, catalogue, tmp_path):
    book = TrialBook(tmp_path / "trials.db")
    tested = (Strength(30.0, state="dry", method="cube"),)
    book.add(
        Trial(dt.date(2026, 3, 2), portions=(Portion("gypsum_cement", 300.0),), water=105.0, strengths=tested)
    )
    fit = calibrate(tmp_path / "trials.db", catalogue, demo)
    row = fit.table().set_index("reading").loc["dry_strength"]
    assert row["seen"] == 30.0
    assert abs(row["after"] - 30.0) < abs(row["before"] - 30.0)
    learned = fit.calibration.table()
    assert learned.loc["gypsum_cement.strength", "trials"] == 1
    assert "gypsum_cement.strength" in cells(fit)
    known = parameter_set(fit.calibration, catalogue, demo.materials)
    before, after = (
        check(demo, PRESENT, catalogue, 0.26, parameters=p).properties["dry_strength"] for p in (None, known)
    )
    assert after.value < before.value
    assert after.evidence == "calibrated"
    odd = replace(fit.calibration, flagged=(Flagged("2026-03-02-a", "end of pouring", 11.0, 4.2),))
    assert "end of pouring of 11 min does not fit" in odd._repr_html_()


def test_a_missing_book_is_a_fault_with_a_repair(catalogue, tmp_path):
    with pytest.raises(FileFaults, match="vesselblend trials add"):
        calibrate(tmp_path / "none.db", catalogue)
    assert list(tmp_path.iterdir()) == []
