"""The README is true: its commands are run, and what it shows is what they print.

After a change that means it, write the new outputs into the README:
``UPDATE_README=1 python -m pytest tests/test_readme.py``
"""

from __future__ import annotations

import doctest
import os
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from ui.cli import cli, run

README = Path(__file__).parents[1] / "README.md"
UPDATE = bool(os.environ.get("UPDATE_README"))
_OTHER = 0.4
"""Lines shown and lines expected that may be unlike, over the lines shown [-]: a fifth of each."""

NUMBER = re.compile(r"\d+(?:\.\d+)?")
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


def _text() -> str:
    return README.read_text(encoding="utf-8")


def _fenced(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", _text(), re.MULTILINE | re.DOTALL)


def _steps(block: str) -> Iterator[tuple[str, str]]:
    """Give each command of a console block with the output printed below it."""
    for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
        command, _, output = part.partition("\n")
        yield command, output


def _shown(command: str, capsys: pytest.CaptureFixture[str]) -> str:
    """Return what one command of the README prints; ``| head -N`` keeps its first lines."""
    words, _, cut = command.partition(" | head -")
    program, *arguments = shlex.split(words)
    assert program == "vesselblend"
    assert run(arguments) in (0, 3, 5)
    lines = capsys.readouterr().out.splitlines()
    return "".join(f"{line}\n" for line in (lines[: int(cut)] if cut else lines))


def _neutral(output: str) -> str:
    """Fingerprints change with the version, paths with the machine, and a proof goes as far as its time."""
    output = re.sub(r"(is proved|is) within [\d.]+ % of", "is within some percent of", output)
    output = re.sub(r"Fingerprint [0-9a-f]{12}", "Fingerprint of 12 digits", output)
    return re.sub(r"(?<=File: ).*", "path", output)


def _words(line: str) -> str:
    return " ".join(NUMBER.sub("#", line).split())


def _near(one: str, other: str) -> bool:
    """Tell whether two numbers differ by a twentieth, or by two of the last digit shown, at most."""
    a, b = float(one), float(other)
    last = 10.0 ** -len(one.partition(".")[2])
    return abs(a - b) <= max(0.05 * abs(b), 2.0 * last)


def _unlike(shown: str, expected: str) -> list[str]:
    """Return lines shown that are not those expected.

    Machines differ in the last bits of a logarithm, and a search then ends a percent elsewhere: numbers may
    be a twentieth off, rows in order of what is least sure may change places, and a trace of a powder may
    come or go, by which a few lines read otherwise (`_OTHER`).
    """
    left = expected.splitlines()
    out = []
    for line in shown.splitlines():
        numbers = NUMBER.findall(line)
        for other in left:
            found = NUMBER.findall(other)
            if _words(line) == _words(other) and all(map(_near, numbers, found)):
                left.remove(other)
                break
        else:
            out.append(line)
    return out + left


class _Alike(doctest.OutputChecker):
    """Takes outputs whose numbers are near those shown."""

    def check_output(self, want: str, got: str, optionflags: int) -> bool:
        return super().check_output(want, got, optionflags) or not _unlike(got, want)


def test_commands_print_what_the_readme_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "100")
    text = _text()
    for block in _fenced("console"):
        for command, expected in _steps(block):
            shown = _shown(command, capsys)
            if UPDATE:
                text = text.replace(f"$ {command}\n{expected}", f"$ {command}\n{shown}", 1)
            else:
                unlike = _unlike(_neutral(shown), _neutral(expected))
                assert len(unlike) <= _OTHER * len(shown.splitlines()), (command, unlike)
    if UPDATE:
        README.write_text(text, encoding="utf-8")


def test_python_lines_answer_what_the_readme_shows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for words in (
        "init tumbler.toml --demo",
        "trials columns --example -o casts.csv",
        "trials import casts.csv",
    ):
        assert f"$ vesselblend {words}\n" in _text()
        assert run(words.split()) == 0
    examples = doctest.DocTestParser().get_doctest("".join(_fenced("pycon")), {}, "README", str(README), 0)
    runner = doctest.DocTestRunner(_Alike(), optionflags=FLAGS)
    runner.run(examples)
    assert runner.tries > 5
    assert runner.failures == 0


def _commands(group: click.Group, words: str = "vesselblend") -> Iterator[tuple[str, click.Command]]:
    for name, each in group.commands.items():
        if isinstance(each, click.Group):
            yield from _commands(each, f"{words} {name}")
        else:
            yield f"{words} {name}", each


def test_every_command_is_in_the_readme_and_explains_its_options() -> None:
    text = _text()
    for words, command in _commands(cli):
        assert f"`{words}" in text, words
        assert command.help, words
        silent = [p.name for p in command.params if isinstance(p, click.Option) and not p.help]
        assert silent == [], words


def test_the_readme_stays_short() -> None:
    """Some 15 kB, and room for outputs that grow by a line: what is longer is told by a command."""
    assert len(_text().encode()) < 16_000


@pytest.mark.parametrize("code", [0, 1, 2, 3, 4, 5, 130])
def test_every_exit_code_is_in_the_readme(code: int) -> None:
    assert re.search(rf"^\| {code} \|", _text(), re.MULTILINE)


def test_two_commands_set_everything_up() -> None:
    lines = [line for block in _fenced("sh") for line in block.splitlines() if "pip install" in line]
    assert len(lines) == 2
    assert all(line.startswith("python3 -m venv .venv && ") for line in lines)
    assert lines[0].endswith(".venv/bin/vesselblend design")
    assert ".[test]" in lines[1]
    assert lines[1].endswith("-m pytest")


def test_the_readme_promises_nothing() -> None:
    assert not re.search(r"\bsafe(ly|ty)?\b", _text(), re.I)
    assert "accredited test house" in _text()
