"""The first thing a process of a sweep does, before it loads anything that takes time."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from multiprocessing.process import BaseProcess


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
