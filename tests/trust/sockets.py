"""What a process of Linux is connected to, read from /proc: no tracer, and no library asked."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from ipaddress import IPv4Address, IPv6Address
from pathlib import Path

__all__ = ["outside_peers", "watched"]

_KINDS = ("tcp", "tcp6", "udp", "udp6")
_EVERY = 0.02
"""Time between two looks [s]; a look-up of a name takes longer than that."""


def outside_peers(process: int) -> set[str]:
    """Return the addresses beyond this machine that a process has a socket to."""
    own = _sockets(process)
    return {
        str(peer)
        for kind in _KINDS
        for row in Path(f"/proc/{process}/net/{kind}").read_text(encoding="ascii").splitlines()[1:]
        if (cells := row.split())[9] in own
        and not ((peer := _address(cells[2])).is_loopback or peer.is_unspecified)
    }


@contextmanager
def watched(process: int) -> Iterator[set[str]]:
    """Collect, until the block ends, the addresses beyond this machine that a process is connected to."""
    seen: set[str] = set()
    done = threading.Event()

    def look() -> None:
        while not done.wait(_EVERY):
            seen.update(outside_peers(process))

    watcher = threading.Thread(target=look, daemon=True)
    watcher.start()
    try:
        yield seen
    finally:
        done.set()
        watcher.join(timeout=10.0)


def _sockets(process: int) -> set[str]:
    """Return the inodes of the sockets a process holds."""
    found = set()
    for each in Path(f"/proc/{process}/fd").iterdir():
        try:
            target = os.readlink(each)
        except FileNotFoundError:  # closed meanwhile
            continue
        if target.startswith("socket:["):
            found.add(target[8:-1])
    return found


def _address(cell: str) -> IPv4Address | IPv6Address:
    """Return the address in a cell such as ``0100007F:2135``: words of four bytes, each turned around."""
    digits = cell.partition(":")[0]
    turned = b"".join(bytes.fromhex(digits[at : at + 8])[::-1] for at in range(0, len(digits), 8))
    if len(turned) == 4:
        return IPv4Address(turned)
    long = IPv6Address(turned)
    return long.ipv4_mapped or long
