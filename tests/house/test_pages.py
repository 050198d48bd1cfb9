"""No page is forgotten: each file is in the navigation, and the tests of all pages visit it."""

from __future__ import annotations

import ast
import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FILES = {p.stem for p in (ROOT / "ui" / "app_pages").glob("*.py")} - {"__init__"}
PLACES = dict(
    re.findall(r'_PAGES / "(\w+)\.py", title="([^"]+)"', (ROOT / "ui" / "app.py").read_text(encoding="utf-8"))
)


def listed(path: str, name: str) -> tuple[str, ...]:
    tree = ast.parse((ROOT / "tests" / path).read_text(encoding="utf-8"))
    found = [n.value for n in tree.body if isinstance(n, ast.Assign) and ast.unparse(n.targets[0]) == name]
    return tuple(ast.literal_eval(found[0]))


def test_every_page_is_in_the_navigation():
    assert set(PLACES) == FILES


def test_every_page_is_visited_by_the_tests_of_all_pages():
    assert set(listed("ui/test_page_logic.py", "PAGES")) == FILES


def test_every_page_is_visited_in_the_browser():
    assert listed("browser/test_page_in_browser.py", "NAMES") == tuple(PLACES.values())
