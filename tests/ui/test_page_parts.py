"""The parts of the page that need no browser and no session: drafts, blends, colors, charts, launcher."""

from __future__ import annotations

import doctest
import importlib
import re
import socket
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from optimizer.errors import VesselblendError
from optimizer.job import Job, Limit, Vessel
from optimizer.jobfile import parse_job, template, write_job
from optimizer.materials import Catalogue
from optimizer.specs import load_catalogue
from optimizer.studies.check import check
from ui.charts import SHAPES, cost_chart, margin_chart, margin_rows
from ui.draft import drafted, field_value, invented, laid_over, tables_of, whose
from ui.drawings import (
    LimitLine,
    WeighLine,
    bar_colors,
    blend_bar,
    dots,
    dots_held,
    limits_table,
    weigh_table,
)
from ui.fields import DECISIONS, SHOP, price_fields
from ui.jobs import blend_of, blend_text
from ui.page_launcher import SETTINGS, free_port, settings
from ui.page_words import chance_phrase
from ui.palette import DARK, LIGHT, PARTS
from ui.receipt import changed_fields
from ui.trade_charts import mark_row
from ui.trial_form import READINGS, powder_column, trial_of
from ui.vessel_drawing import vessel_section

ROOT = Path(__file__).parents[2]
DEMO = template("demo")


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load_catalogue()


@pytest.fixture(scope="module")
def demo(catalogue: Catalogue) -> Job:
    return parse_job(DEMO, catalogue, "demo")


class TestDraft:
    """The job under its fields."""

    def test_untouched_fields_change_nothing(self, catalogue, demo):
        fields = [*DECISIONS, *SHOP, *(f for name in demo.materials for f in price_fields(name))]
        shown = {field.key: field_value(tables_of(DEMO), field.key) for field in fields}
        assert drafted(DEMO, shown, catalogue).job == demo

    def test_the_saved_job_is_the_job_shown(self, catalogue):
        draft = drafted(DEMO, {"limits.dry_strength": "3500 psi", "shop.wage": "24,50 /h"}, catalogue)
        assert parse_job(draft.text, catalogue, "again") == draft.job

    @pytest.mark.parametrize(
        ("typed", "bound"),
        [
            pytest.param("1h15", 75.0, id="hours-and-minutes"),
            pytest.param("<= 45 min", 45.0, id="with-its-sense"),
            pytest.param("0,5 h", 30.0, id="decimal-comma"),
        ],
    )
    def test_a_limit_as_people_type_it(self, typed, bound, catalogue):
        job = drafted(DEMO, {"limits.demold_time": typed}, catalogue).job
        assert Limit("demold_time", "<=", bound) in job.limits

    def test_an_empty_field_is_no_limit(self, catalogue, demo):
        job = drafted(DEMO, {"limits.whiteness": " "}, catalogue).job
        assert [x for x in job.limits if x.property == "whiteness"] == []
        assert len(job.limits) == len(demo.limits) - 1

    def test_the_other_bound_of_a_property_stays(self, catalogue):
        both = re.sub('dry_mass = ".*"', 'dry_mass = ["<= 365 g", ">= 200 g"]', DEMO)
        assert field_value(tables_of(both), "limits.dry_mass") == "365 g"
        job = drafted(both, {"limits.dry_mass": "350 g"}, catalogue).job
        assert {(x.sense, x.bound) for x in job.limits if x.property == "dry_mass"} == {
            ("<=", 350.0),
            (">=", 200.0),
        }

    @pytest.mark.parametrize(
        ("key", "typed"),
        [
            ("limits.demold_time", "soon"),
            ("limits.demold_time", "60"),
            ("limits.dry_strength", "25 kg"),
            ("vessel.cavity_volume", "7 oz"),
            ("confidence", "200 %"),
            ("shop.molds", "six"),
            ("prices.marble_flour.breaks", "10: 38.50; 5: 36"),
            ("prices.marble_flour.breaks", "ten"),
        ],
    )
    def test_nonsense_comes_back_to_its_field_with_a_repair(self, key, typed, catalogue):
        draft = drafted(DEMO, {key: typed, "shop.wage": "21 /h"}, catalogue)
        assert draft.job is None
        assert list(draft.faults) == [key]
        assert draft.faults[key].repair
        assert field_value(tables_of(draft.text), "shop.wage") == "21 /h"

    def test_a_fault_of_a_limit_shows_what_was_typed(self, catalogue):
        fault = drafted(DEMO, {"limits.demold_time": "soon"}, catalogue).faults["limits.demold_time"]
        assert fault.value == "'soon'"

    @pytest.mark.parametrize(
        ("key", "typed", "told"),
        [
            ("limits.dry_strength", "0.19", "Add the unit: 0.19 MPa if that is meant."),
            ("limits.dry_strength", "-5", "Write a number above 0 with its unit"),
            ("limits.dry_strength", "-5 MPa", "Write a number above 0 with its unit"),
            ("limits.whiteness", "-5", "Write a number above 0, or nothing"),
            ("limits.demold_time", "20 kg", "Use one of these units: min, h or d."),
        ],
    )
    def test_a_repair_is_one_for_a_field(self, key, typed, told, catalogue):
        fault = drafted(DEMO, {key: typed}, catalogue).faults[key]
        assert told in fault.repair
        assert fault.value == repr(typed)

    def test_a_title_made_for_another_job_does_not_stay(self, catalogue, demo):
        assert field_value(tables_of(DEMO), "title") == ""
        changed = drafted(DEMO, {"title": "", "vessel.cavity_volume": "190 mL"}, catalogue)
        assert changed.job.title == "190 mL vessel"
        assert parse_job(changed.text, catalogue, "again") == changed.job
        assert drafted(changed.text, {"vessel.cavity_volume": "6.5 fl oz"}, catalogue).job.title == (
            "192 mL vessel"  # NIST SP 811: a US fluid ounce is 29.57353 mL
        )
        assert drafted(DEMO, {"limits.demold_time": "180 min"}, catalogue).job.title == "215 mL vessel"
        assert drafted(DEMO, {"shop.wage": "25 /h"}, catalogue).job.title == demo.title

    def test_a_title_of_ones_own_stays_until_it_is_cleared(self, catalogue):
        own = drafted(DEMO, {"title": " Ribbed cup ", "vessel.cavity_volume": "190 mL"}, catalogue)
        assert own.job.title == "Ribbed cup"
        assert field_value(tables_of(own.text), "title") == "Ribbed cup"
        assert drafted(own.text, {"title": ""}, catalogue).job.title == "190 mL vessel"

    def test_the_range_of_a_share_is_told_in_percent(self, catalogue):
        faults = drafted(DEMO, {"confidence": "150", "shop.reject": "1"}, catalogue).faults
        assert faults["confidence"].allowed == "50 % or more, at most 99.9 %"
        assert faults["shop.reject"].allowed == "0 % or more, below 100 %"

    def test_price_breaks_are_read_and_shown_alike(self, catalogue):
        key = "prices.gypsum_cement.breaks"
        draft = drafted(DEMO, {key: "10: 38.50; 40: 36"}, catalogue)
        assert draft.job.prices["gypsum_cement"].breaks == ((10, 38.5), (40, 36.0))
        assert drafted(DEMO, {key: field_value(tables_of(draft.text), key)}, catalogue).job == draft.job

    def test_a_powder_taken_out_takes_its_price_along(self, catalogue, demo):
        names = [name for name in demo.materials if name != "silica_sand"]
        job = drafted(DEMO, {"materials": names}, catalogue).job
        assert set(job.prices) == set(names)

    def test_whose_figure_it_is(self, catalogue):
        tables = tables_of(DEMO)
        assert whose(tables, tables, "shop.wage", "20 /h") == "example"
        assert whose(tables, tables, "shop.wage", "24 /h") == "yours"
        own = laid_over(tables, {"example_prices": False})
        assert whose(own, tables, "shop.wage", "20 /h") == "yours"
        assert whose(own, tables, "shop.prep", "") == "example"

    def test_prices_count_as_examples_until_the_last_of_them_is_replaced(self, catalogue):
        keys = invented(tables_of(DEMO))
        own = {key: "33 /h" if key == "shop.wage" else "33" for key in keys}
        last = dict(list(own.items())[:-1])
        assert drafted(DEMO, last, catalogue).job.example_prices
        done = drafted(DEMO, own, catalogue)
        assert not done.job.example_prices
        assert not drafted(done.text, {}, catalogue).job.example_prices

    def test_every_field_is_a_key_of_the_job_file(self, catalogue, demo):
        written = tables_of(write_job(demo))
        for field in (*DECISIONS, *SHOP):
            value = field_value(written, field.key) or "1"
            assert field.key not in drafted(DEMO, {field.key: value}, catalogue).faults or value == "1"


class TestBlend:
    """A blend as text."""

    def test_a_blend_survives_the_address(self, catalogue):
        blend = {"gypsum_cement": 1.0 / 3.0, "marble_flour": 2.0 / 3.0}
        read, ratio = blend_of(blend_text(blend, 0.3141592), catalogue)
        whole = sum(read.values())
        assert {name: part / whole for name, part in read.items()} == pytest.approx(blend, rel=1e-11)
        assert ratio == pytest.approx(0.3141592, rel=1e-11)

    @pytest.mark.parametrize(
        "text", ["", "gypsum_cement", "unobtainium=50@0.3", "gypsum_cement=50@9", "<b>=1@x"]
    )
    def test_nonsense_is_no_blend(self, text, catalogue):
        assert blend_of(text, catalogue) is None


def luminance(color: str) -> float:
    """Relative luminance, WCAG 2.1 (W3C Recommendation 2018), definition of relative luminance."""
    channels = [int(color[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two colors, WCAG 2.1."""
    high, low = sorted((luminance(first), luminance(second)), reverse=True)
    return (high + 0.05) / (low + 0.05)


class TestColors:
    """Contrast, measured."""

    def test_the_ruler_itself(self):
        assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
        assert contrast("#767676", "#FFFFFF") == pytest.approx(
            4.54, abs=0.01
        )  # W3C technique G18, from memory

    @pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
    @pytest.mark.parametrize("part", [*PARTS, "primary", "link"])
    def test_every_mark_and_word_reads_on_its_page(self, theme, part):
        assert contrast(theme[part], theme["background"]) >= 4.5
        if part in ("text", "primary", "link"):
            assert contrast(theme[part], theme["panel"]) >= 4.5

    @pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
    def test_borders_are_seen(self, theme):
        assert contrast(theme["border"], theme["background"]) >= 3.0

    def test_verdicts_differ_in_shape(self):
        assert len(set(SHAPES.values())) == len(SHAPES)


class TestCharts:
    """Chart specifications."""

    def test_margins_put_the_limit_at_zero_and_the_tightest_first(self, catalogue, demo):
        solution = check(demo, {"gypsum_cement": 1.0}, catalogue, 0.42)
        rows = margin_rows({"in hand": solution}, "metric")
        chances = [
            next(v for v in solution.limits if row["limit"].startswith(_label(v))).probability for row in rows
        ]
        assert chances == sorted(chances)
        for row in rows:
            verdict = next(v for v in solution.limits if row["limit"].startswith(_label(v)))
            assert (row["best"] >= 0.0) == (verdict.margin >= 0.0)
            assert -1.0 <= row["low"] <= row["best"] <= row["high"] <= 1.0

    def test_a_mark_has_the_verdict_on_all_limits_together(self, catalogue, demo):
        """Each limit may hold surely enough alone while all of them together do not."""
        solution = check(replace(demo, confidence=0.75), {"gypsum_cement": 1.0}, catalogue)
        assert {each.verdict for each in solution.limits} == {"holds"}
        assert solution.joint_probability < 0.75
        assert mark_row(("cost", "demold_time"), solution, None, "metric")["verdict"] == "uncertain"

    def test_a_limit_in_fahrenheit_leaves_room_for_its_verdict(self, catalogue, demo):
        job = replace(demo, limits=(Limit("heat_margin", ">=", 0.0),))
        row = margin_rows({"in hand": check(job, {"gypsum_cement": 1.0}, catalogue, 0.42)}, "us")[0]
        assert "°F" in row["words"]
        # a half of the page holds some 340 px, a letter of 13 px takes about 6.4 px (measured)
        assert 6.4 * (len(row["words"]) + len(row["verdict"])) < 340

    def test_charts_carry_no_color_of_their_own(self, catalogue, demo):
        solution = check(demo, {"gypsum_cement": 1.0}, catalogue, 0.42)
        rows = margin_rows({"in hand": solution}, "us")
        for chart in (margin_chart(rows), cost_chart(solution.cost_parts)):
            assert "#" not in str(chart.to_dict(validate=True)["layer"])


class TestDrawings:
    """What is drawn in HTML."""

    def test_a_section_is_to_scale(self):
        # the wall of 8 mm of a vessel 80 mm wide takes a tenth of the width drawn
        picture = vessel_section(Vessel(215.0, 80.0, 95.0, 8.0, 8.0), {}, "metric", LIGHT)
        across = float(
            re.search(r'stroke-width="1.5"', picture) and re.search(r"H([0-9.]+) V14.0 H", picture)[1]
        )
        inner = float(re.search(r"V14.0 H([0-9.]+) V", picture)[1])
        assert (across - inner) / (across - 96.0) == pytest.approx(0.1, abs=0.002)

    def test_a_chance_fills_as_many_dots_as_its_words_say(self):
        for chance in (0.0, 0.04, 0.5, 0.84, 0.97, 1.0):
            row = dots(chance, LIGHT)
            assert row.count("<span") == 20
            assert row.count("background:") == dots_held(chance)

    def test_no_dot_looks_well_where_the_chance_is_not_sure_enough(self):
        row = dots(0.62, LIGHT, sure=False)
        assert LIGHT["holds"] not in row
        assert row.count(LIGHT["fails"]) == 20 - dots_held(0.62)

    def test_a_limit_alone_is_gray_and_what_it_takes_stands_out(self):
        line = LimitLine("a", "at least 8 min", 0.9, "90 %", "5 … 9 … 12 min", "holds", fails_low=True)
        for theme in (LIGHT, DARK):
            calm, most = (limits_table([replace(line, takes_most=each)], theme) for each in (False, True))
            assert theme["holds"] not in calm + most
            assert f"color:{theme['fails']}" not in calm
            assert f"color:{theme['fails']}" in most
            assert "takes most" in most

    def test_a_material_has_its_color_in_every_blend(self, catalogue):
        colors = bar_colors(list(catalogue))
        for blend in ({"marble_flour": 0.2, "gypsum_cement": 0.8}, {"gypsum_cement": 0.1, "csa_cement": 0.9}):
            bar = blend_bar(blend, LIGHT, colors)
            parts = dict(re.findall(r"flex:(0[.][0-9]+) 1 0.*?background:(#[0-9A-F]+)", bar))
            assert parts == {f"{share:.4f}": LIGHT[colors[name]] for name, share in blend.items()}
        assert colors["gypsum_cement"] not in (colors["marble_flour"], colors["silica_sand"])

    def test_the_failing_side_is_hatched_where_the_limit_lies(self):
        line = LimitLine("a", "at least 8 min", 0.7, "70 %", "5 … 9 … 12 min", "uncertain", fails_low=True)
        low, high = (limits_table([replace(line, fails_low=each)], LIGHT) for each in (True, False))
        assert low.index("repeating-linear-gradient") < low.index("flex:0.7000")
        assert high.index("repeating-linear-gradient") > high.index("flex:0.7000")
        assert "repeating" not in limits_table([replace(line, chance=0.999)], LIGHT)
        assert "dashed" in limits_table([replace(line, judged=False)], LIGHT)

    def test_words_of_others_are_never_markup(self):
        foreign = '<img src="http://192.0.2.1/x.png">'
        table = weigh_table([WeighLine(foreign, "1 g", "1 g")], LIGHT) + blend_bar(
            {foreign: 1.0}, LIGHT, bar_colors([foreign])
        )
        assert "<img" not in table


def _label(verdict):
    from optimizer.nomenclature import quantity

    return quantity(verdict.limit.property).label


class TestWords:
    """Words of the page."""

    @pytest.mark.parametrize(
        ("chance", "word"),
        [  # likelihood scale of the IPCC guidance note on uncertainties, 2010, from memory
            (0.995, "all but certain"),
            (0.95, "very likely"),
            (0.70, "likely"),
            (0.50, "about even"),
            (0.20, "unlikely"),
            (0.05, "very unlikely"),
        ],
    )
    def test_chances_in_words(self, chance, word):
        assert chance_phrase(chance).startswith(word)


class TestTrialForm:
    """The form of a trial."""

    def test_a_filled_form_is_a_trial(self):
        trial, faults = trial_of(
            {
                "date": "2026-03-02",
                powder_column("gypsum_cement"): "300 g",
                powder_column("marble_flour"): "0.1 kg",
                "water": "132,5 g",
                "demold": "1h05",
                "strength 1 value": "3500 psi",
                "strength 1 age": "1 d",
                "strength 1 state": "dry",
                "remarks": "cold, room",
            }
        )
        assert faults == {}
        assert trial.blend == {"gypsum_cement": 0.75, "marble_flour": 0.25}
        assert (trial.water, trial.demold, trial.strengths[0].age) == (132.5, 65.0, 1440.0)
        assert trial.strengths[0].value == pytest.approx(24.13, abs=0.01)  # NIST SP 811: 1 psi = 6.894757 kPa
        assert trial.remarks == "cold, room"

    @pytest.mark.parametrize(
        ("column", "text"),
        [
            ("water", "wet"),
            ("demold", "58"),
            ("strength 1 value", "24 min"),
            ("strength 1 age", "1 d"),
            ("whiteness", "188"),
            ("reject 1 cause", "bubbles"),
        ],
    )
    def test_nonsense_comes_back_to_its_field(self, column, text):
        trial, faults = trial_of({"date": "2026-03-02", column: text})
        assert trial is None
        assert faults
        assert all(fault.repair for fault in faults.values())
        known = {reading.column for reading in READINGS}
        assert set(faults) <= known


class TestLauncher:
    """Settings and ports."""

    def test_the_shipped_settings_file_says_the_same(self):
        shipped = tomllib.loads((ROOT / ".streamlit" / "config.toml").read_text(encoding="utf-8"))
        assert _flat(shipped) == SETTINGS

    def test_nothing_leaves_the_machine(self):
        made = settings(8501, open_browser=False)
        assert made["server.address"] == "127.0.0.1"
        assert made["browser.gatherUsageStats"] is False
        assert made["server.showEmailPrompt"] is False

    def test_a_taken_port_is_passed_by(self):
        with socket.socket() as taken:
            taken.bind(("127.0.0.1", 0))
            taken.listen()
            port = taken.getsockname()[1]
            assert free_port(port) > port

    def test_no_port_is_an_error_with_a_repair(self, monkeypatch):
        monkeypatch.setattr("ui.page_launcher._TRIES", 1)
        with socket.socket() as taken:
            taken.bind(("127.0.0.1", 0))
            taken.listen()
            with pytest.raises(VesselblendError, match="name another"):
                free_port(taken.getsockname()[1])


def _flat(tables, prefix=""):
    out = {}
    for name, value in tables.items():
        if isinstance(value, dict):
            out |= _flat(value, f"{prefix}{name}.")
        else:
            out[f"{prefix}{name}"] = value
    return out


@pytest.mark.parametrize(
    "name",
    [
        "trade_text",
        "fit_text",
        "jobs",
        "charts",
        "cost_words",
        "draft",
        "drawings",
        "fields",
        "page_guard",
        "page_words",
        "ranking_text",
        "plain_text",
        "trade_charts",
        "trial_form",
        "verdict_words",
    ],
)
def test_the_examples_in_the_docs_are_true(name):
    done = doctest.testmod(importlib.import_module(f"ui.{name}"))
    assert done.attempted
    assert not done.failed


def test_a_changed_price_says_of_which_powder():
    before, after = ({"prices": {"gypsum_cement": {"price": price}}} for price in ("41.5", "30"))
    told = changed_fields(before, after, price_fields("gypsum_cement"), load_catalogue())
    assert told == ["gypsum cement, price of a pack 41.5 → 30"]
