"""One writer at a time: a lock on an open file that ends with its process, however that ends."""

from __future__ import annotations

import sys
from typing import IO

__all__ = ["lock"]

if sys.platform == "win32":
    import msvcrt

    def lock(file: IO[bytes]) -> bool:
        """Lock an open file for this process; False when another holds it."""
        try:
            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def lock(file: IO[bytes]) -> bool:
        """Lock an open file for this process; False when another holds it."""
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True
