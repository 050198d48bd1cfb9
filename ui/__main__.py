"""The way in of ``vesselblend`` and of ``python -m ui``."""

from __future__ import annotations

import os
import sys
from typing import NoReturn

from optimizer.process_start import one_thread

_STOPPED = 130
_TERMINATED = 143


def main() -> NoReturn:
    """Run the command line and leave with its exit code; Ctrl-C while it still starts is no crash either."""
    one_thread()
    try:
        from ui.cli import run

        code = run(sys.argv[1:])
    except KeyboardInterrupt:
        code = _STOPPED
    if code in (_STOPPED, _TERMINATED):
        _leave_at_once(code)
    sys.exit(code)


def _leave_at_once(code: int) -> NoReturn:
    # An interrupt that once passed through text run by `exec`, as some libraries do while they load, makes
    # Python end by the signal whatever code is asked for; this way every caller sees the one in the README.
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError):
            continue
    os._exit(code)


if __name__ == "__main__":
    main()
