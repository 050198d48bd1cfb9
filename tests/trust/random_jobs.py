"""Random jobs by the thousand, inspected: ``python -m tests.trust.random_jobs --count 10000 --seed 1``.

Prints a summary and every finding with its job's number, and writes the jobs behind findings to a folder.
A job is known by seed and number: ``--only NUMBER`` looks at one again.
"""

from __future__ import annotations

import argparse
import sys
import time
import traceback
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import repeat
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from optimizer.specs import load_catalogue
from tests.trust.inspection import Inspected, inspect_job
from tests.trust.job_maker import job_text

__all__ = ["Outcome", "look", "main"]

BUDGET = 30.0
"""Processor time one quick answer may take [s]; generous, for it holds on any machine."""


@dataclass(frozen=True)
class Outcome:
    """One job, looked at."""

    number: int
    inspected: Inspected
    seconds: float


def look(seed: int, number: int, dense: bool = True) -> Outcome:
    """Make, design and inspect one job; whatever it raises is a finding."""
    catalogue = load_catalogue()
    text = job_text(seed, number, catalogue)
    begun = time.process_time()
    try:
        inspected = inspect_job(text, catalogue, explain=number % 10 == 0, dense=dense)
    except Exception:
        last = traceback.format_exc().splitlines()
        inspected = Inspected("raised", (f"raised: {last[-1]} ({last[-3].strip()})",))
    seconds = time.process_time() - begun
    if seconds > BUDGET * (4 if number % 10 == 0 else 1):
        inspected = Inspected(
            inspected.status, (*inspected.findings, f"slow: {seconds:.1f} s of processor time")
        )
    return Outcome(number, inspected, seconds)


def _outcomes(seed: int, numbers: Iterable[int], workers: int, dense: bool) -> Iterator[Outcome]:
    if workers == 1:
        yield from (look(seed, number, dense) for number in numbers)
        return
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        yield from pool.map(look, repeat(seed), numbers, repeat(dense), chunksize=4)


def main(words: list[str]) -> int:
    """Run and report; the exit code is 1 when anything was found."""
    options = _options(words)
    numbers = (
        [options.only] if options.only is not None else range(options.start, options.start + options.count)
    )
    outcomes: list[Outcome] = []
    for outcome in _outcomes(options.seed, numbers, options.workers, options.dense):
        outcomes.append(outcome)
        for finding in outcome.inspected.findings:
            _tell(f"job {options.seed}/{outcome.number}: {finding}")
        if outcome.inspected.findings and options.keep:
            _keep(options.keep, options.seed, outcome)
        if len(outcomes) % 50 == 0:
            sys.stderr.write(f"{len(outcomes)} jobs looked at\n")
    _tell(_summary(outcomes))
    return int(any(outcome.inspected.findings for outcome in outcomes))


def _tell(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


def _options(words: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--start", type=int, default=0, help="number of the first job")
    parser.add_argument("--only", type=int, help="number of the only job")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for the job files behind findings")
    parser.add_argument(
        "--no-dense", dest="dense", action="store_false", help="leave the search for better blends out"
    )
    return parser.parse_args(words)


def _keep(folder: Path, seed: int, outcome: Outcome) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    text = job_text(seed, outcome.number, load_catalogue())
    said = "".join(f"# {finding}\n" for finding in outcome.inspected.findings)
    (folder / f"job-{seed}-{outcome.number}.toml").write_text(said + text, encoding="utf-8")


def _summary(outcomes: list[Outcome]) -> str:
    statuses = Counter(o.inspected.status for o in outcomes)
    kinds = Counter(f.partition(":")[0] for o in outcomes for f in o.inspected.findings)
    lines = [f"{len(outcomes)} jobs; " + ", ".join(f"{n} {status}" for status, n in statuses.most_common())]
    lines.append("findings: " + (", ".join(f"{n} {kind}" for kind, n in kinds.most_common()) or "none"))
    for name, values, percents in (
        ("processor time, inspection included [s]", [o.seconds for o in outcomes], (50, 90, 100)),
        ("regret against dense search [-]", [o.inspected.regret for o in outcomes], (0, 50, 95, 100)),
        ("sampled chance less confidence [-]", [o.inspected.chance_gap for o in outcomes], (0, 5, 50, 100)),
    ):
        known = [x for x in values if np.isfinite(x)]
        if known:
            parts = ", ".join(f"{p} %: {np.percentile(known, p):.4g}" for p in percents)
            lines.append(f"{name}, {len(known)} jobs: {parts}")
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
