"""Ways in and out of the command line: help, exit codes, faults, streams and files."""

from __future__ import annotations

import io
import json
import os
import resource
import signal
import subprocess
import sys
from pathlib import Path

import click
import pytest

from optimizer.errors import NoBlend, NoVerdict, VesselblendError, printable
from optimizer.outputs import write_whole
from tests.ui.conftest import SMALL, Command
from ui.cli import cli
from ui.terminal import heading, rendered

ROOT = Path(__file__).parents[2]
HEAVY = ("numpy", "scipy", "pandas", "pint", "pulp", "streamlit", "pydantic", "altair", "jinja2", "rich")
PYTHON = [sys.executable, "-m", "ui"]
ENV = {**os.environ, "PYTHONPATH": str(ROOT)}


def _process(*words: str, **options: object) -> subprocess.CompletedProcess[str]:
    settings: dict[str, object] = {
        "env": ENV,
        "capture_output": True,
        "text": True,
        "timeout": 120,
        **options,
    }
    return subprocess.run([*PYTHON, *words], check=False, **settings)  # type: ignore[call-overload, no-any-return]


@pytest.mark.parametrize("words", [["--help"], ["--version"], ["design", "--help"], ["trials", "--help"]])
def test_help_imports_nothing_heavy(words: list[str]) -> None:
    code = (
        f"import sys; from ui.cli import run; run({words}); print([m for m in {HEAVY} if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], env=ENV, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_help_comes_at_once() -> None:
    # Processor time, not the clock: a busy machine is no fault of ours.
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert _process("--help").returncode == 0
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime < 0.4


def test_every_command_explains_itself_and_its_options(command: Command) -> None:
    def walk(group: click.Group, words: tuple[str, ...]) -> None:
        for name, each in group.commands.items():
            if isinstance(each, click.Group):
                walk(each, (*words, name))
                continue
            ran = command(*words, name, "--help")
            assert ran.code == 0
            assert each.help
            assert all(p.help for p in each.params if isinstance(p, click.Option)), name

    walk(cli, ())


@pytest.mark.parametrize("option", ["--json", "--units", "--output"])
def test_every_answering_command_has_the_common_options(option: str) -> None:
    answering = [c for n, c in cli.commands.items() if n not in ("page", "trials", "materials")]
    for name in ("trials", "materials"):
        group = cli.commands[name]
        assert isinstance(group, click.Group)
        answering += group.commands.values()
    for each in answering:
        assert option in {word for p in each.params for word in p.opts}, each.name


@pytest.mark.parametrize(
    ("words", "code"),
    [
        pytest.param(["materials"], 0, id="done"),
        pytest.param(["chek"], 2, id="click-usage-error-2"),
        pytest.param(["order", "job.toml"], 2, id="click-missing-option-2"),
        pytest.param(["design", "nowhere.toml"], 4, id="no-file"),
        pytest.param(["materials", "gypsm"], 4, id="unknown-material"),
        pytest.param(["check", "SMALL", "--blend", "gypsum_cement=9, marble_flour=91"], 3, id="check-fails"),
        pytest.param(["check", "SMALL", "--blend", "gypsum_cement=95, marble_flour=5"], 0, id="check-meets"),
        pytest.param(["check", "SMALL", "--blend", "marble_flour=1"], 3, id="no-binder"),
        pytest.param(["check", "SMALL", "--blend", "gypsm=1"], 4, id="blend-fault"),
    ],
)
def test_exit_codes(command: Command, small: Path, words: list[str], code: int) -> None:
    assert command(*(str(small) if word == "SMALL" else word for word in words)).code == code


def test_too_close_to_call_is_no_verdict(command: Command, tmp_path: Path) -> None:
    path = tmp_path / "sure.toml"
    path.write_text(SMALL.replace('currency = "EUR"', 'currency = "EUR"\nconfidence = 0.9'), encoding="utf-8")
    ran = command("check", path, "--blend", "gypsum_cement=81, marble_flour=19", "--water-ratio", "0.383")
    assert ran.code == 5
    assert "uncertain" in ran.out


@pytest.mark.parametrize(
    ("error", "code"), [(NoBlend("none"), 3), (NoVerdict("none"), 5), (VesselblendError("x"), 1)]
)
def test_errors_carry_their_exit_code(
    command: Command, monkeypatch: pytest.MonkeyPatch, error: VesselblendError, code: int
) -> None:
    def broken(*_: object) -> None:
        raise error

    monkeypatch.setattr("optimizer.specs.load_catalogue", broken)
    ran = command("materials")
    assert (ran.code, ran.out, ran.err.strip()) == (code, "", str(error))


def test_our_own_fault_is_one_sentence(command: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("optimizer.specs.load_catalogue", broken)
    monkeypatch.delenv("VESSELBLEND_DEBUG", raising=False)
    ran = command("materials")
    assert ran.code == 1
    assert "Traceback" not in ran.err
    assert ran.err.startswith(
        "This is a fault of vesselblend, not yours (ZeroDivisionError: division by zero)."
    )
    monkeypatch.setenv("VESSELBLEND_DEBUG", "1")
    assert "Traceback" in command("materials").err


def test_every_fault_of_a_job_is_told(command: Command, tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(SMALL.replace('"EUR"', '"Euro"').replace(">= 88", ">= 88 %").replace('"215 mL"', "215"))
    ran = command("design", path)
    assert ran.code == 4
    places = ("currency", "vessel.cavity_volume", "limits.whiteness")
    assert [line.split(": read ")[0] for line in ran.err.splitlines()] == [f"{path}:{key}" for key in places]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        pytest.param(b"x" * 10_000_000, "very large", id="10-MB"),
        pytest.param(bytes(range(256)), "binary", id="binary"),
        pytest.param(b"", "an empty file", id="empty"),
        pytest.param("title = 'Gefäß'".encode("latin-1"), "not UTF-8", id="latin-1"),
        pytest.param(b"title = ", "TOML", id="not-TOML"),
    ],
)
@pytest.mark.parametrize("by", ["name", "stdin"])
def test_bad_files_are_faults_not_crashes(
    command: Command, tmp_path: Path, content: bytes, words: str, by: str
) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(content)
    ran = command("design", path) if by == "name" else command("design", "-", stdin=content)
    assert ran.code == 4
    assert words in ran.err
    assert ran.out == ""


def test_a_folder_is_no_job(command: Command, tmp_path: Path) -> None:
    ran = command("design", tmp_path)
    assert (ran.code, ran.out) == (4, "")
    assert "a folder" in ran.err


def test_no_blend_answers_with_changes(command: Command, impossible: Path) -> None:
    ran = command("design", impossible)
    assert ran.code == 3
    assert "stand against each other" in ran.out or "Any one of these changes" in ran.out
    data = json.loads(command("design", impossible, "--json").out)
    assert data["status"] == "no blend meets the limits"
    assert data["relaxations"]


def test_standard_input_equals_the_file(command: Command, small: Path) -> None:
    blend = ("--blend", "gypsum_cement=95, marble_flour=5", "--json")
    named = command("check", small, *blend)
    piped = command("check", "-", *blend, stdin=SMALL.encode())
    assert json.loads(named.out) == json.loads(piped.out)


def test_a_closed_standard_input_is_told() -> None:
    done = subprocess.run(
        ["sh", "-c", '"$@" design - <&-', "sh", *PYTHON], env=ENV, capture_output=True, text=True
    )
    assert done.returncode == 4
    assert "standard input" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_reader_may_leave() -> None:
    script = '"$@" materials | head -1; exit ${PIPESTATUS[0]}'
    done = subprocess.run(["bash", "-c", script, "bash", *PYTHON], env=ENV, capture_output=True, text=True)
    assert done.returncode == 0
    assert done.stderr == ""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
@pytest.mark.parametrize("words", ["materials", "--help"])
def test_a_full_disk_is_told(words: str) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run([*PYTHON, words], env=ENV, stdout=full, stderr=subprocess.PIPE, text=True)
    assert done.returncode == 4
    assert "Traceback" not in done.stderr


def test_output_files_are_whole_or_not_there(command: Command, tmp_path: Path) -> None:
    path = tmp_path / "answer.json"
    path.write_text("before")
    path.chmod(0o644)
    ran = command("materials", "--json", "-o", path)
    assert (ran.code, ran.out) == (0, "")
    assert json.loads(path.read_text())["materials"]
    assert list(tmp_path.iterdir()) == [path]


def test_an_output_file_that_cannot_be_is_a_fault(command: Command, tmp_path: Path) -> None:
    assert command("materials", "-o", tmp_path / "nowhere" / "x.txt").code == 4
    assert command("materials", "-o", tmp_path).code == 4
    assert list(tmp_path.iterdir()) == []


def test_a_device_is_written_to_and_left_in_place() -> None:
    write_whole(Path(os.devnull), b"nothing")
    assert Path(os.devnull).is_char_device()


@pytest.mark.parametrize("number", [pytest.param(signal.SIGINT, id="POSIX-128-plus-2")])
def test_ctrl_c_leaves_130_and_no_half_file(tmp_path: Path, number: signal.Signals) -> None:
    out = tmp_path / "answer.txt"
    with subprocess.Popen(
        [*PYTHON, "design", "-o", str(out)], env=ENV, stderr=subprocess.PIPE, text=True
    ) as running:
        assert running.stderr is not None
        assert "demo" in running.stderr.readline()
        running.send_signal(number)
        assert running.wait(timeout=60) == 128 + number
        assert running.stderr.read().strip() == "Stopped."
    assert list(tmp_path.iterdir()) == []


class _Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("stream", "environment", "colored"),
    [
        pytest.param(_Terminal(), {"TERM": "xterm"}, True, id="terminal"),
        pytest.param(_Terminal(), {"TERM": "xterm", "NO_COLOR": "1"}, False, id="no-color.org"),
        pytest.param(
            _Terminal(), {"TERM": "xterm", "NO_COLOR": ""}, True, id="no-color.org-empty-does-not-count"
        ),
        pytest.param(_Terminal(), {"TERM": "dumb"}, False, id="TERM-dumb"),
        pytest.param(io.StringIO(), {"TERM": "xterm"}, False, id="pipe"),
        pytest.param(None, {"TERM": "xterm"}, False, id="file"),
    ],
)
def test_only_a_terminal_that_wants_it_gets_escapes(
    monkeypatch: pytest.MonkeyPatch, stream: io.StringIO | None, environment: dict[str, str], colored: bool
) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    shown = rendered([heading("Weigh")], stream)
    assert ("\x1b" in shown) is colored
    assert "Weigh" in shown


def test_narrow_letters_do_not_stop_an_answer() -> None:
    done = _process("materials", "gypsum_cement", "--units", "us", env={**ENV, "PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0
    assert done.stdout.isascii()


def test_a_title_cannot_steer_the_terminal(command: Command, tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(SMALL.replace("Small tumbler", r"Cup \u001b[31m [bold red]loud[/]"))
    ran = command("check", path, "--blend", "gypsum_cement=1")
    assert "\x1b" not in ran.out
    assert "[bold red]loud[/]" in ran.out
    assert printable("\u202etxt.exe") == " txt.exe"


def test_shells_are_told_what_may_follow() -> None:
    words = {
        **ENV,
        "COMP_WORDS": "vesselblend de",
        "COMP_CWORD": "1",
        "_VESSELBLEND_COMPLETE": "bash_complete",
    }
    assert "plain,design" in _process(env=words).stdout


_HEAPS = """
import ctypes, sys, threading
from optimizer.process_start import share_heaps
if sys.argv[2] == "shared":
    assert share_heaps()
together = threading.Barrier(6)
def work():
    together.wait()
    kept = [bytes(300) for _ in range(1000)]
    together.wait()
threads = [threading.Thread(target=work) for _ in range(6)]
[each.start() for each in threads]
[each.join() for each in threads]
library = ctypes.CDLL(None)
library.fopen.restype = ctypes.c_void_p
file = ctypes.c_void_p(library.fopen(sys.argv[1].encode(), b"w"))
library.malloc_info(0, file)
library.fclose(file)
"""


@pytest.mark.skipif("CS_GNU_LIBC_VERSION" not in os.confstr_names, reason="heaps of glibc")
@pytest.mark.parametrize("shared", [True, False])
def test_threads_of_the_page_share_two_heaps(tmp_path: Path, shared: bool) -> None:
    """Counted by malloc_info(3), which writes an element for each heap."""
    told = tmp_path / "heaps.xml"
    words = [sys.executable, "-c", _HEAPS, str(told), "shared" if shared else "own"]
    subprocess.run(words, env={**ENV, "PYTHONMALLOC": "malloc"}, check=True)
    assert (told.read_text().count("<heap nr=") <= 2) == shared


@pytest.mark.parametrize(("before", "then"), [(None, "1"), ("3", "3")])
def test_linear_algebra_uses_one_thread_unless_the_environment_says_otherwise(before, then):
    """Sums in another order may end a frontier at another blend; set before numpy is loaded."""
    code = (
        "import os, sys, ui.__main__ as way_in, ui.cli\n"
        "assert 'numpy' not in sys.modules\n"
        "ui.cli.run = lambda words: print(os.environ['OPENBLAS_NUM_THREADS']) or 0\n"
        "way_in.main()"
    )
    environment = {name: value for name, value in ENV.items() if name != "OPENBLAS_NUM_THREADS"}
    if before is not None:
        environment["OPENBLAS_NUM_THREADS"] = before
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == then
