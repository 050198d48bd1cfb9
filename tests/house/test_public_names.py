"""`import optimizer` is instant, and its public names are those that are typed, listed and explained."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import optimizer

SOURCE = Path(optimizer.__file__)
HEAVY = ("numpy", "scipy", "pandas", "pulp", "pydantic", "pint")


def typed_names() -> dict[str, str]:
    """Return what a type checker sees: name -> module it is imported from."""
    tree = ast.parse(SOURCE.read_text(encoding="utf-8"))
    branch = next(n for n in tree.body if isinstance(n, ast.If) and ast.unparse(n.test) == "TYPE_CHECKING")
    return {
        alias.asname or alias.name: str(node.module)
        for node in branch.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }


def test_typed_names_are_the_lazy_ones_and_the_listed_ones():
    lazy = {name: f"optimizer.{home}" for name, home in optimizer._HOMES.items()}
    assert lazy == typed_names()
    assert sorted(optimizer.__all__) == sorted(lazy)


@pytest.mark.parametrize("name", optimizer.__all__)
def test_public_names_are_found_and_explained(name):
    found = getattr(optimizer, name)
    assert getattr(optimizer, name) is found
    assert getattr(found, "__doc__", None)
    assert name in dir(optimizer)


def test_unknown_names_are_answered_with_the_known_ones():
    with pytest.raises(AttributeError, match=r"no name 'desing'; it has .*design"):
        _ = optimizer.desing


def test_importing_loads_nothing_heavy():
    asked = f"import sys, optimizer; print([name for name in {HEAVY} if name in sys.modules])"
    found = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def test_help_names_every_question():
    questions = ("design", "check", "compare", "frontier", "order", "calibrate")
    assert [word for word in questions if f"``{word}(" not in str(optimizer.__doc__)] == []
