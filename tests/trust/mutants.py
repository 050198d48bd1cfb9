"""Change the code in one place at a time and see whether a test falls: ``python -m tests.trust.mutants``.

Works on a copy in a temporary folder. Which places are changed depends on the seed alone, so a run can be
repeated; a survivor is a line that no test of its package holds to its meaning, or a change without meaning.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

ROOT = Path(__file__).resolve().parents[2]
PACKAGES: Final = ("verdict", "money", "certificate", "calibration", "trials", "chain")
"""Packages of `optimizer`; the tests of each lie in the folder of its name."""

_SWAPS: Final[dict[type[ast.AST], type[ast.AST]]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.And: ast.Or,
    ast.Or: ast.And,
}
_NAMES: Final = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum"}


@dataclass(frozen=True)
class Mutant:
    """One change: file, line and what it was changed to."""

    path: Path
    line: int
    words: str
    text: str


def places_of(path: Path) -> list[int]:
    """Return which nodes of a file's syntax tree this module can change; docstrings stay."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [number for number, node in enumerate(ast.walk(tree)) if _changed(node) is not None]


def mutant_at(path: Path, number: int) -> Mutant:
    """Return the change of one of `places_of` a file."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    node = next(each for k, each in enumerate(ast.walk(tree)) if k == number)
    before, change = ast.unparse(node), _changed(node)
    if change is None:
        raise ValueError(number)
    change()
    return Mutant(path, getattr(node, "lineno", 0), f"{before}  ->  {ast.unparse(node)}", ast.unparse(tree))


def _changed(node: ast.AST) -> Callable[[], object] | None:
    """Return what changes a node in place, or None where nothing is to be changed."""
    if isinstance(node, ast.Compare) and type(node.ops[0]) in _SWAPS:
        return lambda: node.ops.__setitem__(0, _SWAPS[type(node.ops[0])]())
    if isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in _SWAPS:
        return lambda: setattr(node, "op", _SWAPS[type(node.op)]())
    if isinstance(node, ast.Constant) and type(node.value) in (int, float) and node.value not in (0, -1):
        return lambda: setattr(node, "value", node.value * 2)
    if isinstance(node, ast.Name) and node.id in _NAMES:
        return lambda: setattr(node, "id", _NAMES[node.id])
    if isinstance(node, ast.Attribute) and node.attr in _NAMES:
        return lambda: setattr(node, "attr", _NAMES[node.attr])
    return None


def chosen(packages: tuple[str, ...], count: int, seed: int) -> list[tuple[str, Mutant]]:
    """Return `count` changes spread evenly over packages, and within each at random."""
    dice = random.Random(seed)
    out = []
    for turn, package in enumerate(packages):
        files = sorted((ROOT / "optimizer" / package).rglob("*.py"))
        found = [(path, number) for path in files for number in places_of(path)]
        share = count // len(packages) + (turn < count % len(packages))
        out += [(package, mutant_at(*place)) for place in dice.sample(found, min(share, len(found)))]
    return out


def outcome(copy: Path, package: str, mutant: Mutant | None, seconds: float) -> str:
    """Return ``killed``, ``survived``, ``no end`` in so many seconds, or ``broken``, for a package.

    A run that pytest itself cannot finish (``broken``) says nothing of the change. Without a change the tests
    are run as they are: all must pass, or no later outcome means anything.
    """
    place = None if mutant is None else copy / mutant.path.relative_to(ROOT)
    original = "" if place is None else place.read_text(encoding="utf-8")
    if place is not None and mutant is not None:
        place.write_text(mutant.text, encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", f"tests/{package}"]
    environment = {**os.environ, "PYTHONPATH": str(copy)}
    try:
        done = subprocess.run(
            command, cwd=copy, env=environment, capture_output=True, text=True, timeout=seconds, check=False
        )
    except subprocess.TimeoutExpired:
        return "no end"
    finally:
        if place is not None:
            place.write_text(original, encoding="utf-8")
    if done.returncode == 0:
        return "survived"
    return (
        "killed"
        if done.returncode in (1, 2) and " in " in (done.stdout.splitlines() or [""])[-1]
        else "broken"
    )


def main() -> None:
    """Print each change as it is tried, then the share that fell."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--count", type=int, default=60)
    reader.add_argument("--seed", type=int, default=1)
    reader.add_argument("--seconds", type=float, default=900.0, help="most for the tests of one change")
    reader.add_argument("packages", nargs="*", default=list(PACKAGES))
    asked = reader.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy"
        kept = shutil.ignore_patterns(".git", ".venv", "__pycache__", ".*_cache")
        shutil.copytree(ROOT, copy, ignore=kept)
        for package in asked.packages:
            if outcome(copy, package, None, asked.seconds) != "survived":
                raise SystemExit(f"tests/{package} do not pass in {asked.seconds:g} s as the code stands")
        tried = chosen(tuple(asked.packages), asked.count, asked.seed)
        ends: Counter[str] = Counter()
        for package, mutant in tried:
            end = outcome(copy, package, mutant, asked.seconds)
            ends[end] += 1
            where = f"{mutant.path.relative_to(ROOT)}:{mutant.line}"
            sys.stdout.write(f"{end:9}{where} {mutant.words}\n")
            sys.stdout.flush()
    sys.stdout.write(", ".join(f"{count} {end}" for end, count in ends.most_common()) + f" of {len(tried)}\n")


if __name__ == "__main__":
    main()
