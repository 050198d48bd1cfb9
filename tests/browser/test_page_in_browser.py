"""The page in a real browser: first screen, deep links, picking, files, printing, privacy, access."""

from __future__ import annotations

import datetime as dt
import os
import re
import struct
import tomllib

import pytest

from optimizer.trials.book import TrialBook
from optimizer.trials.records import Trial
from tests.browser.conftest import PATIENCE, ROOT, Visit

pytestmark = pytest.mark.browser

PATHS = ("/", "/give-and-take", "/cheaper-blend", "/order", "/shelf", "/trials", "/materials")
NAMES = ("Weigh", "Trade-offs", "Cheaper blend?", "Order", "Shelf and prices", "Trial book", "Materials")
SCREEN = ROOT / "tests" / "screens" / "weigh.png"
"""The README's picture, taken anew with ``UPDATE_README=1``."""

AXE = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]
"""Rule sets of WCAG 2.1 (W3C Recommendation 2018), levels A and AA."""

BOX, ROW = 35, 78
"""Height of a table's head and width of its boxes, and height of a row of blends [px]."""

KNOWN: set[tuple[str, str]] = set()
"""(rule, page) of violations inside the framework's own widgets, none of ours."""


def metrics(visit) -> dict[str, str]:
    """Return what to weigh, by name."""
    names = visit.page.locator("table.weigh tbody th").all_inner_texts()
    values = visit.page.locator("table.weigh td.grams").all_inner_texts()
    return dict(zip(names, values, strict=True))


def water(shown: dict[str, str]) -> str:
    return next(mass for name, mass in shown.items() if name.startswith("water"))


def test_verdict_cost_and_grams_stand_on_the_first_screen_without_typing(visit):
    one = visit(1280, 800).go()
    shown = metrics(one)
    assert water(shown)
    assert all(re.fullmatch(r"[0-9.]+ g", value) for value in shown.values())
    first = one.page.locator("table.weigh td.grams").first.bounding_box()
    assert first["y"] <= 400, "grams stand within the first 400 px"
    for words in (
        "All limits hold in",
        "a good vessel, expected",
        "Limits, least sure first",
        "Print the card",
        "invented examples among prices and wages",
    ):
        box = one.page.get_by_text(words).first.bounding_box()
        assert box is not None, words
        assert box["y"] < 800, f"{words!r} is below the fold"
    if os.environ.get("UPDATE_README"):
        one.page.screenshot(path=SCREEN)
    width, height = struct.unpack(">II", SCREEN.read_bytes()[16:24])
    assert (width, height) == (1280, 800), "the README shows this window"


def test_an_edit_is_answered_by_a_receipt_that_takes_it_back(visit):
    one = visit().go()
    before = metrics(one)
    one.type("whiteness, at least", "80")
    assert "Last change: whiteness, at least 88 → 80." in one.words
    one.page.get_by_role("button", name="Undo").click()
    one.settle()
    assert one.box("whiteness, at least").input_value() == "88"
    assert metrics(one) == before


def test_an_edit_is_answered_before_the_reasons_of_the_last_one_are_told(visit):
    one = visit().go()
    before = metrics(one)
    for volume in ("231 mL", "199 mL"):  # the second while the first is still being explained
        box = one.box("mold volume")
        box.fill(volume)
        box.press("Enter")
        one.page.wait_for_function(
            "old => [...document.querySelectorAll('td.grams')].map(each => each.innerText).join() != old",
            arg=",".join(before.values()),
            timeout=PATIENCE,
        )
        before = metrics(one)
    told = one.page.get_by_text("Looking for a blend worth a trial").or_(
        one.page.get_by_text("Working out what each limit costs")
    )
    told.first.wait_for(timeout=PATIENCE)  # the grams stand there before their reasons
    one.settle()
    assert told.count() == 0
    assert "saves" in one.words


def test_a_blend_of_the_curve_of_certainty_is_taken_by_a_click(visit):
    one = visit().go()
    one.page.get_by_role("button", name="Work it out").click()
    one.settle()
    one.page.get_by_role("button", name=re.compile("^(Cheaper|Surer)")).first.click()
    one.settle()
    assert "(picked by you)" in one.words
    one.page.get_by_role("button", name="Undo").click()
    one.settle()
    assert "(picked by you)" not in one.words


def test_undo_goes_back_through_edits_of_several_pages(visit):
    one = visit().go()
    before = metrics(one)
    one.type("whiteness, at least", "80")
    one.turn("Order")
    one.type("molds owned", "4")
    for _ in range(2):
        one.page.get_by_role("button", name="Undo").click()
        one.settle()
    assert one.box("molds owned").input_value() == "6"
    one.turn("Weigh")
    assert metrics(one) == before


def test_the_units_come_back_with_the_work(visit):
    one = visit().go()
    one.page.get_by_text("US", exact=True).click()
    one.settle()
    one.page.reload()
    one.settle()
    assert " oz" in water(metrics(one))
    work = re.search(r"work=[0-9a-f]{8}", one.page.url)[0]
    again = visit().go(f"/order?{work}")
    again.turn("Weigh")
    assert " oz" in water(metrics(again))


def test_nothing_leaves_the_machine_and_nothing_complains(visit):
    one = visit().go()
    for name in NAMES[1:]:
        one.turn(name)
    assert one.outside == []
    assert one.errors == []


@pytest.mark.parametrize("path", PATHS)
def test_nothing_is_asked_for_in_vain_at_a_pages_own_address(visit, path):
    one = visit()
    failed = []
    one.page.on("response", lambda response: failed.append(response.url) if response.status >= 400 else None)
    one.page.goto(one.address + path)
    one.page.get_by_role("link", name="Materials", exact=True).first.click()  # stands once the page answers
    one.settle()
    assert failed == []
    assert one.errors == []
    assert one.page.url.startswith(f"{one.address}/materials")


@pytest.mark.parametrize("widths", [(390, 768), (1280, 1920)], ids=["side-shut", "side-open"])
def test_no_page_is_wider_than_the_window(visit, widths):
    one = visit(widths[0], 900)
    for path in PATHS:
        one.page.set_viewport_size({"width": widths[0], "height": 900})
        one.go(path)
        for width in widths:
            one.page.set_viewport_size({"width": width, "height": 900})
            one.settle()
            wide = one.page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth")
            assert wide <= width, (path, width)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everyone_can_use_it(visit, scheme):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
    one = visit(1280, 900, scheme)
    own = []
    for path in PATHS:
        found = axe.Axe().run(one.go(path).page, options={"runOnly": AXE}).response["violations"]
        own += [
            f"{path}: {each['id']}: {each['nodes'][0]['html'][:160]}"
            for each in found
            if (each["id"], path) not in KNOWN
        ]
    assert own == []


def test_a_deep_link_sets_the_decision_figures_on_any_page(visit):
    one = visit().go("/order?demold_time=50+min&units=US")
    assert one.box("out of the mold, at most").input_value() == "50 min"
    one.turn("Weigh")
    assert one.box("out of the mold, at most").input_value() == "50 min"
    assert re.search(r"[0-9] oz\)", water(metrics(one)))
    assert "demold_time=50" in one.page.url


def test_a_reload_keeps_the_decision_figures(visit):
    one = visit().go()
    one.type("dry strength, at least", "3000 psi")
    before = metrics(one)
    one.page.reload()
    one.settle()
    assert one.box("dry strength, at least").input_value() == "3000 psi"
    assert metrics(one) == before


def test_nonsense_is_told_beside_its_field(visit):
    one = visit().go()
    before = metrics(one)
    one.type("out of the mold, at most", "soon")
    side = one.page.inner_text("[data-testid=stSidebar]")
    assert "Begin with a number" in side
    assert one.box("out of the mold, at most").input_value() == "soon"
    assert metrics(one) == before


def test_chart_list_and_address_agree_on_the_picked_blend(visit):
    one = visit(1280, 1600).go("/give-and-take?take=demold_time")
    point = one.page.locator("svg .mark-symbol path").first  # the others may overlap
    point.click()
    one.settle()
    assert "picked by you" in one.words
    address = one.page.url
    assert "blend=" in address
    chosen = one.page.get_by_label("Select a blend").first
    assert chosen.input_value().startswith("1:")
    one.turn("Weigh")
    weighed = metrics(one)
    again = visit().go(address.removeprefix(one.address).replace("/give-and-take", "/"))
    assert metrics(again) == weighed


def test_a_row_of_the_table_picks_the_blend_of_its_number(visit):
    one = visit(1280, 1600).go("/give-and-take")
    place = one.page.get_by_test_id("stDataFrame").first.bounding_box()
    one.page.mouse.click(place["x"] + BOX / 2, place["y"] + BOX + 1.5 * ROW)
    one.settle()
    chosen = one.page.get_by_label("Select a blend").first
    assert chosen.input_value().startswith("2:")
    address = one.page.url
    again = visit(1280, 1600).go(address.removeprefix(one.address))
    assert again.page.get_by_label("Select a blend").first.input_value().startswith("2:")


def test_a_blend_is_picked_by_keyboard(visit):
    one = visit(1280, 1600).go("/give-and-take")
    chosen = one.page.get_by_label("Select a blend").first
    chosen.focus()
    one.page.keyboard.press("ArrowDown")
    one.page.keyboard.press("ArrowDown")
    one.page.keyboard.press("Enter")
    one.settle()
    assert "picked by you" in one.words


def test_the_whole_job_goes_out_and_comes_in(visit, tmp_path):
    one = visit().go()
    one.type("whiteness, at least", "90")
    with one.page.expect_download() as saved:
        one.page.get_by_role("button", name="Save the whole job").click()
    path = tmp_path / "job.toml"
    saved.value.save_as(path)
    assert tomllib.loads(path.read_text(encoding="utf-8"))["limits"]["whiteness"] == ">= 90"
    weighed = metrics(one)
    other = visit().go()
    other.send(path, "job.toml")
    other.page.wait_for_function(
        "[...document.querySelectorAll('input')].some(each => each.value === '90')", timeout=PATIENCE
    )
    other.settle()
    assert other.box("whiteness, at least").input_value() == "90"
    assert metrics(other) == weighed


def test_a_broken_job_file_is_told_line_by_line_and_changes_nothing(visit, tmp_path):
    path = tmp_path / "broken.toml"
    path.write_text('currency = "euros"\nmaterials = ["gypsum_cememt"]\n[vessel]\ncavity_volume = "215"\n')
    one = visit().go()
    before = metrics(one)
    one.send(path, "broken.toml:currency")
    side = one.page.inner_text("[data-testid=stSidebar]").replace("\u2060", "")
    for words in ("broken.toml:currency", "gypsum_cement", "broken.toml:vessel.cavity_volume"):
        assert words in side
    assert metrics(one) == before


def test_the_card_prints_alone(visit):
    one = visit().go()
    one.page.get_by_role("button", name="Print the card").click()
    frame = one.page.frame_locator("[role=dialog] iframe")
    button = frame.get_by_role("button", name="Print")
    button.wait_for()
    assert "WATER" in frame.locator("body").inner_text()
    inner = next(f for f in one.page.frames if f.parent_frame and f.locator(".weigh").count())
    inner.evaluate("window.print = () => { document.title = 'printed' }")
    button.click()
    assert inner.evaluate("document.title") == "printed"


def test_the_card_can_be_read_on_a_phone(visit):
    one = visit(390, 844).go()
    one.page.get_by_role("button", name="Print the card").click()
    frame = one.page.frame_locator("[role=dialog] iframe")
    frame.get_by_role("button", name="Print").wait_for()
    inner = next(f for f in one.page.frames if f.parent_frame and f.locator(".weigh").count())
    assert inner.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    edges = inner.evaluate(
        "[...document.querySelectorAll('.mass')].map(m => m.getBoundingClientRect().right)"
    )
    assert edges
    assert max(edges) <= inner.evaluate("document.documentElement.clientWidth")


def test_settings_stay_within_reach_of_the_keyboard(visit):
    one = visit().go()
    reached = set()
    for _ in range(40):
        one.page.keyboard.press("Tab")
        reached.add(one.page.evaluate("document.activeElement?.getAttribute('aria-label') || ''"))
    assert any("out of the mold" in name for name in reached)


def test_a_trial_survives_a_reload(visit):
    one = visit().go("/trials")
    assert one.box("could first leave the mold after").is_visible()
    one.box("could first leave the mold after").fill("41 min")
    one.page.get_by_role("button", name="Enter it").click()
    one.page.get_by_text("Entered as").first.wait_for()
    one.page.reload()
    one.settle()
    assert re.search(r"\b[1-9][0-9]* trials?\b", one.words)


def test_a_trial_is_entered_within_a_phones_reach(visit):
    one = visit(390, 844).go("/trials")
    button = one.page.get_by_role("button", name="Enter it").bounding_box()
    assert button["y"] < 1500


def test_a_lot_noted_on_a_phone_leads_to_its_vessels(visit):
    one = visit(390, 844).go("/trials")
    one.page.get_by_text("Lots of the bags, numbers of the vessels").click()
    one.box("gypsum cement, lot of the bag").fill("G-26")
    one.box("numbers of the vessels").fill("V1, V2")
    one.page.get_by_role("button", name="Enter it").click()
    one.page.get_by_text("Entered as").first.wait_for()
    one.page.reload()
    one.settle()
    assert one.page.get_by_text("From the same bags as noted last: gypsum cement G-26").is_visible()
    assert one.page.get_by_role("button", name="Enter it").bounding_box()["y"] < 1500
    one.page.get_by_text("Find what a bag went into").click()
    one.type("number of a vessel", "V2")
    assert re.search(r"gypsum cement, lot G-26", one.words)
    one.type("lot of a bag", "G-27")
    assert "Check the spelling" in one.words


def test_find_and_correct_stay_open_once_a_trial_is_entered_or_corrected(visit):
    one = visit().go("/trials")
    one.page.get_by_text("Lots of the bags, numbers of the vessels").click()
    one.box("numbers of the vessels").fill("W1-W3")
    one.page.get_by_role("button", name="Enter it").click()
    one.page.get_by_text("Entered as").first.wait_for()
    one.settle()
    one.page.get_by_text("Find what a bag went into").click()
    one.type("number of a vessel", "w9")
    one.page.get_by_text("vessel 'w9'").first.wait_for()
    one.page.get_by_text("Correct a trial or make it void").click()
    one.box("As it should be").fill("2026-03-03")
    one.page.get_by_role("button", name="Correct it").click()
    one.page.get_by_text("is corrected: version 2").first.wait_for()
    one.settle()
    assert one.box("As it should be").is_visible()
    one.box("As it should be").fill("2026-03-04")
    one.page.get_by_role("button", name="Correct it").click()
    one.page.get_by_text("is corrected: version 3").first.wait_for()
    one.type("number of a vessel", "w2")
    assert one.box("As it should be").is_visible()
    one.page.get_by_text("number of a vessel w2").first.wait_for()


def test_choosing_a_page_closes_the_drawer_of_a_phone(browser, served):
    phone = browser.new_context(
        viewport={"width": 390, "height": 844}, user_agent="Mozilla/5.0 (Linux; Android 14) Mobile"
    )
    one = Visit(phone.new_page(), served).go()
    for name in ("Materials", "Order", "Weigh"):
        one.page.get_by_test_id("stExpandSidebarButton").click()
        one.turn(name)
        right = "document.querySelector('[data-testid=stSidebar]').getBoundingClientRect().right"
        one.page.wait_for_function(f"{right} <= 0")
        assert one.page.evaluate(right) <= 0, name
    phone.close()


def test_a_reload_brings_back_what_is_not_in_the_address(visit):
    one = visit().go("/order")
    one.type("molds owned", "9")
    one.page.get_by_text("Saved beside the trial book").first.wait_for()
    one.page.reload()
    one.settle()
    assert one.box("molds owned").input_value() == "9"


def test_an_order_is_planned_from_a_link(visit):
    one = visit().go("/order?vessels=40&due=2030-01-31")
    assert re.search(r"In time: 40 ready", one.words)
    assert "Bottleneck:" in one.words


def test_the_smallest_change_is_one_click(visit):
    one = visit().go("/?demold_time=15+min")
    assert "No blend of these powders" in one.words
    one.page.get_by_role("button", name=re.compile("demold time")).first.click()
    one.settle()
    assert metrics(one)
    assert one.box("out of the mold, at most").input_value() != "15 min"


def test_two_windows_do_not_disturb_each_other(visit):
    first, second = visit().go(), visit().go()
    before = metrics(second)
    first.type("out of the mold, at most", "35 min")
    first.page.get_by_text("US", exact=True).click()
    first.settle()
    second.type("dry mass, at most", "380 g")
    assert second.box("out of the mold, at most").input_value() == "45 min"
    assert metrics(second) == before
    assert metrics(first) != before


def test_a_file_too_large_is_refused_and_changes_nothing(visit, tmp_path):
    path = tmp_path / "large.toml"
    path.write_bytes(b"# nothing\n" * (50 * 1024 * 1024 // 10))
    one = visit().go()
    before = metrics(one)
    one.send(path, "File must be")
    assert metrics(one) == before


def test_a_window_left_open_sees_a_trial_book_that_moved(visit, served, folder):
    one = visit().go("/trials")
    TrialBook(folder / "trials.db").add(Trial(dt.date(2026, 3, 2), water=118.0, demold=58.0))
    one.turn("Weigh")
    one.turn("Trial book")
    assert re.search(r"\b[1-9][0-9]* trial", one.words)
    for part in folder.glob("trials.db*"):
        part.rename(folder / f"moved-{part.name}")
    one.turn("Weigh")
    assert metrics(one)
    one.turn("Trial book")
    assert "Note a trial" in one.words
    for part in folder.glob("moved-trials.db*"):
        part.rename(folder / part.name.removeprefix("moved-"))


def test_the_blend_cast_today_stands_beside_its_candidate(visit):
    one = visit(1280, 1600).go("/cheaper-blend")
    one.page.get_by_text("You cast another one today?").click()
    boxes = {name: one.page.get_by_role("textbox", name=name) for name in ("gypsum cement", "silica sand")}
    for name, text in (("gypsum cement", "68"), ("silica sand", "32")):
        boxes[name].first.fill(text)
        boxes[name].first.press("Enter")
        one.settle()
    one.box("water per powder").fill("0,26")
    one.box("water per powder").press("Enter")
    one.settle()
    one.page.get_by_role("button", name="This is what I cast today").click()
    one.settle()
    assert "present: 68 % gypsum cement, 32 % silica sand" in one.words
    assert "picked by you" not in one.words
    assert re.search(r"Largest saving that still meets every limit: [0-9.]+ EUR", one.words)
    assert "seal check and burn test" in one.words
