"""``vesselblend trials import``: a table as a caster keeps it, looked at before anything of it is kept."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from ui.commands.shared import book_option, delivered, job_options
from ui.delivery import STANDARD, Delivery, read_stdin, say

if TYPE_CHECKING:
    from optimizer.trials.table_files import Table

_MOST: Final = 32 * 2**20
_EXAMPLE: Final = """\b
Example:
  vesselblend trials import "casting log.xlsx" --dates us --unit g,min,psi --yes
"""


@click.command("import", epilog=_EXAMPLE)
@click.argument("table", metavar="FILE")
@click.option(
    "--dates", type=click.Choice(["us", "day-first"]), help="3/2/2026 is March 2 (us) or February 3."
)
@click.option(
    "--unit", "said", multiple=True, metavar="UNITS", help="Units of columns that name none: g,min,psi."
)
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="HEADER=MEANING",
    help='What a header means, such as "Cement=csa_cement"; nothing after = leaves it out.',
)
@click.option("--yes", is_flag=True, help="Keep what was understood without asking.")
@click.option(
    "--corrections", is_flag=True, help="A known id with other content corrects the trial in the book."
)
@click.option("--leave-out-faulty", is_flag=True, help="Enter the rows without fault and report the others.")
@book_option
@job_options
@delivered
def trials_import(
    table: str,
    dates: str | None,
    said: Sequence[str],
    columns: Sequence[str],
    yes: bool,
    corrections: bool,
    leave_out_faulty: bool,
    book: str,
    specs: str | None,
    delivery: Delivery,
) -> int:
    """Enter all trials of FILE (CSV, XLSX; - for CSV on standard input).

    A table with the columns of `vesselblend trials columns` is entered at once. Of any other it is shown what
    was understood; where that may be wrong, it is entered when you say so. Nothing is entered when a row has
    a fault, unless faulty rows are left out.
    """
    from optimizer.errors import FileFaults
    from optimizer.specs import load_catalogue
    from optimizer.trials.exchange import by_column, import_trials, read_trials
    from optimizer.trials.import_choices import read_choices

    materials = tuple(load_catalogue(specs))
    choices = read_choices(dates or "", said, columns)
    with tempfile.TemporaryDirectory() as folder:
        path = _from_stdin(Path(folder)) if table == STANDARD else Path(table)
        read = read_trials(path, materials=materials, choices=choices)
    understood = yes or _confirmed(read)
    try:
        done = import_trials(
            Path(book),
            read,
            corrections=corrections,
            leave_out_faulty=leave_out_faulty,
            materials=materials,
            confirmed=understood,
        )
    except FileFaults as error:
        told = () if understood else read.layout.doubts  # said above, beside what was understood
        faults = [fault for fault in error.faults if fault not in told]
        if faults:
            raise FileFaults(faults) from None
        return error.exit_code
    for fault in by_column(done.faults):
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


def _confirmed(read: Table) -> bool:
    """Show what was understood of a table in a caster's own words, and ask whether it is right."""
    from ui.terminal import rendered
    from ui.trial_text import understood_blocks

    if not read.layout.own or read.layout.doubts:
        say(rendered(understood_blocks(read), None))
    if not read.layout.doubts:
        return True
    if sys.stdin is None or not sys.stdin.isatty():
        say("Nothing is entered yet: look at what was understood, then say --yes.")
        return False
    if click.confirm("Enter these trials?", err=True):
        return True
    raise click.Abort


def _from_stdin(folder: Path) -> Path:
    """Return a file with what stands on standard input: the reader wants one."""
    path = folder / "standard-input.csv"
    path.write_bytes(read_stdin(_MOST))
    return path
