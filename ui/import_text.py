"""What was understood of a table of trials, for a person to look at before it is kept."""

from __future__ import annotations

from collections.abc import Iterator

from optimizer.trials.tables import Table
from ui.terminal import Block, heading, indented, sentence, table

_ORDERS = {"us": ", month first", "day-first": ", day first"}


def understood_rows(read: Table) -> Iterator[tuple[str, str, str]]:
    """Give each column of the file, what it was taken for, and its first cell with content."""
    for column in read.layout.columns:
        taken = column.name or "not read"
        written = column.written.removeprefix("# ") or "(no header)"
        yield written, f"{taken} (by likeness)" if column.alike else taken, column.example[:40]


def understood_words(read: Table) -> str:
    """Return how many trials of which days a table holds."""
    days = sorted(trial.date for trial in read.trials)
    if not days:
        return "No row can be entered as it is."
    rows = f"{len(days)} trials" if len(days) > 1 else "1 trial"
    return f"{rows}, from {days[0]:%Y-%m-%d} to {days[-1]:%Y-%m-%d}{_ORDERS.get(read.layout.dates, '')}."


def understood_blocks(read: Table) -> Iterator[Block]:
    """Give what each column was taken for, how many trials there are, and what is to be confirmed."""
    yield table(("in the file", "taken as", "first cell"), understood_rows(read))
    yield sentence(understood_words(read), gap=True)
    if read.layout.doubts:
        yield heading("To confirm")
        for doubt in read.layout.doubts:
            yield indented(f"{doubt.where}: {doubt.value}. {doubt.repair}")
