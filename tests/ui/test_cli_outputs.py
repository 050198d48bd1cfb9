"""No command writes over what it reads: job, book, specs, calibration, table, photo, under any spelling."""

from __future__ import annotations

import os
from pathlib import Path

import click
import pytest

from optimizer.specs import specs_folder
from optimizer.trials.book import TrialBook
from tests.ui.conftest import SMALL, Command
from ui.cli import cli
from ui.commands.shared import INPUTS

OUTPUTS = {"file", "output"}
"""Parameters that name what a command writes."""

CALIBRATION = "calibration-2026-03-02-a.toml"
DUE = ("--vessels", "30", "--due", "2030-12-30")
BLEND = ("--blend", "gypsum_cement=95, marble_flour=5")

COMMANDS = {
    "check": (("check", "job.toml", *BLEND), "-o"),
    "design": (("design", "job.toml", "--calibration", CALIBRATION, "--specs", "specs"), "-o"),
    "card": (("card", "job.toml"), "-o"),
    "frontier": (("frontier", "job.toml"), "-o"),
    "order": (("order", "job.toml", *DUE), "-o"),
    "sweep": (("sweep", "job.toml", "--table", "table.csv"), "-o"),
    "materials": (("materials", "--specs", "specs"), "-o"),
    "trials list": (("trials", "list", "--book", "b.db"), "-o"),
    "trials add": (("trials", "add", "demold=30 min", "--book", "b.db"), "-o"),
    "trials import": (("trials", "import", "table.csv", "--book", "b.db"), "-o"),
    "trials export": (("trials", "export", "--current", "--book", "b.db"), ""),
    "trials export -o": (("trials", "export", "--json", "--book", "b.db"), "-o"),
    "trials fit": (("trials", "fit", "job.toml", "--book", "b.db"), "-o"),
    "trials next": (("trials", "next", "job.toml", "--book", "b.db"), "-o"),
    "trials measure": (("trials", "measure", "whiteness", "photo=photo.png"), "-o"),
    "init": (("init", "--force"), ""),
}
READ = {"b.db", "job.toml", "specs/chalk.toml", "table.csv", "photo.png", CALIBRATION}


@pytest.fixture
def studio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Make a folder with a job, a book, a table, a photo, own specs, and links to the job and the book."""
    monkeypatch.chdir(tmp_path)
    Path("job.toml").write_text(SMALL, encoding="utf-8")
    Path("table.csv").write_text("limits.whiteness\n86\n", encoding="utf-8")
    Path("photo.png").write_bytes(b"a photo")
    Path(CALIBRATION).write_text("what trials taught", encoding="utf-8")
    Path("specs").mkdir()
    Path("specs/chalk.toml").write_text("a material", encoding="utf-8")
    TrialBook(Path("b.db"))
    Path("linked").symlink_to("job.toml")
    os.link("b.db", "hard")
    return tmp_path


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def cases() -> list[tuple[str, str]]:
    """Give each command with each file it reads, which are those its words name, and each trial book."""
    found = []
    for name, (words, _) in COMMANDS.items():
        line = " ".join(words)
        read = [each for each in sorted(READ) if each.split("/")[0] in line]
        read += [CALIBRATION] if "b.db" in line and CALIBRATION not in line else []
        read += ["./linked"] if "job.toml" in line else []
        found += [(name, each) for each in dict.fromkeys((*read, "b.db", "hard"))]
    return found


@pytest.mark.parametrize(("name", "target"), cases())
def test_an_output_never_takes_the_place_of_an_input_or_a_book(
    command: Command, studio: Path, name: str, target: str
) -> None:
    words, option = COMMANDS[name]
    before = contents(studio)
    ran = command(*words, *([option] if option else []), target)
    assert (ran.code, ran.out) == (4, "")
    assert "Name another file" in ran.err
    assert contents(studio) == before


def test_nothing_is_entered_where_the_answer_may_not_be_written(command: Command, studio: Path) -> None:
    assert command("trials", "add", "demold=30 min", "--book", "new.db", "-o", "./new.db").code == 4
    assert not Path("new.db").exists()


def test_shipped_specs_are_inputs(command: Command) -> None:
    shipped = specs_folder() / "gypsum_cement.toml"
    before = shipped.read_bytes()
    assert command("materials", "-o", shipped).code == 4
    assert shipped.read_bytes() == before


def test_a_job_on_standard_input_is_not_written_over(studio: Path) -> None:
    import subprocess
    import sys

    with Path("job.toml").open("rb") as job:
        words = [sys.executable, "-m", "ui", "check", "-", *BLEND, "-o", "job.toml"]
        environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
        done = subprocess.run(words, stdin=job, capture_output=True, text=True, env=environment)
    assert (done.returncode, done.stdout) == (4, "")
    assert Path("job.toml").read_text(encoding="utf-8") == SMALL


@pytest.mark.parametrize("text", ["one line without end", "scenario,job\nnotes", "s\n"])
def test_a_sweep_leaves_notes_alone(command: Command, studio: Path, text: str) -> None:
    notes = Path("notes.txt")
    notes.write_text(text, encoding="utf-8")
    ran = command("sweep", "job.toml", "--vary", "limits.whiteness=86|88", "-o", notes, "--executor", "solo")
    assert ran.code == 4
    assert "other columns" in ran.err
    assert notes.read_text(encoding="utf-8") == text


def test_init_makes_new_files_only_and_never_a_job_of_a_book(command: Command, studio: Path) -> None:
    assert command("init", "job.toml").code == 4
    assert command("init", "b.db", "--force").code == 4
    assert Path("job.toml").read_text(encoding="utf-8") == SMALL
    assert command("init", "job.toml", "--force").code == 0
    assert Path("job.toml").read_text(encoding="utf-8") != SMALL


def parameters() -> list[tuple[str, click.Parameter]]:
    trials = cli.commands["trials"]
    assert isinstance(trials, click.Group)
    every = {**cli.commands, **{f"trials {name}": one for name, one in trials.commands.items()}}
    return [(name, parameter) for name, one in every.items() for parameter in one.params]


def test_every_parameter_that_names_a_file_is_known_as_input_or_output() -> None:
    named = {
        str(parameter.name)
        for _, parameter in parameters()
        if parameter.metavar in ("FILE", "DIR") or str(parameter.name) in ("job", "file", "table", "book")
    }
    assert named == OUTPUTS | INPUTS.keys()
