"""``vesselblend trials``: the trial book, a file beside the jobs in which every batch is noted."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Final

import click

from ui.commands.shared import job_options
from ui.delivery import STANDARD, Delivery, delivered, read_stdin, say

__all__ = ["trials"]

_MOST: Final = 32 * 2**20
_EXAMPLE: Final = """\b
Example:
  vesselblend trials add --weighed "gypsum_cement=300, water=105" \\
      "demold=38 min" "strength=24 MPa" whiteness=89
"""


@click.group(short_help="Keep the book of what was poured and measured.")
def trials() -> None:
    """Keep a book of what was poured and measured; it teaches the predictions.

    The book is the file trials.db in the current folder unless --book names another.
    """


def _book_option(command: Callable[..., int]) -> Callable[..., int]:
    return click.option(
        "--book", metavar="FILE", default="trials.db", show_default=True, help="File of the trial book."
    )(command)


@trials.command("add", epilog=_EXAMPLE)
@click.argument("readings", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--weighed", metavar="GRAMS", help='Such as "gypsum_cement=300, marble_flour=120, water=125".')
@_book_option
@job_options
@delivered
def add(
    readings: tuple[str, ...], weighed: str | None, book: str, specs: str | None, delivery: Delivery
) -> int:
    """Enter one batch, as weighed and as measured.

    A name is any column of the trial table, as `vesselblend trials export` writes it. The date is today's
    unless stated (date=2026-11-20).
    """
    from optimizer.trials.book import TrialBook
    from ui.trial_text import trial_json, typed_trial

    trial = typed_trial(readings, weighed, specs)
    kept = TrialBook(Path(book))
    entry = kept.get(kept.add(trial))
    delivery.send_as(trial_json(entry.trial), f"Entered as {entry.trial.id} in {book}.\n")
    return 0


@trials.command("import")
@click.argument("file")
@click.option(
    "--corrections", is_flag=True, help="A known id with other content corrects the trial in the book."
)
@click.option("--leave-out-faulty", is_flag=True, help="Enter the rows without fault and report the others.")
@_book_option
@job_options
@delivered
def import_(
    file: str, corrections: bool, leave_out_faulty: bool, book: str, specs: str | None, delivery: Delivery
) -> int:
    """Enter all trials of FILE (CSV, XLSX; - for CSV on standard input).

    Nothing is entered when a row has a fault, unless faulty rows are left out.
    """
    from optimizer.specs import load_catalogue
    from optimizer.trials.book import TrialBook
    from optimizer.trials.exchange import import_trials

    materials = tuple(load_catalogue(specs))
    with tempfile.TemporaryDirectory() as folder:
        path = _from_stdin(Path(folder)) if file == STANDARD else Path(file)
        done = import_trials(
            TrialBook(Path(book)),
            path,
            corrections=corrections,
            leave_out_faulty=leave_out_faulty,
            materials=materials,
        )
    for fault in done.faults:
        say(str(fault))
    entered = done.entered
    counts = {
        "added": len(entered.added),
        "corrected": len(entered.corrected),
        "unchanged": len(entered.unchanged),
        "left_out": done.left_out,
    }
    words = ", ".join(f"{count} {name.replace('_', ' ')}" for name, count in counts.items())
    delivery.send_as(counts, f"{words}; book: {book}.\n")
    return 0


@trials.command("list")
@click.option(
    "--limit", type=click.IntRange(1, 1000), default=20, show_default=True, help="Trials shown, newest first."
)
@_book_option
@delivered
def list_(limit: int, book: str, delivery: Delivery) -> int:
    """List the newest trials of the book."""
    from ui.trial_text import listed_blocks, opened, trial_json

    kept = opened(Path(book))
    entries = kept.page(limit)
    data = {"count": kept.count(), "trials": [trial_json(entry.trial) for entry in entries]}
    delivery.send(data, lambda: list(listed_blocks(entries, kept.count(), delivery.units)))
    return 0


@trials.command("export")
@click.argument("file", required=False)
@click.option("--decimal-comma", is_flag=True, help="CSV with semicolons and decimal comma.")
@_book_option
@delivered
def export(file: str | None, decimal_comma: bool, book: str, delivery: Delivery) -> int:
    """Write every trial to FILE, CSV or XLSX by its ending; without FILE as CSV on standard output."""
    from optimizer.trials.csvfile import write_csv_text
    from optimizer.trials.exchange import export_trials
    from ui.trial_text import opened, trial_json

    records = list(opened(Path(book)).trials())
    path = Path(file) if file not in (None, STANDARD) else delivery.path
    if delivery.as_json:
        Delivery(True, delivery.units, path).send_as({"trials": [trial_json(trial) for trial in records]}, "")
    elif path is None:
        delivery.send_text(write_csv_text(records, decimal_comma))
    else:
        export_trials(records, path, decimal_comma)
        say(f"Written: {path}, {len(records)} trials")
    return 0


def _from_stdin(folder: Path) -> Path:
    """Return a file with what stands on standard input: the reader wants one."""
    path = folder / "standard-input.csv"
    path.write_bytes(read_stdin(_MOST))
    return path
