"""Every property has a check against something printed, or the reason why it has none; the README says both.

``UPDATE_README=1 python -m pytest tests/house/test_sources_of_checks.py`` writes the README's section anew.
"""

from __future__ import annotations

import ast
import os
import re
from functools import cache
from pathlib import Path

import pytest

from optimizer.materials import Catalogue
from optimizer.nomenclature import QUANTITIES
from tests.house.figures_section import Check, known_checks, section

ROOT = Path(__file__).resolve().parents[2]
README = ROOT / "README.md"
UPDATE = bool(os.environ.get("UPDATE_README"))
KNOWN = known_checks()
CHECKS = [pytest.param(check, id=check.test) for each in KNOWN.values() for check in each.checks]
OWN = sorted({test for each in KNOWN.values() for test in each.own})


@cache
def functions_of(path: str) -> dict[str, str]:
    """Return the source of each test function of a file by name, decorators and docstring included."""
    text = (ROOT / path).read_text(encoding="utf-8")
    lines = text.splitlines()
    found = {}
    for node in ast.parse(text).body:
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            first = min([node.lineno, *(mark.lineno for mark in node.decorator_list)])
            found[node.name] = "\n".join(lines[first - 1 : node.end_lineno])
    return found


def source_of(test: str) -> str:
    """Return the source of the test named by path and function; fails when there is none."""
    path, _, name = test.partition("::")
    assert (ROOT / path).is_file(), f"{path} does not exist"
    assert name in functions_of(path), f"{path} holds no {name}"
    return functions_of(path)[name]


def test_every_quantity_is_in_the_table_in_its_order():
    assert list(KNOWN) == list(QUANTITIES)


@pytest.mark.parametrize("name", KNOWN)
def test_a_property_has_a_printed_check_or_the_reason_why_not(name):
    known = KNOWN[name]
    assert known.checks or (known.none and known.own), f"{name}: name a check, or why none exists and our own"


@pytest.mark.parametrize("check", CHECKS)
def test_the_check_exists_and_cites_its_source(check: Check):
    assert check.cites in source_of(check.test), f"{check.test} does not say {check.cites!r}"
    assert check.source
    assert "own arithmetic" not in check.source


@pytest.mark.parametrize("name", ["dry_mass", "porosity", "wet_strength", "dry_strength", "whiteness"])
def test_what_may_decide_is_checked_through_the_predictions(name):
    through = [c for c in KNOWN[name].checks if not c.test.startswith("tests/properties/")]
    assert len(through) >= 2


@pytest.mark.parametrize("test", OWN)
def test_own_arithmetic_exists(test):
    assert source_of(test)


def test_what_was_remembered_is_said_to_be():
    """A check whose test says "from memory" says so to the reader too."""
    for check in (check for each in KNOWN.values() for check in each.checks):
        if "memory" in check.cites:
            assert "from memory" in check.source, check.test


def test_the_readme_says_what_the_figures_rest_on(catalogue: Catalogue):
    expected = section(catalogue, KNOWN)
    pattern = r"(<!-- figures -->\n)(.*?)(<!-- end -->)"
    found = re.search(pattern, README.read_text(encoding="utf-8"), re.DOTALL)
    assert found
    if UPDATE:
        text = README.read_text(encoding="utf-8")
        text = re.sub(pattern, lambda match: f"{match[1]}{expected}\n{match[3]}", text, flags=re.DOTALL)
        README.write_text(text, encoding="utf-8")
    else:
        assert found[2] == f"{expected}\n"
