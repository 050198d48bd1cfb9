"""Explanations of designs, one part after the other, for the windows that wait for them.

A window waits for a part and lets an edit interrupt it; a design nobody waits for any longer is dropped
before its next part. Windows are served in the order in which they began to wait.
"""

from __future__ import annotations

import threading
from collections import OrderedDict, deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Final

from optimizer.solution import Solution
from ui.question import Question
from ui.second_process import Worked

PARTS: Final = ("conflict", "barred_by", "relaxations", "alternatives", "limits", "worth_a_trial")
"""What the page tells of a design, in the order in which it is worked out."""

_KEPT: Final = 128
"""Designs whose explanations are kept [count]."""

_BETWEEN: Final = 0.05
"""Time after which a waiting window looks whether its caster edited something [s]."""

Teller = Callable[[str], Solution]
"""Waits for a part and returns the solution with all parts up to it."""


@dataclass
class _Told:
    """What is known of one design, and who waits for more of it."""

    worked: Worked
    parts: dict[str, Any] = field(default_factory=dict)
    waiting: int = 0
    queued: bool = False
    failed: Exception | None = None

    def upto(self, last: str) -> Worked | None:
        """Return the design with the parts before `last` and that one; None while one is missing."""
        names = PARTS[: PARTS.index(last) + 1]
        if not self.parts.keys() >= set(names):  # asked by every window that waits, again and again
            return None
        worked = self.worked
        for name in names:
            worked = worked.told(name, self.parts[name])
        return worked


class Explanations:
    """Explanations by question, worked out by one thread.

    Parameters
    ----------
    work_out : Callable[[Question, Worked, str], Any]
        Works out one part, wherever that is.
    """

    def __init__(self, work_out: Callable[[Question, Worked, str], Any]) -> None:
        self._work_out = work_out
        self._changed = threading.Condition()
        self._known: OrderedDict[Question, _Told] = OrderedDict()
        self._queue: deque[tuple[Question, _Told]] = deque()
        self._thread: threading.Thread | None = None

    @contextmanager
    def told(
        self, asked: Question, worked: Worked, look_up: Callable[[], object] = lambda: None
    ) -> Iterator[Teller]:
        """Give what waits for the parts of a design; they are worked out until the block ends.

        `look_up` is called every so often while nothing is ready; what it raises ends the wait.
        """
        told = self._joined(asked, worked)

        def upto(last: str) -> Solution:
            while (found := self._found(told, last)) is None:
                look_up()
            return found.solution

        try:
            yield upto
        finally:
            with self._changed:
                told.waiting -= 1

    def _joined(self, asked: Question, worked: Worked) -> _Told:
        with self._changed:
            told = self._known.setdefault(asked, _Told(worked))
            self._known.move_to_end(asked)
            while len(self._known) > _KEPT:
                self._known.popitem(last=False)
            told.waiting += 1
            told.failed = None
            if not told.queued:
                told.queued = True
                self._queue.append((asked, told))
                self._changed.notify_all()
            if self._thread is None:
                self._thread = threading.Thread(target=self._serve, name="explanations", daemon=True)
                self._thread.start()
            return told

    def _found(self, told: _Told, last: str) -> Worked | None:
        """Return the design with its parts up to `last`; None where they are not known after a moment."""
        with self._changed:
            found = told.upto(last)
            if found is None and told.failed is not None:
                raise told.failed
            if found is None:
                self._changed.wait(_BETWEEN)
            return found

    def _serve(self) -> None:
        while True:
            with self._changed:
                while not self._queue:
                    self._changed.wait()
                asked, told = self._queue.popleft()
            while (part := self._next(told)) is not None:
                self._add(asked, told, part)

    def _next(self, told: _Told) -> str | None:
        """Return the part to be worked out next; None where all are known or nobody waits."""
        with self._changed:
            name = next((each for each in PARTS if each not in told.parts), None)
            wanted = name is not None and told.waiting > 0 and told.failed is None
            told.queued = wanted
            return name if wanted else None

    def _add(self, asked: Question, told: _Told, name: str) -> None:
        before = PARTS.index(name)
        worked = told.upto(PARTS[before - 1]) if before else told.worked
        assert worked is not None
        failed, value = None, None
        try:
            value = self._work_out(asked, worked, name)
        except Exception as error:  # raised again in the windows that wait
            failed = error
        with self._changed:
            told.failed = failed
            if failed is None:
                told.parts[name] = value
            self._changed.notify_all()
