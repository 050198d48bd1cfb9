"""One vocabulary for how a solve ended; every solver's own codes are translated here and nowhere else.

A code says how a solver *stopped*, which is not what its answer is *worth*. The translations below therefore
never make an answer optimal on their own: `judge` weighs the stop against what our own check found, and for a
stopped integer model against the numbers (value, bound), never against a word in the solver's message.

Solver libraries are kept off the process's standard output (`quiet`): HiGHS writes a banner to the C
library's standard output when the first of its objects is made, before any option can forbid it, and stray
lines during some integer solves. Both would land in the middle of `--json` output.
"""

from __future__ import annotations

import ctypes
import math
import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from enum import Enum

_STDOUT = 1
_lock = threading.Lock()
_users = 0
_kept = -1


class Status(Enum):
    """How a solve ended, in our own words.

    Attributes
    ----------
    OPTIMAL
        The best answer of the model stated, checked by our own code.
    FEASIBLE
        An answer that holds all rows, not known to be the best.
    INFEASIBLE
        Proved: nothing holds all rows.
    UNBOUNDED
        The cost can fall without end: the model lacks a limit.
    TIME_LIMIT
        Out of time without an answer worth showing.
    INTERRUPTED
        Stopped from outside without an answer worth showing.
    FAILED
        No verdict: the solver gave up, or its answer did not pass our check.
    """

    OPTIMAL = "optimal"
    FEASIBLE = "feasible"
    INFEASIBLE = "infeasible"
    UNBOUNDED = "unbounded"
    TIME_LIMIT = "time_limit"
    INTERRUPTED = "interrupted"
    FAILED = "failed"

    @property
    def has_answer(self) -> bool:
        """Whether there are values to read."""
        return self in (Status.OPTIMAL, Status.FEASIBLE)


HIGHS_NO_VERDICT = 9
"""HiGHS's "unbounded or infeasible", met when its presolve stops early."""

# HighsModelStatus by number. Read from HiGHS itself also when PuLP runs it: PuLP calls code 9 infeasible
# and a solve stopped by time optimal.
_HIGHS = {
    6: Status.OPTIMAL,
    7: Status.OPTIMAL,
    8: Status.INFEASIBLE,
    10: Status.UNBOUNDED,
    13: Status.TIME_LIMIT,
    14: Status.TIME_LIMIT,
    17: Status.INTERRUPTED,
    19: Status.INTERRUPTED,
}

# Exit modes of scipy's SLSQP. 4 ("inequality constraints incompatible") is no proof of infeasibility, and 8
# ("positive directional derivative") is a common ending at the optimum itself: both are left to our own
# check.
_SLSQP = {0: Status.OPTIMAL, 9: Status.TIME_LIMIT}


def from_highs(code: int) -> Status:
    """Translate a HiGHS model status by its number.

    How the solve stopped; `Status.FAILED` for every code without a verdict.

    Parameters
    ----------
    code : int
        ``int(Highs.getModelStatus())``.

    Examples
    --------
    >>> from_highs(7), from_highs(9)
    (<Status.OPTIMAL: 'optimal'>, <Status.FAILED: 'failed'>)
    """
    return _HIGHS.get(code, Status.FAILED)


def from_slsqp(mode: int) -> Status:
    """Translate an exit mode of scipy's SLSQP.

    How the solve stopped; never a verdict on the point it returned.

    Examples
    --------
    >>> from_slsqp(8)
    <Status.FAILED: 'failed'>
    """
    return _SLSQP.get(mode, Status.FAILED)


def relative_gap(value: float, bound: float) -> float:
    """Return how far a value may lie above the best possible one, as a share of the value.

    ``(value - bound) / max(|value|, 1e-12)``, at least 0; infinite when either number is missing.

    Parameters
    ----------
    value : float
        Cost of the answer (minimized).
    bound : float
        Proved lower bound on the cost.

    Examples
    --------
    >>> relative_gap(2.0, 1.5)
    0.25
    """
    if not (math.isfinite(value) and math.isfinite(bound)):
        return math.inf
    return max(0.0, value - bound) / max(abs(value), 1e-12)


def judge(stopped: Status, holds: bool, gap: float, tolerance: float) -> Status:
    """Decide what an answer is worth from how the solver stopped and from our own numbers.

    `OPTIMAL` or `FEASIBLE` only for an answer that holds; otherwise the reason there is none.

    Parameters
    ----------
    stopped : Status
        How the solver says it stopped.
    holds : bool
        Whether our own check found every row held.
    gap : float
        Relative gap between the answer and its proved bound, or another distance from the best; infinite
        when unknown.
    tolerance : float
        Gap at or below which an answer counts as optimal.

    Examples
    --------
    A solver that was stopped with an answer proved good enough has solved the problem:

    >>> judge(Status.TIME_LIMIT, holds=True, gap=0.0, tolerance=1e-6)
    <Status.OPTIMAL: 'optimal'>
    >>> judge(Status.OPTIMAL, holds=False, gap=0.0, tolerance=1e-6)
    <Status.FAILED: 'failed'>
    """
    if stopped in (Status.INFEASIBLE, Status.UNBOUNDED):
        return stopped
    if holds:
        return Status.OPTIMAL if gap <= tolerance else Status.FEASIBLE
    return Status.FAILED if stopped.has_answer else stopped


@contextmanager
def quiet_stdout() -> Iterator[None]:
    """Send file descriptor 1 nowhere while the block runs.

    Threads share one redirection, undone when the last of them leaves: were each to save and restore for
    itself, one could save the other's redirection and leave the process mute. A process without standard
    output is left alone. What other threads print in the meantime is lost.

    Yields
    ------
    None

    Examples
    --------
    >>> import os
    >>> with quiet_stdout():
    ...     count = os.write(1, b"a banner")
    """
    _enter()
    try:
        yield
    finally:
        _leave()


def _enter() -> None:
    global _users, _kept
    with _lock:
        _users += 1
        if _users > 1:
            return
        with suppress(OSError, ValueError, AttributeError):
            sys.stdout.flush()
        with suppress(OSError):
            _kept = os.dup(_STDOUT)
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, _STDOUT)
            os.close(nowhere)


def _leave() -> None:
    global _users, _kept
    with _lock:
        _users -= 1
        if _users > 0 or _kept < 0:
            return
        _flush_c_library()
        os.dup2(_kept, _STDOUT)
        os.close(_kept)
        _kept = -1


def _flush_c_library() -> None:
    """Empty the C library's own buffer, or its lines would come out after the redirection ends."""
    with suppress(OSError, AttributeError):
        library = ctypes.CDLL("ucrtbase" if os.name == "nt" else None)
        library.fflush(None)
