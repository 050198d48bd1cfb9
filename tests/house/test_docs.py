"""Docs that cannot lie: every public function says what it means, in the units of the one table."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FORMULAS = sorted((ROOT / "optimizer" / "properties").glob("*.py"))
UNIT = re.compile(r"\[[^\]]+\]")


def public_functions(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield node
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            yield from (f for f in node.body if isinstance(f, ast.FunctionDef) and not f.name.startswith("_"))


@pytest.mark.parametrize(
    "path", sorted((ROOT / "optimizer").rglob("*.py")), ids=lambda p: str(p.relative_to(ROOT))
)
def test_public_functions_and_modules_have_docstrings(path):
    assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    for function in public_functions(path):
        assert ast.get_docstring(function), f"{path.name}: {function.name}"


@pytest.mark.parametrize("path", FORMULAS, ids=lambda p: p.stem)
def test_formulas_name_a_unit_for_every_argument(path):
    """Each parameter section names a unit in brackets for each argument of the signature."""
    for function in (
        f for f in ast.parse(path.read_text(encoding="utf-8")).body if isinstance(f, ast.FunctionDef)
    ):
        doc = ast.get_docstring(function) or ""
        if function.name.startswith("_") or "Parameters" not in doc:
            continue
        section = doc.split("Parameters", 1)[1].split("Returns", 1)[0].split("Notes", 1)[0]
        described = {
            name.strip()
            for line in re.findall(r"^(\w[\w, ]*) ?(?::|$)", section, flags=re.MULTILINE)
            for name in line.split(",")
        }
        arguments = {a.arg for a in (*function.args.args, *function.args.kwonlyargs)}
        assert arguments <= described, f"{path.stem}.{function.name}: {arguments - described} not described"
        plain = [
            a
            for a in function.args.args
            if ast.unparse(a.annotation or ast.Constant(0)) in ("Values", "float")
        ]
        elsewhere = "As for" in section or "See `" in section
        assert elsewhere or not plain or UNIT.search(section), f"{path.stem}.{function.name} names no unit"


TEXTS = [*(ROOT / "optimizer").rglob("*.py"), *(ROOT / "ui").rglob("*.py"), *ROOT.glob("*.md")]


def named(name: str) -> bool:
    """Tell whether a dotted name is a module of the project, or stands in the one that it begins with."""
    place = ROOT.joinpath(*name.split("."))
    homes = (place.with_suffix(".py"), place / "__init__.py")
    if any(home.is_file() for home in homes):
        return True
    homes = (place.parent.with_suffix(".py"), place.parent / "__init__.py")
    return any(re.search(rf"\b{place.name}\b", home.read_text("utf-8")) for home in homes if home.is_file())


@pytest.mark.parametrize("path", TEXTS, ids=lambda p: str(p.relative_to(ROOT)))
def test_modules_and_files_named_in_texts_exist(path):
    """What stands in backticks as a module or file of the project is one, or a name in one."""
    text = path.read_text(encoding="utf-8")
    for name in re.findall(r"`((?:optimizer|ui)(?:\.[A-Za-z_]\w*)+)`", text):
        assert named(name), f"{path.name}: {name}"
    for name in re.findall(r"`((?:optimizer|ui|tests|material_specs)/[\w./-]+)`", text):
        assert (ROOT / name).exists(), f"{path.name}: {name}"


def test_guide_names_every_layer():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    packages = [p.name for p in (ROOT / "optimizer").iterdir() if p.is_dir() and (p / "__init__.py").exists()]
    modules = [p.stem for p in (ROOT / "optimizer").glob("*.py") if p.stem != "__init__"]
    assert [name for name in (*packages, *modules) if f"`{name}`" not in guide] == []


def test_the_guide_stays_short_and_its_terms_few():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert len(guide.encode()) <= 10_240
    glossary = guide.partition("## Vocabulary")[2].partition("\n## ")[0]
    assert 10 <= len(re.findall(r"\*\*[^*]+\*\*:", glossary)) <= 20
