"""Job files on the page: what the fields show once one is opened."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from streamlit.testing.v1 import AppTest

from optimizer.jobfile import template
from optimizer.jobfile.writing import example_casts
from optimizer.trials.book import TrialBook
from optimizer.trials.records import Portion, Trial
from tests.ui.test_page_logic import APP, SMALL, opened, text_of, turned
from ui.question import Question
from ui.verdict_words import DEMO_GONE


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Run in an empty folder: the trial book is made where the page is started."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def sent(at: AppTest, text: str) -> AppTest:
    """Return the page after a job file was sent to it."""
    at.file_uploader(key="job_upload").upload("job.toml", text.encode(), "text/plain")
    return at.run()


def shown(at: AppTest, key: str) -> str:
    """Return what the browser was told to show in a field; nothing where it keeps what was typed."""
    proto = at.text_input(key=key).proto
    return proto.value if proto.set_value else ""


class TestOpening:
    """A job file opened over what was typed."""

    def test_a_field_on_the_screen_shows_the_opened_job(self):
        at = opened()
        at.text_input(key="vessel.wall").set_value("9 mm").run()
        at.text_input(key="demold_time").set_value("50 min").run()
        at = sent(at, SMALL.replace("[limits]", 'wall = "5 mm"\n[limits]'))
        assert not at.exception
        assert (shown(at, "vessel.wall"), shown(at, "demold_time")) == ("5 mm", "60 min")
        assert at.text_input(key="vessel.wall").value == "5 mm"

    def test_prices_and_powders_on_the_screen_show_the_opened_job(self):
        at = turned(opened(), "shelf")
        at.text_input(key="prices.gypsum_cement.price").set_value("83").run()
        at.pills(key="powders").set_value(["gypsum_cement"]).run()
        at = sent(at, SMALL.replace('"EUR"', '"CHF"'))
        assert not at.exception
        assert shown(at, "prices.gypsum_cement.price") == "41.5"
        assert at.pills(key="powders").value == ["gypsum_cement", "molding_plaster", "marble_flour"]
        assert at.selectbox(key="currency").value == "CHF"


class TestSaving:
    """A job saved and opened again."""

    def test_the_blend_in_hand_comes_back_with_the_job(self):
        at = opened()
        at.session_state["blend"] = "gypsum_cement=68,marble_flour=32@0.3"
        at.text_input(key="demold_time").set_value("75 min").run()
        kept = saved(at)
        assert Question(kept).job.in_hand == "gypsum_cement=68,marble_flour=32@0.3"
        again = sent(AppTest.from_file(str(APP), default_timeout=180).run(), kept)
        assert not again.exception
        assert "68 % gypsum cement, 32 % marble flour (picked by you)" in again.markdown[0].value
        assert again.query_params["blend"] == "gypsum_cement=68,marble_flour=32@0.3"
        assert again.text_input(key="demold_time").value == "75 min"
        assert again.success[0].value.startswith("Opened: job.toml")
        again.session_state["blend"] = ""
        assert "in_hand" not in saved(again)

    def test_a_blend_that_is_none_is_told_and_nothing_is_opened(self):
        at = sent(opened(), SMALL.replace("currency", 'in_hand = "no_such_powder=1@0.3"\ncurrency', 1))
        assert not at.exception
        assert "in_hand: read" in at.error[0].value
        assert not at.success


def saved(at: AppTest) -> str:
    """Return the job file that would be kept."""
    offered = {}

    def watched(label: str, data: str, **options) -> bool:
        offered[label] = data
        return False

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("streamlit.download_button", watched)
        at.run()
    return offered["Save the whole job"]


class TestWork:
    """Work saved by itself beside the trial book."""

    def test_nothing_is_written_before_something_is_changed(self, folder):
        turned(opened(), "order")
        assert not (folder / "work").exists()

    def test_a_reload_brings_all_of_it_back(self, folder):
        at = opened()
        at.text_input(key="shop.packing_cost").set_value("0.75").run()
        at.session_state["blend"] = "gypsum_cement=68,marble_flour=32@0.3"
        at.run()
        name = at.query_params["work"]
        assert [each.name for each in (folder / "work").iterdir()] == [f"{name}.toml"]
        assert any("Saved beside the trial book" in each.value for each in at.sidebar.caption)
        again = AppTest.from_file(str(APP), default_timeout=180)
        again.query_params["work"] = name
        again.run()
        assert not again.exception
        assert again.text_input(key="shop.packing_cost").value == "0.75"
        assert again.session_state["blend"] == "gypsum_cement=68,marble_flour=32@0.3"

    def test_what_is_not_understood_is_not_saved_and_said(self, folder):
        at = opened()
        at.text_input(key="demold_time").set_value("soon").run()
        assert not (folder / "work").exists()
        assert any("Not saved" in each.value for each in at.sidebar.caption)

    def test_a_name_that_leads_elsewhere_opens_nothing(self, folder):
        (folder / "job.toml").write_text(SMALL, encoding="utf-8")
        at = AppTest.from_file(str(APP), default_timeout=180)
        at.query_params["work"] = "../job"
        at.run()
        assert not at.exception
        assert at.text_input(key="demold_time").value == "45 min"

    def test_the_units_come_back_with_the_work_though_the_address_lacks_them(self, folder):
        at = opened()
        at.segmented_control(key="units").set_value("us").run()
        again = AppTest.from_file(str(APP), default_timeout=180)
        again.query_params["work"] = at.query_params["work"]
        again.run()
        assert not again.exception
        assert again.session_state["units"] == "us"
        assert re.search(r"[0-9] oz", "".join(each.value for each in again.html))
        assert Question((folder / "work" / f"{at.query_params['work']}.toml").read_text()).job

    def test_an_address_with_units_is_no_change(self, folder):
        at = AppTest.from_file(str(APP), default_timeout=180)
        at.query_params["units"] = "US"
        at.run().run()
        assert at.session_state["units"] == "us"
        assert not (folder / "work").exists()

    def test_a_fresh_window_starts_anew_and_offers_the_newest_work(self, folder):
        at = opened()
        at.text_input(key="shop.packing_cost").set_value("0.75").run()
        again = AppTest.from_file(str(APP), default_timeout=180).run()
        assert again.text_input(key="shop.packing_cost").value == ""
        again.button(key="open_work").click().run()
        assert not again.exception
        assert again.text_input(key="shop.packing_cost").value == "0.75"


class TestTitle:
    """What the job is called."""

    def test_the_title_typed_heads_the_page_and_its_card(self):
        at = opened(template("demo"))
        assert at.text_input(key="title").value == ""
        at.text_input(key="volume").set_value("190 mL").run()
        assert at.text_input(key="title").placeholder == "190 mL vessel"
        assert any("190 mL vessel" in each.value for each in at.main.caption)
        at.text_input(key="title").set_value("Ribbed cup").run()
        assert not at.exception
        assert any("Ribbed cup" in each.value for each in at.main.caption)


class TestMeasured:
    """A burn test of the caster's own."""

    def test_a_measured_wall_counts_as_the_casters_once_it_is_typed(self):
        at = opened(template("demo"))
        assert _owner(at) == "○"
        at.text_input(key="candle.measured_outer").set_value("45 C").run()
        assert _owner(at) == "◆"


def _owner(at: AppTest) -> str:
    """Return the mark of the wall's predicted temperature."""
    table = next(each.value for each in at.dataframe if "rests on" in each.value).set_index("figure")
    return str(table.loc["outer wall temperature", "rests on"])[0]


class TestTrialTable:
    """A table of trials sent to the page."""

    def test_a_powder_nobody_knows_is_refused_as_at_the_command_line(self, folder, command):
        table = b"date,mass of blue_glitter [g],water [g]\n2026-03-02,300,105\n"
        (folder / "casts.csv").write_bytes(table)
        told = command("trials", "import", "casts.csv")
        at = imported(turned(opened(), "trial_book"), "casts.csv", table)
        assert told.code == 4
        assert not at.success
        row = next(each.value for each in at.dataframe if "repair" in each.value).iloc[0]
        assert f"{row['where']}: read {row['read']}; allowed: {row['allowed']}. {row['repair']}" in told.err
        assert not (folder / "trials.db").exists()

    def test_a_misspelled_powder_is_asked_about_and_never_taken_into_the_book(self, folder):
        table = b"date,mass of gypsum_cememt [g],water [g]\n2026-03-02,300,105\n"
        at = turned(opened(), "trial_book")
        at.file_uploader(key="trials_upload").upload("casts.csv", table, "text/csv")
        at.run()
        assert "gypsum_cememt" in at.warning[0].value
        assert not (folder / "trials.db").exists()
        at.button(key="import_trials").click().run()
        entered = TrialBook(folder / "trials.db").page()[0].trial
        assert list(entered.blend) == ["gypsum_cement"]

    def test_a_first_import_shows_list_and_fit_at_once(self, folder):
        casts = example_casts().encode()
        at = imported(turned(opened(template("demo")), "trial_book"), "casts.csv", casts)
        assert not at.exception
        assert at.success[0].value.startswith("6 added, 0 corrected")
        said = [each.value for each in at.markdown]
        assert "### 6 trials" in said
        assert "### Fitted from trials" in said

    def test_a_table_with_a_name_no_disk_takes_is_read(self, folder):
        at = imported(turned(opened(), "trial_book"), f"../{'x' * 300}.csv", example_casts().encode())
        assert not at.exception
        assert len(at.success) == 1
        assert sorted(each.name for each in folder.iterdir()) == ["trials.db"]


def imported(at: AppTest, name: str, content: bytes) -> AppTest:
    """Return the trial book's page after a table was sent and entered."""
    at.file_uploader(key="trials_upload").upload(name, content, "text/csv")
    at.run()
    asked = [each for each in at.button if each.key == "import_trials"]
    return asked[0].click().run() if asked else at


def test_weigh_and_trial_book_name_one_trial_after_a_fit_and_say_that_the_demos_casts_are_gone(folder):
    book = TrialBook(folder / "trials.db")
    masses = {"white_csa_cement": 1186.0, "gypsum_cement": 376.0, "silica_sand": 130.0}
    portions = tuple(Portion(name, mass) for name, mass in masses.items())
    own = Trial(dt.date(2026, 3, 2), "own", portions, water=784.0, demold_first=33.0, whiteness=90.5)
    book.add(own, dt.date(2026, 4, 1))
    at = turned(opened(template("demo")), "trial_book")
    assert DEMO_GONE not in text_of(at)
    at.button(key="keep_fit").click().run()
    assert DEMO_GONE in text_of(at)
    (named,) = [each.value for each in at.markdown if each.value.startswith("Cast ")]
    at = turned(at, "weigh")
    assert f"Rests on one trial of yours. {DEMO_GONE}" in text_of(at)
    (worth,) = [each.value for each in at.markdown if "**Worth a trial:**" in each.value]
    for figure in ("a vessel then costs ([0-9.]+)", "it pays from ([0-9]+) vessels on"):
        assert re.search(rf"\b{re.search(figure, named)[1]}\b", worth)
    shares = {re.search(rf"([0-9.]+) % {powder}", named)[1] for powder in ("gypsum cement", "white CSA")}
    assert shares <= set(re.findall(r"([0-9.]+) %", worth))
