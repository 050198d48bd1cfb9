"""Keep solver libraries off the process's standard output.

HiGHS writes a banner to the C library's standard output when the first of its objects is made, before any
option can forbid it, and stray lines during some integer solves. Both would land in the middle of `--json`
output.
"""

from __future__ import annotations

import ctypes
import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

_STDOUT = 1
_lock = threading.Lock()
_users = 0
_kept = -1


@contextmanager
def quiet_stdout() -> Iterator[None]:
    """Send file descriptor 1 nowhere while the block runs.

    Threads share one redirection, undone when the last of them leaves: were each to save and restore for
    itself, one could save the other's redirection and leave the process mute. A process without standard
    output is left alone. What other threads print in the meantime is lost.

    Yields
    ------
    None

    Examples
    --------
    >>> import os
    >>> with quiet_stdout():
    ...     count = os.write(1, b"a banner")
    """
    _enter()
    try:
        yield
    finally:
        _leave()


def _enter() -> None:
    global _users, _kept
    with _lock:
        _users += 1
        if _users > 1:
            return
        with suppress(OSError, ValueError, AttributeError):
            sys.stdout.flush()
        with suppress(OSError):
            _kept = os.dup(_STDOUT)
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, _STDOUT)
            os.close(nowhere)


def _leave() -> None:
    global _users, _kept
    with _lock:
        _users -= 1
        if _users > 0 or _kept < 0:
            return
        _flush_c_library()
        os.dup2(_kept, _STDOUT)
        os.close(_kept)
        _kept = -1


def _flush_c_library() -> None:
    """Empty the C library's own buffer, or its lines would come out after the redirection ends."""
    with suppress(OSError, AttributeError):
        library = ctypes.CDLL("ucrtbase" if os.name == "nt" else None)
        library.fflush(None)
