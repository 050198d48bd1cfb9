"""Names are law: one quantity, one name, one unit, in every docstring that states a unit in brackets.

The units are those of `optimizer.nomenclature` and, for what a caster states, of the job file's keys.
"""

from __future__ import annotations

import ast
import math
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from optimizer.jobfile.keys import BOUNDS, CANDLE, PRICE, SHOP, TOP_VALUES, VESSEL
from optimizer.key_kinds import Number
from optimizer.nomenclature import QUANTITIES
from optimizer.units import display_value

ROOT = Path(__file__).resolve().parents[2]
MODULES = sorted((ROOT / "optimizer").rglob("*.py"))
KEYS = (*VESSEL, *CANDLE, *SHOP, *PRICE, *BOUNDS, *TOP_VALUES)
COMMON = {"price", "room", "temperature", "wall", "base", "least", "most", "lost", "waste", "pack", "stock"}
"""Job keys whose names are plain words that mean other things elsewhere."""

STATED = {key.name: key.unit for key in KEYS if isinstance(key, Number) and key.name not in COMMON}
UNITS = STATED | {name: row.unit for name, row in QUANTITIES.items()}
ELSEWHERE = {("Laws", "mixing"), ("pixels", "height")}
"""Owners that use such a name for something else: a bend in a blending law, the height of a photo."""

Node = ast.FunctionDef | ast.ClassDef


def public(path: Path) -> Iterator[Node]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node


def section(node: Node, head: str) -> str:
    doc = ast.get_docstring(node) or ""
    found = re.search(rf"^{head}\n-+\n(.*?)(?=^\w[\w ]*\n-+\n|\Z)", doc, re.DOTALL | re.MULTILINE)
    return found[1] if found else ""


def entries(text: str) -> Iterator[tuple[list[str], list[str]]]:
    """Give the names of each entry of a section with the units in brackets below them."""
    for part in re.split(r"^(?=\S)", text, flags=re.MULTILINE):
        head, _, body = part.partition("\n")
        names = [name.strip(" *") for name in head.split(" : ")[0].split(",") if name.strip()]
        if names:
            yield names, re.findall(r"\[([^\]]+)\]", body)


def stated_units(path: Path) -> Iterator[tuple[str, str, str]]:
    """Give owner, name and unit of every argument and field of a module that states one."""
    for node in public(path):
        for head in ("Parameters", "Attributes"):
            for names, units in entries(section(node, head)):
                each = units if len(units) == len(names) else units[:1] * len(names)
                yield from ((node.name, name, unit) for name, unit in zip(names, each, strict=False))


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_name_of_the_table_has_the_unit_of_the_table(path):
    wrong = [
        f"{owner}: {name} [{unit}], the table says [{UNITS[name]}]"
        for owner, name, unit in stated_units(path)
        if name in UNITS and (owner, name) not in ELSEWHERE and UNITS[name] not in re.split(r"[ ,]+", unit)
    ]
    assert wrong == []


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_docstrings_describe_the_arguments_there_are(path):
    for node in public(path):
        if isinstance(node, ast.FunctionDef):
            every = (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)
            starred = [arg.arg for arg in (node.args.vararg, node.args.kwarg) if arg]
            known = {*(arg.arg for arg in every), *starred}
            described = {name for names, _ in entries(section(node, "Parameters")) for name in names}
            assert described <= known, f"{node.name}: no argument {sorted(described - known)}"


@pytest.mark.parametrize(
    ("path", "node"),
    [
        pytest.param(path, node, id=node.name)
        for path in MODULES
        if path.parent.name == "properties"
        for node in public(path)
        if isinstance(node, ast.FunctionDef) and node.name in QUANTITIES
    ],
)
def test_a_function_named_as_a_quantity_returns_its_unit(path, node):
    doc = (ast.get_docstring(node) or "").split("Parameters\n")[0]
    assert f"[{QUANTITIES[node.name].unit}]" in doc + section(node, "Returns"), path.name


def test_the_law_is_read_where_it_counts():
    """Enough names are compared for the tests above to mean something."""
    compared = [name for path in MODULES for _, name, _ in stated_units(path) if name in UNITS]
    assert len(compared) > 60
    assert len(set(compared)) > 30


@pytest.mark.parametrize("name", QUANTITIES)
def test_the_key_of_a_limit_can_be_typed_from_its_label(name: str) -> None:
    assert QUANTITIES[name].label.lower().replace(" ", "_").startswith(name)


@pytest.mark.parametrize("name", QUANTITIES)
def test_the_units_of_a_row_are_known(name: str) -> None:
    value, _ = display_value(1.0, name, "us")
    assert math.isfinite(value)
