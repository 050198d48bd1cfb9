"""Every property has a check against something printed, or the reason why it has none; people read both.

The table is `optimizer/specs/property_checks.toml`; `vesselblend materials --sources` prints it whole.
"""

from __future__ import annotations

import ast
import json
from functools import cache
from pathlib import Path

import pytest

from optimizer.materials import Catalogue
from optimizer.nomenclature import QUANTITIES, USES
from optimizer.specs.figure_sources import Check, figures_by_trust, property_checks, publications
from ui.cli import run

ROOT = Path(__file__).resolve().parents[2]
KNOWN = property_checks()
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


@pytest.fixture
def printed(capsys: pytest.CaptureFixture[str]) -> str:
    """Return what the command prints, its lines joined."""
    assert run(["materials", "--sources"]) == 0
    return " ".join(capsys.readouterr().out.split())


def test_the_command_tells_each_property_and_its_checks(printed: str):
    heads = [f"{name}: {USES[QUANTITIES[name].use]} Checked against" for name in QUANTITIES]
    places = [printed.index(head) for head in heads]
    assert places == sorted(places), "in the order of the table of quantities"
    parts = [printed[here:there] for here, there in zip(places, [*places[1:], None], strict=True)]
    for part, each in zip(parts, KNOWN.values(), strict=True):
        for check in each.checks:
            alone = ", the law alone" if check.test.startswith("tests/properties/") else ""
            assert f"{check.source}{alone}" in part
        assert each.checks or "our own arithmetic alone" in part
        assert each.none in part


def test_the_command_counts_every_figure_once(catalogue: Catalogue, printed: str):
    shipped = sum(
        len(material.figures) + len(material.reference_points)
        for material in map(catalogue.__getitem__, catalogue)
    )
    counts = figures_by_trust(catalogue)
    assert sum(counts.values()) == shipped + len(catalogue.model)
    assert all(f"{count} {words}" in printed for words, count in counts.items())
    assert "not verified" not in counts


def test_the_command_lists_every_publication_and_says_whether_it_was_read(catalogue: Catalogue, printed: str):
    read, remembered = printed.split("Known from memory, not read,")
    uses = {use.source.key: use for use in publications(catalogue)}
    assert catalogue.sources.keys() - uses.keys() == {"judgement", "trade", "handbook", "computed", "own"}
    for key, use in uses.items():
        assert f"- {use.source.citation} (" in (read if catalogue.sources[key].opened else remembered)
        assert use.read <= use.figures
        assert use.source.opened or not use.read, f"{key} was not opened: nothing was read in it"


def test_the_data_hold_what_the_text_tells(catalogue: Catalogue, capsys: pytest.CaptureFixture[str]):
    assert run(["materials", "--sources", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [each["name"] for each in told["properties"]] == list(QUANTITIES)
    for each in told["properties"]:
        known = KNOWN[each["name"]]
        assert [check["source"] for check in each["checks"]] == [check.source for check in known.checks]
        assert (each["not_checked"], each["own_arithmetic"]) == (known.none, list(known.own))
    assert told["figures"] == figures_by_trust(catalogue)
    assert {each["citation"] for each in told["publications"]} <= {
        source.citation for source in catalogue.sources.values()
    }


def test_the_sources_of_one_material_are_asked_for_by_its_name(capsys: pytest.CaptureFixture[str]):
    assert run(["materials", "water", "--sources"]) == 2
    assert "vesselblend materials water" in capsys.readouterr().err


def test_own_figures_are_counted_as_measured_by_you(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    shipped = (ROOT / "material_specs" / "marble_flour.toml").read_text(encoding="utf-8")
    own = shipped.replace('source = "handbook"', 'source = "own"', 1)
    (tmp_path / "my_flour.toml").write_text(own, encoding="utf-8")
    assert run(["materials", "--sources", "--json", "--specs", str(tmp_path)]) == 0
    assert json.loads(capsys.readouterr().out)["figures"]["measured by you"] == 1
