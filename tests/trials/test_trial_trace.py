"""From a bag to the vessels and back: own bookkeeping, checked on an invented week."""

from __future__ import annotations

import datetime as dt

import pytest
from trial_samples import TODAY

from optimizer.trials.records import Portion, Trial
from optimizer.trials.trace import trace_lot, trace_vessel
from optimizer.trials.trial_errors import NoSuchTrial


@pytest.fixture
def week(book):
    gypsum, mortar = "gypsum_cement", "rapid_set_mortar"
    rows = [
        ("mon", (Portion(gypsum, 300, "G1"), Portion(mortar, 100, "R1")), ("V1", "V2"), "order 1", 2),
        ("tue", (Portion(gypsum, 100, "G1"), Portion(gypsum, 200, "G2")), ("V3",), "order 2", 3),
        ("wed", (Portion(gypsum, 300, "G2"), Portion(mortar, 100, "G1")), ("V4", "V2"), "order 2", 2),
        ("thu", (Portion(gypsum, 300),), (), "", 1),
    ]
    for day, (name, portions, labels, order, cast) in enumerate(rows, start=2):
        book.add(
            Trial(dt.date(2026, 3, day), name, portions, labels=labels, sold_order=order, cast=cast), TODAY
        )
    return book


def test_a_lot_leads_to_batches_vessels_and_orders(week):
    trace = trace_lot(week, "G1")
    assert [batch.id for batch in trace.batches] == ["mon", "tue", "wed"]
    assert trace.vessels == ("V1", "V2", "V3", "V4")
    assert trace.orders == ("order 1", "order 2")
    assert trace.unlabeled == ("tue",)


def test_two_materials_may_share_a_lot_number(week):
    assert [batch.id for batch in trace_lot(week, "G1", "rapid_set_mortar").batches] == ["wed"]


def test_a_vessel_leads_back_to_its_bags(week):
    assert trace_vessel(week, "V1").bags == (("gypsum_cement", "G1"), ("rapid_set_mortar", "R1"))
    assert [batch.id for batch in trace_vessel(week, "V2").batches] == ["mon", "wed"]


def test_a_corrected_batch_is_traced_by_its_newest_version(week):
    old = week.get("mon").trial
    week.correct(
        Trial(old.date, "mon", (Portion("gypsum_cement", 300, "G9"),), labels=("V1",)),
        "wrong bag",
        today=TODAY,
    )
    assert [batch.id for batch in trace_lot(week, "G1").batches] == ["tue", "wed"]
    assert [batch.id for batch in trace_lot(week, "G9").batches] == ["mon"]
    week.withdraw("mon", "no batch at all")
    with pytest.raises(NoSuchTrial, match="V1"):
        trace_vessel(week, "V1")


def test_a_lot_in_another_spelling_is_named_where_it_counts(week):
    assert trace_lot(week, "G1").alike == ()
    old = week.get("mon").trial
    week.correct(Trial(old.date, "mon", (Portion("gypsum_cement", 300, "gI"),)), "misread", today=TODAY)
    assert trace_lot(week, "G1").alike == ("gI",)
    assert trace_lot(week, "G1", "rapid_set_mortar").alike == ()
    with pytest.raises(NoSuchTrial, match="Also noted: G1, gI, perhaps the same bag"):
        trace_lot(week, "G-l")
    week.withdraw("mon", "no batch at all")
    assert trace_lot(week, "G1").alike == ()


@pytest.mark.parametrize("lot", ["", "G3"])
def test_an_unknown_lot_is_said_to_be_unknown(week, lot):
    with pytest.raises(NoSuchTrial, match="noted on weighing"):
        trace_lot(week, lot)
