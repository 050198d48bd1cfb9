"""The README promises nothing that is not there: its options, exit codes, tables and names all exist."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import click
import pytest

import optimizer
from optimizer import errors
from ui.cli import cli
from ui.commands.shared import NO_BLEND, NO_VERDICT

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
OTHERS = {"--version", "--help"}
CODES = {
    *(each.exit_code for each in vars(errors).values() if hasattr(each, "exit_code")),
    *(0, NO_BLEND, NO_VERDICT, 130),
}
"""130 is what a shell says of a program that was interrupted."""


def options(command: click.Command) -> set[str]:
    own = {word for p in command.params for word in (*p.opts, *p.secondary_opts)}
    groups = command.commands.values() if isinstance(command, click.Group) else ()
    return own.union(*(options(each) for each in groups))


def test_every_option_the_readme_names_exists():
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z0-9-]+", TEXT))
    assert sorted(named - options(cli) - OTHERS) == []


def test_exit_codes_are_those_of_the_code_and_no_others():
    listed = {int(code) for code in re.findall(r"^\| (\d+) \|", TEXT, re.MULTILINE)}
    assert listed >= CODES
    assert listed - CODES <= {1, 2}, "1: unforeseen, 2: words of the command"


def test_the_readme_says_where_the_keys_of_a_job_file_are_listed():
    assert "`vesselblend init --keys`" in TEXT


@pytest.mark.parametrize("block", re.findall(r"^```pycon\n(.*?)^```", TEXT, re.DOTALL | re.MULTILINE))
def test_names_imported_in_examples_are_public(block):
    for line in re.findall(r"^>>> (from optimizer.*)$", block, re.MULTILINE):
        (statement,) = ast.parse(line).body
        assert isinstance(statement, ast.ImportFrom)
        assert statement.module == "optimizer", "examples need no more than the public names"
        assert {alias.name for alias in statement.names} <= set(optimizer.__all__)


@pytest.mark.parametrize("question", ["design", "check", "compare", "frontier", "order", "calibrate"])
def test_every_question_has_an_example(question):
    assert re.search(rf"^(>>>|\.\.\.) .*\b{question}\(", TEXT, re.MULTILINE)


@pytest.mark.parametrize("path", sorted(set(re.findall(r"\]\(([\w./-]+)\)", TEXT))))
def test_files_the_readme_shows_or_points_to_exist(path):
    assert (ROOT / path).exists()
