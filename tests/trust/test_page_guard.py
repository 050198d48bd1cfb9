"""The page's server: it answers its own windows alone, and speaks to nobody else."""

from __future__ import annotations

import asyncio
import socket
import subprocess
import sys
import threading
from ipaddress import ip_address
from pathlib import Path

import pytest

from tests.page_server import ROOT, Served, page_served
from tests.trust import page_load
from tests.trust.sockets import outside_peers, watched

CONNECT = "Connection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n"
KEY = "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n"
"""Key of the example in RFC 6455, 1.3."""

FOREIGN = "pages.example"
"""A name of nobody (RFC 2606)."""


@pytest.fixture(scope="module")
def calls(tmp_path_factory) -> Path:
    """Return the file into which the server notes every address it turns to."""
    return tmp_path_factory.mktemp("calls") / "calls.txt"


@pytest.fixture(scope="module")
def page(tmp_path_factory, calls):
    """Serve the page, its calls noted."""
    with page_served(tmp_path_factory.mktemp("guarded"), calls) as served:
        yield served


def status(page: Served, path: str, host: str, origin: str | None, upgrade: bool = False) -> int:
    """Return what the server answers to a request with these headers."""
    lines = f"GET {path} HTTP/1.1\r\nHost: {host}\r\n"
    lines += f"Origin: {origin}\r\n" if origin else ""
    lines += CONNECT + KEY if upgrade else "Connection: close\r\n"
    with socket.create_connection(("127.0.0.1", page.port), timeout=30) as wire:
        wire.sendall(f"{lines}\r\n".encode())
        return int(wire.recv(64).split()[1])


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost", "LOCALHOST"])
def test_windows_of_this_machine_are_answered(page, name):
    own = f"{name}:{page.port}"
    assert status(page, "/", own, None) == 200
    assert status(page, "/_stcore/health", own, f"http://{own}") == 200
    assert status(page, "/_stcore/stream", own, f"http://{own}", upgrade=True) == 101


@pytest.mark.parametrize(
    ("host", "origin"),
    [
        (FOREIGN, f"http://{FOREIGN}"),
        (FOREIGN, None),
        ("{own}", f"http://{FOREIGN}"),
        ("{own}", "null"),
        ("{own}", "http://127.0.0.1:9"),
        (f"{FOREIGN}@127.0.0.1", None),
        ("127.0.0.1.pages.example", None),
    ],
)
@pytest.mark.parametrize("path", ["/", "/_stcore/health", "/_stcore/stream", "/_stcore/upload_file/a/b"])
def test_a_foreign_page_is_turned_away(page, path, host, origin):
    host = host.format(own=f"127.0.0.1:{page.port}")
    assert status(page, path, host, origin, upgrade=path.endswith("stream")) == 403


def test_the_page_speaks_to_nobody_beyond_this_machine(page, calls, monkeypatch):
    monkeypatch.setattr(page_load, "_LONGEST", 300.0)
    own = f"127.0.0.1:{page.port}"
    with watched(page.process) as peers:
        seen = asyncio.run(page_load.crowd(page, sessions=1, minutes=0.1, pause=0.5))
        for host, origin in ((own, f"http://{FOREIGN}"), (FOREIGN, f"http://{FOREIGN}")):
            status(page, "/_stcore/stream", host, origin, upgrade=True)
            status(page, "/", host, origin)
    assert seen.edits
    assert peers == set()
    assert {name for name in _asked(calls) if not _here(name)} == set()


def test_calls_beyond_this_machine_are_seen(tmp_path):
    """The watch itself: a socket that leads out, and a name asked for, are both noticed."""
    noted = tmp_path / "calls.txt"
    code = (
        "import pathlib, socket, sys\n"
        "from tests.noted_calls import note_calls\n"
        "note_calls(pathlib.Path(sys.argv[1]))\n"
        "with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:\n"
        "    try:\n"
        "        out.connect(('192.0.2.1', 9))\n"
        "    finally:\n"
        "        print(flush=True)\n"
        "    sys.stdin.read(1)\n"
    )  # RFC 5737: an address of nobody; nothing is sent by connecting a datagram socket
    with subprocess.Popen(
        [sys.executable, "-c", code, str(noted)],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as child:
        stop = threading.Timer(60.0, child.kill)
        stop.start()
        child.stdout.readline()
        peers = outside_peers(child.pid) if child.poll() is None else set()
        told = child.communicate(b"x", timeout=30)[1].decode()
        stop.cancel()
    if "unreachable" in told:
        pytest.skip("this machine has no way out to notice")
    assert (peers, set(_asked(noted))) == ({"192.0.2.1"}, {"192.0.2.1"}), told


def _asked(calls: Path) -> list[str]:
    return calls.read_text(encoding="utf-8").splitlines()


def _here(name: str) -> bool:
    """Tell whether an address or a name is of this machine."""
    try:
        return ip_address(name).is_loopback
    except ValueError:
        return name == "localhost" or name.startswith("/")
