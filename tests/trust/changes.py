"""Single changes of the code that may change what it means."""

from __future__ import annotations

import ast
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

_CODE: Final = Path(__file__).resolve().parents[2] / "optimizer"
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
_TINY: Final = 1e-6
"""A number no larger guards a division or a rounding; twice as much means the same."""


@dataclass(frozen=True)
class Mutant:
    """One change: file, what it was changed to, and where it shows.

    Parameters
    ----------
    path
        File of the change.
    lines
        Lines of the changed statement, that of the change first.
    words
        What was changed, before and after.
    text
        The changed file.
    names
        Names that the statement sets, where it runs on import: the change shows where they are read.
    """

    path: Path
    lines: tuple[int, ...]
    words: str
    text: str
    names: tuple[str, ...] = ()


def places_of(path: Path) -> list[int]:
    """Return which nodes of a file's syntax tree this module can change; docstrings stay."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    skipped = set(_without_meaning(tree))
    return [
        k for k, node in enumerate(ast.walk(tree)) if id(node) not in skipped and _changed(node) is not None
    ]


def mutant_at(path: Path, number: int) -> Mutant:
    """Return the change of one of `places_of` a file."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    node = next(each for k, each in enumerate(ast.walk(tree)) if k == number)
    before, change = ast.unparse(node), _changed(node)
    if change is None:
        raise ValueError(number)
    lines, names = _shows(tree, node)
    change()
    return Mutant(path, lines, f"{before}  ->  {ast.unparse(node)}", ast.unparse(tree), names)


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


def _without_meaning(tree: ast.AST) -> Iterator[int]:
    """Yield the identities of nodes whose change means nothing: types, caches, guards, unused defaults."""
    for node in ast.walk(tree):
        if isinstance(node, ast.arg | ast.AnnAssign) and node.annotation is not None:
            yield from map(id, ast.walk(node.annotation))
        if isinstance(node, ast.FunctionDef):
            for part in (*node.decorator_list, *([node.returns] if node.returns else ())):
                yield from map(id, ast.walk(part))
        if _tiny(node):
            yield id(node)
        if isinstance(node, ast.Compare) and any(_tiny(part) for part in ast.walk(node)):
            yield id(node)
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "lookup" and len(node.args) == 2:
            yield from map(id, ast.walk(node.args[1]) if _is_stated(node.args[0]) else ())
        if isinstance(node, ast.BinOp) and (_neutral(node.left, node.op) or _neutral(node.right, node.op)):
            yield id(node)


def _is_stated(name: ast.AST) -> bool:
    """Return whether the shipped files state a figure, so that a default for it is never used."""
    return isinstance(name, ast.Constant) and name.value in _figures()


@cache
def _figures() -> frozenset[str]:
    return frozenset(
        tomllib.loads((_CODE.parent / "material_specs" / "model.toml").read_text(encoding="utf-8"))
    )


def _neutral(node: ast.AST, op: ast.operator) -> bool:
    """Return whether a sum is as good without a node, or a product: a tolerance, or one and a tolerance."""
    if isinstance(op, ast.Add | ast.Sub):
        product = isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mult)
        return _tiny(node) or (product and (_tiny(node.left) or _tiny(node.right)))
    return isinstance(node, ast.BinOp) and (_tiny(node.left) or _tiny(node.right))


def _tiny(node: ast.AST) -> bool:
    """Return whether a node is a guard or a tolerance, or the name of one."""
    if isinstance(node, ast.Name | ast.Attribute):
        return (node.id if isinstance(node, ast.Name) else node.attr) in _tolerances()
    return isinstance(node, ast.Constant) and type(node.value) is float and 0.0 < node.value <= _TINY


@cache
def _tolerances() -> frozenset[str]:
    """Return the names of the project's constants that are no larger than `_TINY`."""
    return frozenset(
        name.id
        for path in _CODE.rglob("*.py")
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.Assign | ast.AnnAssign)
        and isinstance(node.value, ast.Constant)
        and _tiny(node.value)
        for name in (node.targets if isinstance(node, ast.Assign) else [node.target])
        if isinstance(name, ast.Name)
    )


def _shows(tree: ast.AST, node: ast.AST) -> tuple[tuple[int, ...], tuple[str, ...]]:
    """Return the lines of the statement that holds a node, and the names it sets if it runs on import."""
    above = _above(tree, node)
    statement = next(each for each in above if isinstance(each, ast.stmt))
    body = getattr(statement, "body", None)
    first, last = statement.lineno, statement.end_lineno or statement.lineno
    own = getattr(node, "lineno", first)
    inside = any(isinstance(each, ast.FunctionDef | ast.Lambda) for each in above if each is not statement)
    names: tuple[str, ...] = ()
    if isinstance(statement, ast.FunctionDef):  # a default, which shows where the function runs
        first = statement.body[0].lineno
    elif body:
        last = body[0].lineno - 1
    if not inside and not isinstance(statement, ast.FunctionDef):
        names = tuple(
            each.id
            for each in ast.walk(statement)
            if isinstance(each, ast.Name) and isinstance(each.ctx, ast.Store)
        )
    return (own, *(line for line in range(first, last + 1) if line != own)), names


def _above(tree: ast.AST, node: ast.AST) -> list[ast.AST]:
    """Return a node and all that holds it, innermost first."""
    holder = {id(child): each for each in ast.walk(tree) for child in ast.iter_child_nodes(each)}
    out = [node]
    while id(out[-1]) in holder:
        out.append(holder[id(out[-1])])
    return out
