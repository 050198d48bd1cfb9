"""How long things take: repeated, best and middle kept, in the same process and minute as their reference."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median

__all__ = ["Measured", "Row", "measure", "started", "words_of"]


@dataclass(frozen=True)
class Measured:
    """Times of one thing [s]."""

    best: float
    middle: float
    runs: int


@dataclass(frozen=True)
class Row:
    """One line of the table: what was measured, ours, and what it stands beside."""

    what: str
    ours: str
    beside: str
    reference: str
    note: str = ""


def measure(call: Callable[[], object], seconds: float = 2.0, most: int = 200) -> Measured:
    """Return the times of a call, repeated for about so many seconds, after one run that is not counted."""
    call()
    times: list[float] = []
    until = time.perf_counter() + seconds
    while not times or (time.perf_counter() < until and len(times) < most):
        begun = time.perf_counter()
        call()
        times.append(time.perf_counter() - begun)
    return Measured(min(times), median(times), len(times))


def started(words: Sequence[str], runs: int = 3) -> tuple[Measured, float]:
    """Return the times of a Python process with these words, and the most memory any took [MB]."""
    times, memory = [], 0.0
    code = (
        "import resource, subprocess, sys; done = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, "
        "stderr=subprocess.DEVNULL); print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    for _ in range(runs):
        begun = time.perf_counter()
        subprocess.run(
            [sys.executable, *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False
        )
        times.append(time.perf_counter() - begun)
    told = subprocess.run(
        [sys.executable, "-c", code, sys.executable, *words], capture_output=True, text=True, check=True
    )
    memory = int(told.stdout) / (1024.0 if sys.platform.startswith("linux") else 2.0**20)
    return Measured(min(times), median(times), runs), memory


def words_of(measured: Measured) -> str:
    """Return times as text: best, and the middle in brackets.

    Examples
    --------
    >>> words_of(Measured(0.0123, 0.0200, 9))
    '12.3 ms (20 ms)'
    """
    return f"{_time(measured.best)} ({_time(measured.middle)})"


def _time(seconds: float) -> str:
    for size, unit in ((1.0, "s"), (1e-3, "ms"), (1e-6, "us")):
        if seconds >= size:
            return f"{seconds / size:.3g} {unit}"
    return f"{seconds * 1e9:.0f} ns"
