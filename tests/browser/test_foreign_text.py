"""Foreign text in addresses, jobs, files and trials is shown letter by letter, and fetches nothing."""

from __future__ import annotations

import datetime as dt
from urllib.parse import quote

import pytest

from optimizer.trials.book import TrialBook
from optimizer.trials.records import Portion, Strength, Trial
from tests.browser.conftest import Visit
from tests.browser.test_page_in_browser import NAMES
from tests.ui.conftest import SMALL

pytestmark = pytest.mark.browser

PICTURE = "![x](http://192.0.2.1/x.png)"
"""Asks a browser for a picture at an address of nobody (RFC 5737)."""

FOREIGN = f"{PICTURE} <img src=http://192.0.2.1/y.png> # *b* _c_ ~~d~~ $e$ :red[f] :smile: www.pages.example"
FIELDS = ("demold_time", "volume", "dry_strength", "units", "currency", "chance", "blend", "material", "due")


@pytest.fixture
def book(folder):
    """Note a trial whose every text is foreign, and take it away again."""
    path = folder / "trials.db"
    kept = TrialBook(path)
    name = kept.add(
        Trial(
            dt.date(2026, 3, 2),
            id=PICTURE,
            water=105.0,
            portions=(Portion("gypsum_cement", 300.0),),
            strengths=(Strength(24.0, 10080.0, "dry"),),
            demold=38.0,
            remarks=FOREIGN,
        )
    )
    yield kept
    kept.withdraw(name, "made for a test")


def unharmed(visit: Visit) -> None:
    """Check that nothing foreign became a part of the page, and nothing outside was asked for."""
    made = visit.page.locator(
        "[data-testid=stApp] img[src*='192.0.2'], [data-testid=stApp] a[href*='192.0.2'], "
        "[data-testid=stApp] a[href*='pages.example']"
    )
    assert made.count() == 0, made.first.evaluate("each => each.outerHTML")
    assert visit.outside == []


def test_a_link_fetches_nothing(visit):
    one = visit().go("/?" + "&".join(f"{field}={quote(PICTURE)}" for field in FIELDS))
    unharmed(one)
    assert "Missing or not understood" in one.words, "the link was read, and is told"


def test_a_job_and_its_title_fetch_nothing_on_any_page(visit, book, tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(SMALL.replace('"Small tumbler"', f"'{FOREIGN}'"), encoding="utf-8")
    one = visit().go()
    one.send(path, "Opened: job.toml")
    assert FOREIGN in one.words.replace("\u2060", "")
    for name in NAMES:
        one.turn(name)
        unharmed(one)
    one.turn("Weigh")
    one.page.get_by_role("button", name="Print the card").click()
    one.page.frame_locator("[role=dialog] iframe").get_by_role("button", name="Print").wait_for()
    unharmed(one)


def test_faults_and_file_names_fetch_nothing(visit, tmp_path):
    path = tmp_path / "![x](http:··192.0.2.1·x).toml"
    path.write_text(f"title = 1\nmaterials = ['{PICTURE}']\n'{PICTURE}' = 2\n", encoding="utf-8")
    one = visit().go()
    one.send(path, "192.0.2.1")
    unharmed(one)
    one.go(f"/?demold_time={quote(PICTURE)}&dry_strength={quote(FOREIGN)}")
    assert PICTURE in one.page.inner_text("[data-testid=stSidebar]").replace("\u2060", "")
    for name in NAMES:
        one.turn(name)
        unharmed(one)
