"""A second process for what explains an answer, so that no edit waits for it.

The page's own process finds blends. What a limit costs, which blend is worth a trial and the like takes
longer and may be stale before it is told: it is asked of a process of the lowest priority. One question goes
over its standard input, one answer comes back over its standard output, both pickled; it ends when its input
does.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import subprocess
import sys
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from optimizer.process_start import begin_work

if TYPE_CHECKING:
    from optimizer.engine.grid_search import GridSearch
    from optimizer.engine.search_state import Found
    from optimizer.materials import Catalogue
    from optimizer.problem import Problem
    from optimizer.solution import Solution
    from optimizer.studies.under_doubt import Answered
    from ui.question import Question

_COMMAND: Final = (sys.executable, "-P", "-m", "ui.second_process")
_DOWN: Final = 10
"""Steps down in priority [-]."""


class Worked(NamedTuple):
    """A design as the page keeps it and as it goes to the other process: without problem and grid.

    These take 30 MB and are made again in a moment.
    """

    nominal: Found
    found: Answered | None
    solution: Solution

    def told(self, name: str, value: object) -> Worked:
        """Return the design with one of its explanations."""
        changed: dict[str, Any] = {name: value}
        return self._replace(solution=replace(self.solution, **changed))


def worked_out(asked: Question) -> Worked:
    """Return the design that answers a question."""
    from optimizer.studies.design import designed_problem

    made = designed_problem(_problem(asked))
    return Worked(made.nominal, made.found, made.solution)


def explained(asked: Question, worked: Worked, name: str) -> Any:  # noqa: ANN401  the value of any field
    """Return one explanation of a design, worked out in this process."""
    from optimizer.studies.design import EXPLANATIONS, Designed
    from ui.question import catalogue

    kept = _STARTED.get(asked)
    if kept is None or kept[0] is not catalogue():
        _STARTED.clear()  # one job alone is kept: its draws and its grid take 30 MB
        kept = (catalogue(), *_started(asked))
        _STARTED[asked] = kept
    _, problem, grid = kept
    return EXPLANATIONS[name](Designed(problem, grid, *worked))


def _started(asked: Question) -> tuple[Problem, GridSearch]:
    from optimizer.engine.grid_search import GridSearch

    problem = _problem(asked)
    return problem, GridSearch(problem)


_STARTED: Final[dict[Question, tuple[Catalogue, Problem, GridSearch]]] = {}
"""The job explained last, with the materials it was compiled with: its parts share draws and grid."""


def _problem(asked: Question) -> Problem:
    from optimizer.problem import problem_of
    from ui.question import catalogue

    return problem_of(asked.job, catalogue(), asked.parameters())


class SecondProcess:
    """The process, as the page asks it: by one thread at a time."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it where it does not run."""
        if self._process is None or self._process.poll() is not None:
            self._process = subprocess.Popen(_COMMAND, stdin=subprocess.PIPE, stdout=subprocess.PIPE)

    def explained(self, asked: Question, worked: Worked, name: str) -> Any:  # noqa: ANN401  see above
        """Return an explanation; in this process where the other one cannot answer or was never started."""
        if self._process is None:
            return explained(asked, worked, name)
        try:
            self.start()
            answered, value = _exchanged(self._process, (asked, worked, name))
        except (OSError, EOFError, pickle.UnpicklingError):
            answered, value = False, None
        return value if answered else explained(asked, worked, name)

    def stop(self) -> None:
        """Let it end, and wait for that."""
        if self._process is not None:
            self._process.kill()
            self._process.communicate()
            self._process = None


SECOND: Final = SecondProcess()
"""The one of this page; its launcher starts it."""


def _exchanged(process: subprocess.Popen[bytes], wanted: tuple[Question, Worked, str]) -> tuple[bool, Any]:
    assert process.stdin is not None
    assert process.stdout is not None
    pickle.dump(wanted, process.stdin)
    process.stdin.flush()
    answered, value = pickle.load(process.stdout)
    return bool(answered), value


def serve() -> None:
    """Answer one question after the other until there are no more; what cannot be answered is said so."""
    begin_work()
    if hasattr(os, "nice"):
        os.nice(_DOWN)
    import optimizer.studies.design  # noqa: F401  loaded before the first question comes

    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints is no answer
    with contextlib.suppress(EOFError, BrokenPipeError):
        while True:
            pickle.dump(_answer(pickle.load(sys.stdin.buffer)), answers)
            answers.flush()


def _answer(wanted: tuple[Question, Worked, str]) -> tuple[bool, Any]:
    try:
        return True, explained(*wanted)
    except Exception:  # raised again where it is worked out anew, in the page's own process
        return False, None


if __name__ == "__main__":
    serve()
