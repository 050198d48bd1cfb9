"""A served page and a browser to drive it; without a Chromium the tests are skipped."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from tests.page_server import page_served

ROOT = Path(__file__).parents[2]
CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
PATIENCE = 240_000
"""Longest wait [ms]: a busy machine solves slowly, and slowness is measured elsewhere."""

QUIET = """(least) => {
    const app = document.querySelector('[data-testid=stApp]');
    const busy = !app || app.dataset.testScriptState !== 'notRunning' || !document.querySelector('h1')
        || document.querySelector('[data-testid=stSpinner], [data-testid=stSkeleton]');
    const now = performance.now();
    if (busy) { window.quietSince = undefined; return false; }
    window.quietSince ??= now;
    return now - window.quietSince >= least;
}"""
"""True once nothing has been asked, computed or drawn for some milliseconds."""

LEAST = 300
"""How long a page must be quiet to count as settled [ms]; a request shows on it at once."""


@pytest.fixture(scope="session")
def folder(tmp_path_factory) -> Path:
    """Return the studio's folder: empty at the start."""
    return tmp_path_factory.mktemp("studio")


@pytest.fixture(scope="session")
def served(folder) -> Iterator[str]:
    """Serve the page from the studio's folder and return its address."""
    with page_served(folder) as page:
        yield page.address


@pytest.fixture(scope="session")
def browser():
    """Start a headless Chromium, or skip with the reason why not."""
    if CHROMIUM is None:
        pytest.skip("no Chromium found; name one in the environment variable CHROMIUM")
    sync_api = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
    with sync_api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield started
        started.close()


@dataclass
class Visit:
    """One browser window on the page, and what it complained about."""

    page: object
    address: str
    outside: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def go(self, path: str = "/") -> Visit:
        self.page.goto(self.address + path)
        self.settle()
        return self

    def settle(self) -> None:
        """Wait until nothing is being computed or drawn, counted from now."""
        self.page.evaluate("window.quietSince = undefined")
        self.page.wait_for_function(QUIET, arg=LEAST, polling=50, timeout=PATIENCE)

    def turn(self, name: str) -> None:
        """Go to another page by the navigation."""
        self.page.get_by_role("link", name=name, exact=True).first.click()
        self.settle()

    def type(self, label: str, text: str) -> None:
        box = self.box(label)
        box.fill(text)
        box.press("Enter")
        self.settle()

    def box(self, label: str):
        """Return the text field with a label that begins like this."""
        return self.page.get_by_role("textbox", name=label).first

    def send(self, path: Path, told: str) -> None:
        """Open a job file and wait for words of its own at the side."""
        side = self.page.get_by_test_id("stSidebar")
        side.locator("[data-testid=stFileUploader] input[type=file]").first.set_input_files(path)
        # a word joiner may stand behind a colon, so that no name between two of them is read as a symbol
        words = re.compile(re.escape(told).replace(":", ":\u2060?"))
        side.get_by_text(words).first.wait_for(timeout=PATIENCE)
        self.settle()

    @property
    def words(self) -> str:
        return self.page.inner_text("[data-testid=stMain]")


@pytest.fixture(scope="session")
def contexts(browser) -> Iterator[dict[str, object]]:
    """Keep one context a color scheme, whose cache holds the page's code; each load is a visit of its own."""
    kept = {
        scheme: browser.new_context(color_scheme=scheme, accept_downloads=True)
        for scheme in ("light", "dark")
    }
    for context in kept.values():
        context.set_default_timeout(PATIENCE)
    yield kept
    for context in kept.values():
        context.close()


@pytest.fixture
def visit(contexts, served) -> Iterator[Callable[..., Visit]]:
    """Open a window of some width and color scheme on the page."""
    opened = []

    def open_one(width: int = 1280, height: int = 900, scheme: str = "light") -> Visit:
        page = contexts[scheme].new_page()
        page.set_viewport_size({"width": width, "height": height})
        one = Visit(page, served)
        page.on("request", lambda request: _note_outside(one, request.url))
        page.on("console", lambda message: _note_error(one, message))
        page.on("pageerror", lambda error: one.errors.append(str(error)))
        opened.append(page)
        return one

    yield open_one
    for page in opened:
        page.close()


def _note_outside(visit: Visit, url: str) -> None:
    if not url.startswith((visit.address, visit.address.replace("http", "ws"), "data:", "blob:", "about:")):
        visit.outside.append(url)


def _note_error(visit: Visit, message: object) -> None:
    if message.type == "error":
        visit.errors.append(message.text)
