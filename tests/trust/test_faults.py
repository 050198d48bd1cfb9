"""Faults of the machine: killed, stopped, no room, no right to write, other letters, other decimal marks.

What must hold each time: an exit code of README, a sentence instead of a traceback, and files that are whole
or not there. Signals and exit codes: POSIX (128 + signal). Kills of sweeps and of the trial book are tested
beside them.
"""

from __future__ import annotations

import json
import locale
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from functools import cache
from pathlib import Path

import pytest

from optimizer.calibration.files import read_calibration
from optimizer.trials.table_files import read_csv_text
from tests.ui.conftest import SMALL

ROOT = Path(__file__).parents[2]
ENV = {**os.environ, "PYTHONPATH": str(ROOT)}
PYTHON = [sys.executable, "-m", "ui"]
ORDER = ["order", "job.toml", "--vessels", "20", "--start", "2026-11-02", "--due", "2026-12-18"]
BLEND = ["--blend", "gypsum_cement=95, marble_flour=5"]
WRITERS = {
    "design": ["design", "job.toml", "--json"],
    "order": [*ORDER, "--json"],
    "card": ["card", "job.toml", *BLEND],
    "check": ["check", "job.toml", *BLEND, "--json"],
}


@pytest.fixture
def folder(tmp_path):
    """Make a folder with a job file."""
    (tmp_path / "job.toml").write_text(SMALL, encoding="utf-8")
    return tmp_path


def ran(folder, words, before=(), env=ENV, **options):
    return subprocess.run(
        [*before, *PYTHON, *words],
        cwd=folder,
        env=env,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        **options,
    )


# Killed


SLOWLY = """
import sys, time
from optimizer import outputs
from ui import cli

class Slow:
    def __init__(self, real):
        self.real = real

    def __getattr__(self, name):
        return getattr(self.real, name)

    def fsync(self, descriptor):
        print("half", flush=True)
        time.sleep(60)

outputs.os = Slow(outputs.os)
sys.exit(cli.run(sys.argv[1:]))
"""
"""Written, not yet on the disk, not yet under its name."""


def half_written(folder, words):
    running = subprocess.Popen(
        [sys.executable, "-c", SLOWLY, *words, "-o", "out"],
        cwd=folder,
        env=ENV,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert running.stdout.readline() == "half\n", running.stderr.read()
    return running


@pytest.mark.parametrize("older", [None, "an older answer"])
@pytest.mark.parametrize("command", ["check", "card"])
def test_killed_in_the_middle_of_writing(folder, command, older):
    out = folder / "out"
    if older:
        out.write_text(older)
    with half_written(folder, WRITERS[command]) as running:
        running.kill()
        running.communicate()
    assert (out.read_text() if out.exists() else None) == older


def test_stopped_in_the_middle_of_writing_leaves_nothing(folder):
    with half_written(folder, WRITERS["check"]) as running:
        running.send_signal(signal.SIGINT)
        _, said = running.communicate(timeout=60)
    assert running.returncode == 128 + signal.SIGINT
    assert said.strip().splitlines()[-1] == "Stopped."
    assert [path.name for path in folder.iterdir()] == ["job.toml"]


def _assert_whole_when_killed(folder, words, seconds):
    out = folder / "out"
    with subprocess.Popen(
        [*PYTHON, *words, "-o", "out"],
        cwd=folder,
        env=ENV,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    ) as running:
        time.sleep(seconds)
        running.kill()
    assert not out.exists() or json.loads(out.read_text())


@pytest.mark.parametrize("command", ["design", "order"])
def test_killed_at_any_moment(folder, command):
    _assert_whole_when_killed(folder, WRITERS[command], 1.0)


@pytest.mark.slow
@pytest.mark.parametrize("command", ["design", "order", "check"])
def test_killed_many_times_at_any_moment(folder, command):
    chance = random.Random(command)
    begun = time.monotonic()
    assert ran(folder, [*WRITERS[command], "-o", "out"]).returncode == 0
    usual = time.monotonic() - begun
    (folder / "out").unlink()
    for _ in range(200):
        _assert_whole_when_killed(folder, WRITERS[command], chance.uniform(0.0, 1.3 * usual))


@pytest.mark.parametrize("command", ["order", "design"])
def test_ctrl_c_leaves_130_and_no_file(folder, command):
    with subprocess.Popen(
        [*PYTHON, *WRITERS[command], "-o", "out"], cwd=folder, env=ENV, stderr=subprocess.PIPE, text=True
    ) as running:
        time.sleep(0.2)
        until = time.monotonic() + 60.0
        while "optimizer" not in _maps(running.pid) and time.monotonic() < until and running.poll() is None:
            time.sleep(0.02)
        running.send_signal(signal.SIGINT)
        _, said = running.communicate(timeout=120)
    assert running.returncode == 128 + signal.SIGINT
    assert "Traceback" not in said
    assert [path.name for path in folder.iterdir()] == ["job.toml"]


def _maps(number):
    """Return something that says the command is past its start: SciPy's libraries are loaded."""
    try:
        return "optimizer" if "scipy" in Path(f"/proc/{number}/maps").read_text() else ""
    except OSError:
        return ""


# No room, no right to write


@cache
def _own_mounts():
    """Return the words that give a process mounts of its own; skip where the machine has none."""
    for words in (["unshare", "-m"], ["unshare", "-r", "-m"]):
        probe = [*words, "sh", "-c", "mount -t tmpfs -o size=64k tmpfs /mnt"]
        if shutil.which("unshare") and subprocess.run(probe, capture_output=True).returncode == 0:
            return words
    pytest.skip("this machine lets no process mount a small disk (unshare -m)")
    return []


def on_small_disk(folder, words, options, filled=0, after="true"):
    """Run a command in a folder with a small disk at `disk`, then the shell's words `after`."""
    (folder / "disk").mkdir(exist_ok=True)
    script = (
        f"mount -t tmpfs -o {options} tmpfs disk && "
        f"{{ head -c {filled} /dev/zero > disk/filler; true; }} 2>/dev/null; "
        '"$@"; code=$?; '
        f"{after}; exit $code"
    )
    return ran(folder, words, [*_own_mounts(), "sh", "-c", script, "sh"])


@pytest.mark.parametrize(
    ("words", "out"),
    [
        ([*WRITERS["check"], "-o", "disk/out.json"], "out.json"),
        ([*WRITERS["card"], "-o", "disk/out.html"], "out.html"),
        (["init", "disk/new.toml"], "new.toml"),
        (["materials", "--json", "-o", "disk/out.json"], "out.json"),
        (["trials", "add", "demold=38 min", "--book", "disk/trials.db"], "trials.db"),
    ],
    ids=lambda each: each[0] if isinstance(each, list) else "",
)
@pytest.mark.parametrize("kind", ["full", "read-only"])
def test_no_room_or_no_right_is_told_and_leaves_no_half_file(folder, words, out, kind):
    options, filled = ("size=8k", 8192) if kind == "full" else ("ro,size=64k", 0)
    done = on_small_disk(folder, words, options, filled, after="find disk -type f -size +0 >&2")
    assert done.returncode in (1, 4), (done.returncode, done.stderr)
    assert "Traceback" not in done.stderr
    assert "fault of vesselblend" not in done.stderr
    assert f"disk/{out}" not in done.stderr.splitlines(), done.stderr
    left = {name for name in done.stderr.splitlines() if name.startswith("disk/") and ":" not in name}
    assert left <= {"disk/filler"}, "something half written is left"


def test_a_sweep_that_fills_the_disk_keeps_whole_rows(folder):
    words = [
        "sweep",
        "job.toml",
        "--vary",
        "shop.wage=10 /h:40 /h:24",
        "--executor",
        "solo",
        "-o",
        "disk/out.csv",
    ]
    done = on_small_disk(folder, words, "size=8k", 4096, after="cp disk/out.csv kept.csv")
    assert done.returncode == 4
    assert "No space left" in done.stderr
    kept = (folder / "kept.csv").read_bytes()
    assert kept.endswith(b"\n")
    lines = kept.splitlines()
    assert 2 <= len(lines) < 25
    assert len({line.count(b",") for line in lines}) == 1


# Letters, decimal marks, streams


@pytest.mark.parametrize(
    "words",
    [
        ["design", "job.toml"],
        ["check", "job.toml", *BLEND],
        ORDER,
        ["materials", "gypsum_cement"],
        ["design", "--help"],
    ],
    ids=["design", "check", "order", "materials", "help"],
)
def test_a_terminal_of_plain_letters_gets_an_answer(folder, words):
    (folder / "job.toml").write_text(SMALL.replace("Small tumbler", "Gefäß 85 × 95, weiß"), encoding="utf-8")
    done = ran(folder, words, env={**ENV, "PYTHONIOENCODING": "ascii", "LC_ALL": "C"})
    assert done.returncode == 0, done.stderr
    assert done.stdout.isascii()


COMMA = """
import locale, sys
locale.setlocale(locale.LC_ALL, "")
assert locale.localeconv()["decimal_point"] == ",", locale.localeconv()
from ui.cli import run
sys.exit(run(sys.argv[1:]))
"""


@pytest.fixture(scope="module")
def comma(tmp_path_factory):
    """Return the environment of a locale with a decimal comma, made for the test where there is none."""
    made = tmp_path_factory.mktemp("locale")
    if shutil.which("localedef") is None:
        pytest.skip("no locale with a decimal comma can be made here (localedef)")
    words = ["localedef", "-i", "de_DE", "-f", "UTF-8", str(made / "de_DE.UTF-8")]
    if subprocess.run(words, capture_output=True).returncode not in (0, 1):
        pytest.skip("no locale with a decimal comma can be made here (sources of locales)")
    return {**ENV, "LOCPATH": str(made), "LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8"}


@pytest.mark.parametrize("words", [WRITERS["design"], WRITERS["order"]], ids=["design", "order"])
def test_a_decimal_comma_changes_no_answer(folder, comma, words):
    usual = ran(folder, words)
    done = subprocess.run(
        [sys.executable, "-c", COMMA, *words],
        cwd=folder,
        env=comma,
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == usual.returncode == 0, done.stderr
    assert _timeless(done.stdout) == _timeless(usual.stdout)


def _timeless(text):
    data = json.loads(text)
    data.get("certificate", {}).pop("seconds", None)
    return data


def test_a_decimal_comma_changes_no_table(comma):
    code = (
        "import locale; locale.setlocale(locale.LC_ALL, ''); from datetime import date;"
        "from optimizer.trials.table_files import write_csv_text as w; "
        "from optimizer.trials.records import Trial as T;"
        "print(w([T(date(2026, 3, 2), id='a', water=105.5)]))"
    )
    done = subprocess.run([sys.executable, "-c", code], env=comma, capture_output=True, text=True, check=True)
    assert locale.localeconv()["decimal_point"] == "."
    assert read_csv_text(done.stdout.strip()).trials[0].water == 105.5


@pytest.mark.parametrize(
    "words",
    [
        ["design", "-"],
        ["check", "-", *BLEND],
        ["sweep", "-", "--vary", "shop.wage=1 /h"],
        ["trials", "import", "-"],
    ],
    ids=lambda words: words[0],
)
def test_a_closed_standard_input_is_told(folder, words):
    done = ran(folder, words, ["sh", "-c", '"$@" <&-', "sh"])
    assert done.returncode == 4
    assert "standard input" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    "words", [WRITERS["design"], ["design", "job.toml", "-o", "out.txt"]], ids=["json", "file"]
)
def test_commands_do_without_standard_input(folder, words):
    assert ran(folder, words, ["sh", "-c", '"$@" <&-', "sh"]).returncode == 0


def test_a_closed_standard_output_is_told(folder):
    done = ran(folder, WRITERS["check"], ["sh", "-c", '"$@" >&-', "sh"])
    assert done.returncode == 4
    assert "standard output" in done.stderr


@pytest.fixture
def studio(folder):
    """Fill a book with the example's six casts."""
    assert ran(folder, ["trials", "columns", "--example", "-o", "six.csv"]).returncode == 0
    assert ran(folder, ["trials", "import", "six.csv"]).returncode == 0
    return folder


@pytest.mark.slow
def test_killed_many_times_while_a_fit_is_written(studio):
    """Each calibration that is there is whole; the book still lists its six casts."""
    chance = random.Random(4)
    for _ in range(200):
        _killed(studio, ["trials", "fit"], chance.uniform(0.0, 1.6))
        for path in studio.glob("calibration-*.toml"):
            assert read_calibration(path).trials == ("A1", "A2", "A3", "A4", "A5", "A6")
            path.unlink()
    assert json.loads(ran(studio, ["trials", "list", "--json"]).stdout)["count"] == 6


@pytest.mark.slow
def test_killed_many_times_while_a_book_is_exported(studio):
    """The table is not there, or as whole as one that nobody killed."""
    assert ran(studio, ["trials", "export", "whole.csv"]).returncode == 0
    whole, out, chance = (studio / "whole.csv").read_text("utf-8"), studio / "out.csv", random.Random(5)
    for _ in range(200):
        _killed(studio, ["trials", "export", "out.csv"], chance.uniform(0.0, 1.2))
        assert not out.exists() or out.read_text("utf-8") == whole
        out.unlink(missing_ok=True)


def _killed(folder, words, seconds):
    with subprocess.Popen(
        [*PYTHON, *words], cwd=folder, env=ENV, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as running:
        time.sleep(seconds)
        running.kill()
