"""The answer, its proof and SCIP on the same made-up jobs: ``python -m tests.benchmarks.agreement``.

Each job is solved by the quick search, proved by the certificate, and then put to SCIP as the question
whether any mix is cheaper by more than the gap, for every case and regime, from formulas written out anew
(`tests.certificate.exact`). Prints each disagreement and a summary. With ``--alone`` SCIP is left out and the
jobs keep all of their limits and rooms.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from optimizer.certificate import Certificate, certify_bound
from optimizer.engine.candidate import Candidate
from optimizer.engine.cases import cases_of
from optimizer.engine.search_state import Question
from optimizer.problem import Problem, problem_of
from optimizer.specs import load_catalogue
from optimizer.studies.proofs import sought
from tests.certificate.invented import invented_problem

__all__ = ["Compared", "compared", "main"]

GAP = 1e-3
"""What the certificate proves and SCIP is asked to beat [-]."""

_RESOLVED = 1e-5
"""Cost differences that neither solver's tolerances resolve [-]."""

_MOST_NODES = 100_000


@dataclass(frozen=True)
class Compared:
    """One job, solved by all.

    Attributes
    ----------
    seed : int
        Number of the job.
    search, proof, scip : float
        Seconds each took [s].
    quick : str
        ``best``, ``beaten`` by the proof by more than the gap, ``missed`` where only the proof has a blend,
        or ``open`` where the proof did not end.
    word : str
        SCIP's part: ``agrees``, ``out of time`` or ``disagrees``; empty when it was not asked.
    """

    seed: int
    search: float
    proof: float
    scip: float
    quick: str
    word: str = ""


@dataclass
class _Tally:
    jobs: list[Compared] = field(default_factory=list)

    def lines(self) -> Iterator[str]:
        """Yield the summary."""
        for name in ("search", "proof", "scip"):
            times = [1e3 * getattr(job, name) for job in self.jobs if getattr(job, name) > 0.0]
            if times:
                middle, high = np.percentile(times, (50, 95))
                yield f"{name}: median {middle:.3g} ms, 95 % {high:.3g} ms, most {max(times):.3g} ms"
        yield "quick answer: " + _counted(job.quick for job in self.jobs)
        if any(job.word for job in self.jobs):
            ratios = [job.scip / job.proof for job in self.jobs if job.word == "agrees"]
            yield "SCIP: " + _counted(job.word for job in self.jobs)
            if ratios:
                yield f"where SCIP ended, it took {np.median(ratios):.3g} times the proof (median)"


def _counted(words: Iterator[str]) -> str:
    return ", ".join(f"{count} {word}" for word, count in Counter(words).most_common())


def compared(problem: Problem, seed: int, seconds: float, scip_seconds: float) -> Compared:
    """Solve one job by all three.

    Parameters
    ----------
    problem, seed
        The job and its number.
    seconds
        Time for the proof [s].
    scip_seconds
        Time for SCIP on each case and regime [s]; 0 leaves it out.
    """
    begun = time.perf_counter()
    found = sought(Question(problem)).best
    searched = time.perf_counter()
    proof = certify_bound(problem, found, gap=GAP, time_limit=seconds, most_nodes=_MOST_NODES)
    proved = time.perf_counter()
    word = _scip_word(problem, proof, scip_seconds) if scip_seconds else ""
    asked = time.perf_counter() - proved if scip_seconds else 0.0
    return Compared(seed, searched - begun, proved - searched, asked, _quick_word(found, proof), word)


def _quick_word(found: Candidate | None, proof: Certificate) -> str:
    if not proof.finished:
        return "open"
    if found is None or not found.feasible:
        return "best" if proof.infeasible else "missed"
    best = proof.incumbent.value if proof.incumbent is not None else math.inf
    return "beaten" if best < found.value * (1.0 - GAP) else "best"


def _scip_word(problem: Problem, proof: Certificate, seconds: float) -> str:
    """Ask SCIP for a mix that the proof says there is not."""
    from tests.certificate.exact import Exact

    best = proof.incumbent.value if proof.incumbent is not None else math.inf
    word = "agrees"
    for case in cases_of(problem):
        if case.fixed >= best:
            continue
        for regime in ("excess", "short"):
            value, _, status = Exact(problem, case, regime).solve(seconds, GAP, best * (1.0 - GAP))
            if value < proof.bound * (1.0 - _RESOLVED):
                return "disagrees"
            if status not in ("infeasible", "optimal", "gaplimit"):
                word = "out of time"
    return word


def main(words: Sequence[str]) -> int:
    """Run and report; the exit code is 1 when SCIP disagrees."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--materials", type=int, default=6)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--start", type=int, default=0, help="number of the first job")
    parser.add_argument("--seconds", type=float, default=20.0, help="for each proof")
    parser.add_argument("--scip-seconds", type=float, default=5.0, help="for each case and regime")
    parser.add_argument("--alone", action="store_true", help="leave SCIP out, keep all limits")
    options = parser.parse_args(words)
    tally = _Tally()
    for seed in range(options.start, options.start + options.count):
        problem = _job(options.materials, seed, all_limits=options.alone)
        job = compared(problem, seed, options.seconds, 0.0 if options.alone else options.scip_seconds)
        tally.jobs.append(job)
        if job.quick != "best" or job.word == "disagrees":
            _tell(f"job {options.materials}/{seed}: quick answer {job.quick}; SCIP {job.word or 'not asked'}")
    _tell(f"{options.materials} materials, {options.count} jobs")
    _tell("\n".join(tally.lines()))
    return int(any(job.word == "disagrees" for job in tally.jobs))


def _job(materials: int, seed: int, *, all_limits: bool) -> Problem:
    problem = invented_problem(load_catalogue(), materials, seed)
    if all_limits:
        return problem
    from tests.certificate.exact import KINDS

    # The formulas written out anew are those of the plain room: 21 degC, and no damp in use.
    shop = replace(problem.job.shop, temperature=21.0, damp_service=False)
    limits = tuple(limit for limit in problem.job.limits if limit.property in KINDS)
    return problem_of(replace(problem.job, shop=shop, limits=limits), problem.catalogue)


def _tell(words: str) -> None:
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
