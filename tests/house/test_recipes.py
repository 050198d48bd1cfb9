"""The recipes builders run: every word of them is a command, a file or an option that there is."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
RECIPES = dict(
    re.findall(r"^([a-z]+):\n((?: {4}.*\n)+)", (ROOT / ".justfile").read_text(encoding="utf-8"), re.MULTILINE)
)
LINES = [(name, line.strip()) for name, body in RECIPES.items() for line in body.splitlines()]
BUILT = ("python", "mypy", "ruff", "python3")
"""Commands of the builder's own environment, which need not be on the path of these tests."""


def commands(line: str) -> list[str]:
    """Return the first word of each command of a line, settings of variables left out."""
    parts = re.sub(r"'[^']*'|\$\([^)]*\)", "''", line).split(" && ")
    words = [[w for w in part.split() if not re.match(r"\w+=", w)] for part in parts]
    return [each[0] for each in words if each]


def test_there_are_the_recipes_the_guide_names():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`just(?: ([a-z]+))?`", guide)) - {""}
    assert named == set(RECIPES) - {"check"}
    assert next(iter(RECIPES)) == "check", "the first recipe is what `just` alone runs"


@pytest.mark.parametrize(("recipe", "line"), LINES)
def test_each_line_is_shell_that_parses(recipe, line):
    done = subprocess.run(["bash", "-n", "-c", line], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(("recipe", "line"), LINES)
def test_each_command_exists(recipe, line):
    for command in commands(line):
        beside = Path(sys.executable).with_name(Path(command).name).exists()
        here = command in BUILT or command in ("trap", "cd") or (ROOT / command).exists()
        assert here or beside or shutil.which(command), command


@pytest.mark.parametrize(("recipe", "line"), LINES)
def test_each_path_exists(recipe, line):
    for path in re.findall(r"(?<!\S)(?:tests|optimizer|\.ci)/[\w./]+", line):
        assert (ROOT / path).exists(), path


def test_pytest_knows_what_the_recipes_ask_of_it():
    asked = re.search(r"pytest (.*)", RECIPES["fast"])
    assert asked
    options = [word for word in asked[1].split() if not word.startswith(("tests", "optimizer"))]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", *options, "--version"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_the_recipe_for_a_fresh_clone_runs_the_commands_of_the_readme():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for piece in ("python3 -m venv .venv", ".venv/bin/vesselblend design", ".venv/bin/python -m pytest"):
        assert piece in RECIPES["fresh"]
        assert piece in readme


def test_this_version_has_notes_for_its_users():
    version = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
    notes = (ROOT / ".changes" / f"{version}.md").read_text(encoding="utf-8").splitlines()
    assert notes
    assert all(re.match(r"- [A-Z].*\.$", line) or line == "" for line in notes if "`" not in line)
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert f"`.changes/{version}.md`" in guide, "builders are told where the notes of this version stand"
