"""The page served on the loopback address from a folder, as `vesselblend page` does it."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

__all__ = ["Served", "page_served"]

ROOT = Path(__file__).parents[1]
SERVE = """import pathlib, sys
if len(sys.argv) > 2:
    from tests.noted_calls import note_calls
    note_calls(pathlib.Path(sys.argv[2]))
from ui.page_launcher import run
run(port=int(sys.argv[1]), open_browser=False)
"""


@dataclass(frozen=True)
class Served:
    """A page that answers.

    Attributes
    ----------
    port, process : int
        Port on the loopback address, and number of the server's process.
    package : str
        Where the code it runs lies.
    """

    port: int
    process: int
    package: str = str(ROOT / "ui")

    @property
    def address(self) -> str:
        """Where a browser finds it."""
        return f"http://127.0.0.1:{self.port}"


@contextmanager
def page_served(folder: Path, calls: Path | None = None, python: str | None = None) -> Iterator[Served]:
    """Serve the page from a folder, which is its home, too, until the block ends.

    Every address and name the server turns to is noted in the file `calls`. With `python`, that of another
    environment, its installed copy is served.
    """
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "HOME": str(folder)}
    if python is not None:
        del environment["PYTHONPATH"]
    server = subprocess.Popen(
        [python or sys.executable, "-c", SERVE, str(port), *([] if calls is None else [str(calls)])],
        cwd=folder,
        env=environment,
        stdout=subprocess.DEVNULL,
    )
    served = Served(port, server.pid)
    if python is not None:
        served = replace(served, package=_package(python, folder, environment))
    try:
        _wait_for(f"{served.address}/_stcore/health", server)
        yield served
    finally:
        server.terminate()
        server.wait(timeout=30)


def _package(python: str, folder: Path, environment: Mapping[str, str]) -> str:
    asked = [python, "-c", "import ui; print(ui.__path__[0])"]
    found = subprocess.run(asked, cwd=folder, env=environment, capture_output=True, text=True, check=True)
    return found.stdout.strip()


def _wait_for(address: str, server: subprocess.Popen[bytes]) -> None:
    for _ in range(600):
        assert server.poll() is None, "the page stopped at once"
        try:
            with urllib.request.urlopen(address, timeout=2) as answer:
                if answer.status == 200:
                    return
        except OSError:
            time.sleep(0.1)
    raise AssertionError("the page did not come up")
