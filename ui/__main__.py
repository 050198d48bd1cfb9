"""The way in of ``vesselblend`` and of ``python -m ui``."""

from __future__ import annotations

import os
import sys
from typing import NoReturn

__all__ = ["main"]

_STOPPED = 130


def main() -> NoReturn:
    """Run the command line and leave with its exit code; Ctrl-C while it still starts is no crash either."""
    try:
        from ui.cli import run

        code = run(sys.argv[1:])
    except KeyboardInterrupt:
        code = _STOPPED
    if code == _STOPPED:
        _leave_at_once()
    sys.exit(code)


def _leave_at_once() -> NoReturn:
    # An interrupt that once passed through text run by `exec`, as some libraries do while they load, makes
    # Python end by the signal whatever code is asked for; this way every caller sees the one in the README.
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError):
            continue
    os._exit(_STOPPED)


if __name__ == "__main__":
    main()
