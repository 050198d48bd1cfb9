"""Trade-offs: the binders it marks, its words, its chart and its table."""

from __future__ import annotations

import re
from typing import Any

import pytest

from optimizer.job import Limit
from optimizer.studies.frontier import Frontier, FrontierBlend
from tests.ui.test_page_logic import folder, opened, text_of, turned
from ui.question import Question
from ui.trade_answers import Traded, traded
from ui.trade_charts import jump_of, trade_chart
from ui.trade_text import bend_words

__all__ = ["folder"]

SANDED = """
title = "Sanded tumbler"
currency = "EUR"
materials = ["silica_sand", "gypsum_cement", "csa_cement"]
example_prices = true
[vessel]
cavity_volume = "215 mL"
[limits]
dry_strength = ">= 18 MPa"
demold_time = "<= 24 h"
[prices.gypsum_cement]
pack = "25 kg"
price = 41.50
[prices.csa_cement]
pack = "25 kg"
price = 32.00
[prices.silica_sand]
pack = "25 kg"
price = 8.00
"""
"""A job that names its sand first, of which its mixes hold most; prices are invented."""


@pytest.fixture(scope="module")
def found() -> Traded:
    """Trade money for time."""
    return traded(Question(SANDED), ("cost", "demold_time"), 12)


def test_a_single_binder_is_named_though_a_filler_stands_first(found: Traded) -> None:
    first = {next(iter(each.mix.blend)) for each in found.binders.values() if each.mix}
    assert "silica_sand" in first, "a mix whose first powder is a filler is what this looks at"
    assert set(found.binders) == {"gypsum cement", "CSA cement"}


def test_the_page_says_which_way_it_gets_dear_where_there_is_a_bend() -> None:
    words = text_of(turned(opened(SANDED), "trade_offs"))
    said = re.search(r"Getting out of the mold sooner than .* costs more for each", words)
    bend = traded(Question(SANDED), ("cost", "demold_time"), 24).front.knee
    assert (said is None) == (bend is None)


@pytest.mark.parametrize(
    ("over", "told", "way"),
    [
        (("cost", "dry_mass"), ("7.00 EUR", "380 g"), "A dry mass below 380 g"),
        (("cost", "dry_strength"), ("7.00 EUR", "25 MPa"), "A dry strength above 25 MPa"),
    ],
)
def test_each_quantity_has_its_own_side(over: tuple[str, str], told: tuple[str, str], way: str) -> None:
    assert bend_words(over, told).startswith(way)


def _mark(letter: str, x: float, y: float) -> dict[str, Any]:
    return {"letter": letter, "x": x, "y": y}


def _dot(x: float, y: float, low: float, high: float) -> dict[str, Any]:
    return {
        "id": 1,
        "verdict": "holds",
        "x": x,
        "y": y,
        "x_low": low,
        "x_high": high,
        "y_low": y,
        "y_high": y,
    }


def _chart(marks: list[dict[str, Any]], bound: float) -> dict[str, Any]:
    dots = [_dot(30.0, 7.6, 25.0, 43.0), _dot(60.0, 7.4, 39.0, float("inf"))]
    limits = (Limit("demold_time", "<=", bound),)
    return trade_chart(("cost", "demold_time"), dots, marks, limits, "EUR", "metric").to_dict()


def _rows(chart: dict[str, Any]) -> list[dict[str, Any]]:
    return [row for data in chart["datasets"].values() for row in data]


def test_a_range_without_end_is_cut_at_the_edge_of_the_chart() -> None:
    chart = _chart([_mark("A", 45.0, 7.5)], 70.0)
    domain = next(
        layer["encoding"]["x"]["scale"]["domain"]
        for layer in chart["layer"]
        if "scale" in layer["encoding"].get("x", {})
    )
    ends = [row[end] for row in _rows(chart) if "x_high" in row for end in ("x_low", "x_high")]
    assert all(domain[0] <= end <= domain[1] for end in ends)
    assert domain[1] < 2 * 60.0


def test_the_axis_of_the_cost_is_in_whole_cents() -> None:
    layer = next(each for each in _chart([], 70.0)["layer"] if "scale" in each["encoding"].get("y", {}))
    assert layer["encoding"]["y"]["axis"]["format"] == ".2f"
    assert "format" not in layer["encoding"]["x"]["axis"]


@pytest.mark.parametrize(("bound", "drawn"), [(70.0, True), (1440.0, False)])
def test_a_limit_far_from_all_blends_does_not_squeeze_them(bound: float, drawn: bool) -> None:
    rows = _rows(_chart([_mark("A", 45.0, 7.5)], bound))
    assert ({"x": bound} in rows) is drawn


def test_rings_on_each_other_share_their_letters() -> None:
    rows = _rows(_chart([_mark("A", 45.0, 7.5), _mark("B", 45.5, 7.501), _mark("C", 30.0, 7.6)], 70.0))
    texts = {row["letter"] for row in rows if "letter" in row}
    assert {"A B", "C"} <= texts


def test_the_table_tells_number_and_blend_first() -> None:
    table = turned(opened(), "trade_offs").dataframe[0].value
    assert list(table.columns[:2]) == ["no.", "blend"]


@pytest.mark.parametrize(
    ("preset", "asked"), [("whiter", "whiter vessel"), ("surer", "surer that all limits hold")]
)
def test_a_preset_asks_its_question(preset: str, asked: str) -> None:
    at = turned(opened(), "trade_offs")
    assert at.title[0].value == "What does a faster mold cost?"
    assert at.segmented_control(key="trade_preset").value == "faster"
    at.segmented_control(key="trade_preset").set_value(preset).run()
    assert not at.exception
    assert asked in at.title[0].value
    assert at.segmented_control(key="trade_preset").value == preset


def test_quantities_of_no_preset_mark_none() -> None:
    at = turned(opened(), "trade_offs")
    at.selectbox(key="take").set_value("working_window").run()
    assert not at.exception
    assert at.segmented_control(key="trade_preset").value is None


def test_the_card_beside_the_chart_tells_what_a_selected_blend_holds_more_of() -> None:
    at = turned(opened(), "trade_offs")
    assert any("The design's own blend" in each.value for each in at.markdown)
    at.session_state["blend"] = "gypsum_cement=100@0.42"
    at.run()
    assert any("### Selected blend" in each.value for each in at.markdown)
    table = next(each.value for each in at.html if "against the design" in each.value)
    assert re.search(r">[-+][0-9]+ g<", table)


def _front(coats: list[int], costs: list[float]) -> Frontier:
    blends = tuple(
        FrontierBlend({"cost": cost, "demold_time": 30.0 + place}, {"gypsum_cement": 1.0}, 0.3, 6, coat, ())
        for place, (coat, cost) in enumerate(zip(coats, costs, strict=True))
    )
    return Frontier(("cost", "demold_time"), ("min", "min"), blends, None)


def test_a_jump_is_named_by_its_reason_and_a_slope_is_none() -> None:
    jump = jump_of(_front([2, 2, 1, 1], [7.80, 7.75, 7.00, 6.95]))
    assert jump is not None
    assert (jump.place, jump.beside, jump.reason) == (1, 2, "2 coats of sealer for 1")
    assert jump.more == pytest.approx(0.75)
    assert jump_of(_front([1, 1, 1, 1], [7.80, 7.75, 7.00, 6.95])) is None
    assert jump_of(_front([2, 2, 2, 1, 1, 1], [7.5, 7.4, 7.3, 7.2, 7.1, 7.0])) is None
