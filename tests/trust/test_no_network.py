"""Every command without any network: no route, no name lookup, and the same answer.

``unshare -n`` (util-linux) gives a process a network of its own with nothing in it.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from tests.ui.conftest import SMALL

ROOT = Path(__file__).parents[2]
ENV = {**os.environ, "PYTHONPATH": str(ROOT)}


@cache
def _alone() -> list[str]:
    """Return the words that run a command without network; skip where the machine has none."""
    for words in (["unshare", "-n"], ["unshare", "-r", "-n"]):
        if shutil.which("unshare") and subprocess.run([*words, "true"], capture_output=True).returncode == 0:
            return words
    pytest.skip("this machine lets no process have a network of its own (unshare -n)")
    return []


def _without_network(*words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*_alone(), sys.executable, "-m", "ui", *words],
        cwd=folder,
        env=ENV,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


@pytest.fixture
def folder(tmp_path):
    """Make a folder with a job file."""
    (tmp_path / "job.toml").write_text(SMALL, encoding="utf-8")
    return tmp_path


def test_there_is_no_network_in_there(folder):
    code = "import socket; socket.create_connection(('192.0.2.1', 80), 1)"  # RFC 5737: an address of nobody
    done = subprocess.run([*_alone(), sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert "unreachable" in done.stderr


@pytest.mark.parametrize(
    "words",
    [
        ["design", "job.toml", "--json"],
        ["check", "job.toml", "--blend", "gypsum_cement=95, marble_flour=5", "--json"],
        ["order", "job.toml", "--vessels", "20", "--start", "2026-11-02", "--due", "2026-12-18", "--json"],
        ["card", "job.toml", "--json"],
        ["materials", "--json"],
        ["sweep", "job.toml", "--vary", "shop.wage=10 /h|20 /h", "--executor", "solo"],
        ["trials", "add", "--weighed", "gypsum_cement=300, water=110", "demold=38 min"],
        ["init", "new.toml"],
    ],
    ids=lambda words: words[0],
)
def test_commands_need_no_network(folder, words):
    done = _without_network(*words, folder=folder)
    assert (done.returncode, "Traceback" in done.stderr) == (0, False), done.stderr
    if "--json" in words:
        assert json.loads(done.stdout)


def test_the_page_computes_without_network(folder):
    code = (
        "from streamlit.testing.v1 import AppTest\n"
        f"page = AppTest.from_file({str(ROOT / 'ui' / 'app.py')!r}, default_timeout=240).run()\n"
        "assert not page.exception, page.exception\n"
        "print('served')\n"
    )
    done = subprocess.run(
        [*_alone(), sys.executable, "-W", "ignore", "-c", code],
        cwd=folder,
        env=ENV,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert "served" in done.stdout, done.stderr[-2000:]
