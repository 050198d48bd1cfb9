"""Imports run downward only, there are no cycles, and each heavy library lives where it belongs."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

LAYERS = (
    (
        "errors",
        "nomenclature",
        "constants",
        "pareto",
        "tables",
        "process_start",
        "identity",
    ),
    ("materials", "outputs", "toml_files", "unit_words"),
    ("units",),
    ("key_kinds",),
    ("job",),
    ("fingerprint", "jobfile", "properties", "solvers"),
    ("specs",),
    ("money", "property_model"),
    ("trials", "problem"),
    ("formulation",),
    ("engine",),
    ("certificate", "solution"),
    ("verdict",),
    ("studies",),
    ("calibration", "reports"),
    ("sweep", "notebook"),
)
"""Packages and modules of `optimizer`, lowest first; a row may import lower rows and itself."""

OWNERS = {
    "pulp": ("optimizer/solvers/linear.py", "optimizer/solvers/status.py", "optimizer/solvers/status.py"),
    "highspy": ("optimizer/solvers",),
    "streamlit": ("ui",),
    "altair": ("ui",),
    "click": ("ui",),
    "rich": ("ui",),
    "sqlite3": ("optimizer/trials",),
    "pint": ("optimizer/units.py",),
    "distributed": ("optimizer/sweep", "ui"),
}
"""Where a library may be imported."""


def sources(*folders: str) -> list[Path]:
    return sorted(p for folder in folders for p in (ROOT / folder).rglob("*.py"))


@cache
def imported(path: Path) -> tuple[str, ...]:
    """Return the modules a file imports at run time, also inside functions."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    typing = {
        id(node)
        for branch in ast.walk(tree)
        if isinstance(branch, ast.If) and ast.unparse(branch.test) == "TYPE_CHECKING"
        for node in ast.walk(branch)
    }
    names: list[str] = []
    for node in ast.walk(tree):
        if id(node) in typing:
            continue
        if isinstance(node, ast.Import):
            names.extend(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.append(node.module)
    return tuple(names)


def part(module: str) -> str:
    """Return the package or module of `optimizer` that a dotted name belongs to."""
    return module.split(".")[1]


def imported_at_once(path: Path) -> set[str]:
    """Return the modules that importing a file imports: those of its first level."""
    names: set[str] = set()
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
    return names


RANK = {name: rank for rank, row in enumerate(LAYERS) for name in row}


@pytest.mark.parametrize("path", sources("optimizer"), ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_run_downward(path):
    own = path.relative_to(ROOT / "optimizer").parts[0].removesuffix(".py")
    if own == "__init__":
        return
    assert own in RANK, f"{own} has no layer: give it one in LAYERS and in DEVELOPERS.md"
    for name in imported(path):
        if name.startswith("optimizer.") and part(name) != own:
            assert RANK[part(name)] < RANK[own], f"{path.name} imports {name} from a layer not below its own"
        assert name.split(".")[0] != "ui", "the optimizer knows no page and no command line"


def test_no_cycles():
    graph = {}
    for path in sources("optimizer", "ui"):
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        graph[module] = {n for n in imported_at_once(path) if n.split(".")[0] in ("optimizer", "ui")}
    done: set[str] = set()

    def visit(module: str, trail: tuple[str, ...]) -> None:
        assert module not in trail, " -> ".join((*trail, module))
        if module in done or module not in graph:
            return
        for name in graph[module] - {module}:
            if not module.startswith(f"{name}."):
                visit(name, (*trail, module))
        done.add(module)

    for module in graph:
        visit(module, ())


@pytest.mark.parametrize("library", OWNERS)
def test_libraries_live_where_they_belong(library):
    for path in sources("optimizer", "ui"):
        if any(name.split(".")[0] == library for name in imported(path)):
            place = path.relative_to(ROOT).as_posix()
            assert place.startswith(OWNERS[library]), f"{place} imports {library}"


def test_nothing_prints_below_the_command_line():
    for path in sources("optimizer"):
        calls = [n for n in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(n, ast.Call)]
        assert not any(isinstance(c.func, ast.Name) and c.func.id == "print" for c in calls), path


def test_no_word_promises_safety():
    """A calculated margin certifies nothing: the word appears in no text a person reads."""
    for path in [*sources("optimizer", "ui"), *(ROOT / "material_specs").glob("*.toml")]:
        words = path.read_text(encoding="utf-8").replace("unsafe", "").lower()
        for line in words.splitlines():
            held = "safe_bound" in line or "safe bound" in line or "thread-safe" in line or "safety" in line
            assert held or " safe" not in line, f"{path.relative_to(ROOT)}: {line.strip()}"
