"""One table of how fast it is, each figure beside its reference: ``python -m tests.benchmarks``.

Prints Markdown. Times are the best of several runs, the middle in brackets. Nothing here is a test: a time
depends on the machine, which the table names. `tests.benchmarks.agreement` puts
the answers to an independent solver.
"""

from __future__ import annotations

import argparse
import importlib.metadata
import os
import platform
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from tests.benchmarks.rows import TOPICS
from tests.benchmarks.timing import Row

__all__ = ["main"]

_LIBRARIES = ("numpy", "scipy", "highspy", "pulp", "pandas", "streamlit", "distributed")


def main(words: Sequence[str]) -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--only", choices=sorted(TOPICS), action="append", help="only these topics")
    options = parser.parse_args(words)
    _tell("\n".join(_machine()))
    _tell("\n| measured | ours | beside | reference | note |\n|---|---|---|---|---|")
    for topic in options.only or TOPICS:
        for row in TOPICS[topic]():
            _tell(_line(row))
    _tell(f"\nLoad of the machine at the end: {_load()}.")
    return 0


def _line(row: Row) -> str:
    return f"| {row.what} | {row.ours} | {row.beside} | {row.reference} | {row.note} |"


def _machine() -> Iterator[str]:
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    yield f"Machine: {_processor()}, {cores} cores, {platform.system()} {platform.machine()}; load {_load()}."
    versions = []
    for name in _LIBRARIES:
        try:
            versions.append(f"{name} {importlib.metadata.version(name)}")
        except importlib.metadata.PackageNotFoundError:
            versions.append(f"no {name}")
    yield f"Python {platform.python_version()}; {', '.join(versions)}."


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.processor()
    return next(
        (line.partition(":")[2].strip() for line in lines if line.startswith("model name")), "unknown"
    )


def _load() -> str:
    return ", ".join(f"{x:.1f}" for x in os.getloadavg()) if hasattr(os, "getloadavg") else "unknown"


def _tell(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
