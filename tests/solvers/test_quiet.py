"""Standard output: closed to solvers while they run, whole again afterwards."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
START = "import ctypes, os, threading\nfrom optimizer.solvers.status import quiet_stdout\n"


def run(code):
    """Return what a fresh process prints, with both of its output buffers at work."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    result = subprocess.run(
        [sys.executable, "-c", START + code],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    return result.stdout


@pytest.mark.skipif(sys.platform == "win32", reason="names the C library the way Linux and macOS do")
def test_lines_of_the_c_library_are_swallowed_even_when_buffered():
    code = (
        "c = ctypes.CDLL(None)\n"
        "with quiet_stdout():\n"
        "    c.printf(b'noise\\n')\n"
        "print('kept')\n"
        "c.fflush(None)\n"
    )
    assert run(code) == "kept\n"


def test_overlapping_threads_give_standard_output_back():
    code = (
        "inside, out = threading.Barrier(2), threading.Event()\n"
        "def first():\n"
        "    with quiet_stdout():\n"
        "        inside.wait()\n"
        "        out.wait()\n"
        "        os.write(1, b'noise')\n"
        "def second():\n"
        "    with quiet_stdout():\n"
        "        inside.wait()\n"
        "    out.set()\n"
        "threads = [threading.Thread(target=work) for work in (first, second)]\n"
        "[thread.start() for thread in threads]\n"
        "[thread.join() for thread in threads]\n"
        "os.write(1, b'kept')\n"
    )
    assert run(code) == "kept"


def test_an_error_inside_gives_standard_output_back():
    code = "try:\n    with quiet_stdout():\n        raise ValueError\nexcept ValueError:\n    print('kept')\n"
    assert run(code) == "kept\n"


def test_what_was_printed_before_comes_out():
    code = "print('before')\nwith quiet_stdout():\n    print('noise', flush=True)\nprint('after')\n"
    assert run(code) == "before\nafter\n"


def test_a_process_without_standard_output_is_left_alone():
    code = "os.close(1)\nwith quiet_stdout():\n    pass\nos.write(2, b'alive')\n"
    result = subprocess.run([sys.executable, "-c", START + code], cwd=ROOT, capture_output=True, check=False)
    assert b"alive" in result.stderr
