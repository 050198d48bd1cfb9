"""Every public name of the property library is used by the code that answers, or it is not there.

A check of a function that no answer goes through proves nothing about an answer. The proof of the optimum
(`optimizer.certificate`) does not count as a user: it may restate a law as a relaxation only, and
`tests/certificate/test_containment.py` holds each relaxation against the predictors.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
LIBRARY = "optimizer.properties"
NO_USERS = (LIBRARY, "optimizer.certificate")

Name = tuple[str, str]
"""Module and name at its top level."""


def module_of(path: Path) -> str:
    """Return the dotted name of a file of the project."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def product() -> dict[str, ast.Module]:
    """Return the syntax tree of every module that is installed."""
    files = [path for folder in ("optimizer", "ui") for path in (ROOT / folder).rglob("*.py")]
    return {module_of(path): ast.parse(path.read_text(encoding="utf-8")) for path in files}


def imported(tree: ast.AST) -> dict[str, Name]:
    """Return what the names imported from the library stand for; a module itself has an empty name."""
    found: dict[str, Name] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith(LIBRARY):
            whole = node.module == LIBRARY
            for alias in node.names:
                home = (f"{LIBRARY}.{alias.name}", "") if whole else (node.module, alias.name)
                found[alias.asname or alias.name] = home
        elif isinstance(node, ast.Import):
            for alias in (a for a in node.names if a.asname and a.name.startswith(LIBRARY)):
                found[str(alias.asname)] = (alias.name, "")
    return found


def uses(node: ast.AST, known: dict[str, Name]) -> set[Name]:
    """Return the names of the library that a piece of code reads."""
    found = set()
    for part in ast.walk(node):
        if isinstance(part, ast.Name) and part.id in known:
            found.add(known[part.id])
        elif isinstance(part, ast.Attribute) and isinstance(part.value, ast.Name):
            module, name = known.get(part.value.id, ("", "-"))
            if not name:
                found.add((module, part.attr))
    return found


def definitions(tree: ast.Module) -> Iterator[tuple[str, ast.stmt]]:
    """Yield the names at the top level of a module with the statement that makes each."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.name, node
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            for part in (part for target in targets for part in ast.walk(target)):
                if isinstance(part, ast.Name) and part.id != "__all__":
                    yield part.id, node


def unused(trees: dict[str, ast.Module]) -> list[str]:
    """Return the public names of the library that no answer uses, directly or through the library."""
    homes: dict[Name, set[Name]] = {}
    for module, tree in trees.items():
        if module.startswith(LIBRARY):
            own = dict(definitions(tree))
            known = imported(tree) | {name: (module, name) for name in own}
            homes |= {(module, name): uses(node, known) for name, node in own.items()}
    todo = set()
    for module, tree in trees.items():
        if not module.startswith(NO_USERS):
            todo |= uses(tree, imported(tree))
    reached: set[Name] = set()
    while todo:
        name = todo.pop()
        if name not in reached:
            reached.add(name)
            todo |= homes.get(name, set())
    missed = {name for name in homes if not name[1].startswith("_")} - reached
    return sorted(".".join(name) for name in missed)


def test_every_public_name_of_the_library_is_used_by_an_answer():
    assert unused(product()) == []


LAW = """
SLOPE = 2
def law(x): return _inner(x)
def _inner(x): return SLOPE * x
def spare(): return SLOPE
"""


@pytest.mark.parametrize(
    ("caller", "dead"),
    [
        pytest.param("from optimizer.properties.law import law as f\nf(1)", ["spare"], id="by-name"),
        pytest.param("from optimizer.properties import law as m\nm.spare()", ["law"], id="by-module"),
        pytest.param("def law(): ...\nlaw()", ["SLOPE", "law", "spare"], id="by-a-namesake-only"),
    ],
)
def test_the_search_sees_what_is_used(caller, dead):
    """Also through another function of the library, and never by a namesake elsewhere."""
    trees = {
        "optimizer.properties.law": ast.parse(LAW),
        "optimizer.property_model.predict": ast.parse(caller),
    }
    assert unused(trees) == [f"optimizer.properties.law.{name}" for name in dead]


def test_the_proof_is_no_user():
    library = "def law(): ..."
    proof = "from optimizer.properties.law import law\nlaw()"
    trees = {"optimizer.properties.law": ast.parse(library), "optimizer.certificate.limits": ast.parse(proof)}
    assert unused(trees) == ["optimizer.properties.law.law"]
