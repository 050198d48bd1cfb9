"""A sweep from the command line: where its rows go, what is said while it runs, and how it ends."""

from __future__ import annotations

import json
import signal
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from optimizer.sweep import Plan, Progress, ResultsFile, Scenarios, header_of, results_at
from optimizer.sweep import sweep as run
from optimizer.sweep.results_file import Columns, csv_line
from optimizer.sweep.run import workers_of
from optimizer.sweep.worker import FAULTY, OWN_FAULT, Row
from optimizer.toml_files import LARGEST_FILE, decoded, read_text
from optimizer.units import System
from ui.delivery import STANDARD, Delivery, Terminated, read_stdin, say
from ui.unit_text import ShownColumn, column_in

_PAUSE: Final = 0.5
"""Between two words of progress on a terminal [s]."""

_LONG_PAUSE: Final = 30.0
"""The same where every word stays, as in a log [s]."""


def job_text(job: str) -> str:
    """Return the text of the job file named, ``-`` for standard input; `FileFaults` if there is none."""
    if job == STANDARD:
        return decoded(read_stdin(LARGEST_FILE), "standard input")
    return read_text(Path(job), job)


def run_sweep(
    plan: Plan, scenarios: Scenarios, executor: str, workers: int | None, delivery: Delivery
) -> int:
    """Run a sweep by the workers that `workers_of` gives, deliver its rows, and return the exit code."""
    columns, path = header_of(plan), delivery.path
    units: System = "metric" if path is None and delivery.as_json else delivery.units
    shown = [column_in(name, units) for name, _ in columns]
    named = [(each.name, number) for each, (_, number) in zip(shown, columns, strict=True)]
    results: ResultsFile = (
        _StreamedRows(named, delivery.as_json)
        if path is None
        else results_at(path, named, plan.fingerprint[:16])
    )
    if units == "us":
        results = _UsRows(results, shown)
    teller = Teller()
    stopped = False
    try:
        with _ended_by_request():
            designers = workers_of(executor, workers)
            try:
                done = run(plan, scenarios, results, designers, teller.tell)
            except KeyboardInterrupt:
                stopped = True
                raise
            finally:
                teller.end_line()
                designers.close(at_once=stopped)
    except KeyboardInterrupt as end:
        kept = f" What was answered is in {path}; the same command goes on from there." if path else ""
        raise type(end)(f"Stopped.{kept}") from None
    finally:
        results.close()
    say(_summary_words(done, path))
    if path is not None and delivery.as_json:
        delivery.to(None).send_as(_summary(done, path), "")
    return 1 if done.statuses[OWN_FAULT] else 0


@contextmanager
def _ended_by_request() -> Iterator[None]:
    """Turn SIGTERM into `Terminated` for a while, so that it is said what is kept."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def end(_number: int, _frame: object) -> None:
        raise Terminated

    before = signal.signal(signal.SIGTERM, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _summary(done: Progress, path: Path) -> Mapping[str, Any]:
    return {
        "file": str(path),
        "scenarios": done.total,
        "done_before": done.before,
        "done_now": done.now,
        "statuses_now": dict(done.statuses),
        "seconds": round(done.seconds, 3),
    }


def _summary_words(done: Progress, path: Path | None) -> str:
    counts = _counts(done.statuses)
    parts = [f"{done.total} scenarios", f"{done.before} done before" if done.before else "", counts]
    where = f" in {path}" if path else ""
    return f"Done{where}: {'; '.join(part for part in parts if part)}."


def _counts(statuses: Counter[str]) -> str:
    words = {
        FAULTY: "whose values do not fit together",
        OWN_FAULT: "ended by an internal error",
    }
    return ", ".join(f"{count} {words.get(status, status)}" for status, count in statuses.most_common())


class Teller:
    """Says how far a sweep is: on one line of a terminal, or now and then in a log."""

    def __init__(self) -> None:
        self._lively = sys.stderr is not None and sys.stderr.isatty()
        self._last, self._open = -_PAUSE if self._lively else time.monotonic(), False

    def tell(self, progress: Progress) -> None:
        """Say it, unless something was said just before."""
        pause = _PAUSE if self._lively else _LONG_PAUSE
        now = time.monotonic()
        if sys.stderr is None or now - self._last < pause or not progress.left:
            return
        self._last = now
        words = _progress_words(progress)
        if self._lively:
            sys.stderr.write(f"\r{words:<78}")
            sys.stderr.flush()
            self._open = True
        else:
            say(words)

    def end_line(self) -> None:
        """Leave the line on the terminal."""
        if self._open:
            sys.stderr.write("\r" + " " * 78 + "\r")
            self._open = False


def _progress_words(progress: Progress) -> str:
    done = progress.before + progress.now
    left = progress.seconds_left
    return f"{done} of {progress.total} scenarios done" + (f", {duration_words(left)} left" if left else "")


def duration_words(seconds: float) -> str:
    """Return a time as two words at most.

    Examples
    --------
    >>> duration_words(42.0), duration_words(130.0), duration_words(9000.0), duration_words(2e5)
    ('42 s', '2 min', '2 h 30 min', '2 d 7 h')
    """
    minutes = round(seconds / 60.0)
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    if minutes < 60:
        return f"{minutes} min"
    hours = minutes // 60
    return f"{hours} h {minutes % 60} min" if hours < 48 else f"{hours // 24} d {hours % 24} h"


class _UsRows:
    """A file whose rows are kept in US units."""

    def __init__(self, kept: ResultsFile, columns: Sequence[ShownColumn]) -> None:
        self._kept, self._columns = kept, columns

    @property
    def done(self) -> set[int]:
        return self._kept.done

    def append(self, row: Row) -> None:
        pairs = zip(row, self._columns, strict=True)
        self._kept.append(
            tuple(column.of(cell) if isinstance(cell, float) else cell for cell, column in pairs)
        )

    def close(self) -> None:
        self._kept.close()


class _StreamedRows:
    """Rows on standard output; nothing is kept, so nothing is done before."""

    def __init__(self, columns: Columns, as_json: bool) -> None:
        self.done: set[int] = set()
        self._names = [name for name, _ in columns]
        self._as_json = as_json
        if not as_json:
            self._put(csv_line(self._names))

    def append(self, row: Row) -> None:
        if self._as_json:
            data = dict(zip(self._names, row, strict=True))
            self._put(json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n")
        else:
            self._put(csv_line(row))

    def close(self) -> None:
        """Nothing to let go of."""

    def _put(self, text: str) -> None:
        Delivery(False, "metric", None).send_text(text)
