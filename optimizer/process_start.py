"""What a process does first, before it loads anything that takes time."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from multiprocessing.process import BaseProcess


ONE_THREAD: Final = {name: "1" for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")}
"""Environment in which linear algebra uses one thread: the matrices here are small, more threads only wait
for each other, and sums in another order may end a search at another blend."""


def one_thread() -> None:
    """Let linear algebra use one thread, unless the environment says otherwise; before numpy is loaded."""
    for name, value in ONE_THREAD.items():
        os.environ.setdefault(name, value)


_ARENA_MAX: Final = -8
"""Name of the most heaps in glibc's malloc.h, see mallopt(3)."""


def share_heaps() -> bool:
    """Let the threads of this process share two heaps; return False where the C library has no such number.

    With glibc up to eight threads a core have a heap each, and a heap keeps what it once needed: after edits
    in fifty windows, each run by threads of their own, the page held 770 MB instead of 390.
    """
    if "CS_GNU_LIBC_VERSION" not in getattr(os, "confstr_names", {}):
        return False
    import ctypes

    return bool(ctypes.CDLL(None).mallopt(_ARENA_MAX, 2))


def begin_work() -> None:
    """Leave Ctrl-C to the process in charge, and end with it however it ends."""
    import multiprocessing
    import signal
    import threading
    import warnings

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    warnings.simplefilter("ignore")
    boss = multiprocessing.parent_process()
    if boss is not None:
        threading.Thread(target=_end_with, args=(boss,), daemon=True).start()


def _end_with(boss: BaseProcess) -> None:
    boss.join()
    os._exit(1)
