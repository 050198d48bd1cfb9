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
