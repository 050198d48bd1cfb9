"""Notes every address and name a process turns to, as Python's own audit events tell them."""

from __future__ import annotations

import sys
from pathlib import Path

__all__ = ["note_calls"]

_TO = {"socket.connect": 1, "socket.sendto": 1}
_OF = {"socket.getaddrinfo": 0, "socket.gethostbyname": 0, "socket.gethostbyaddr": 0}
"""Place of the address, or of the name, among the arguments of an event."""


def note_calls(path: Path) -> None:
    """Write each address connected to and each name looked up from now on to a file, one a line."""
    out = path.open("a", encoding="utf-8", buffering=1)

    def note(event: str, values: tuple[object, ...]) -> None:
        if event in _TO:
            address = values[_TO[event]]
            out.write(f"{address[0] if isinstance(address, tuple) else address}\n")
        elif event in _OF and values[_OF[event]] is not None:
            name = values[_OF[event]]
            out.write(f"{name.decode() if isinstance(name, bytes) else name}\n")

    sys.addaudithook(note)
