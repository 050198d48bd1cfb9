"""``vesselblend trials``: the trial book, a file beside the jobs in which every batch is noted."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from ui.commands.shared import book_option, delivered, job_options, yes_option
from ui.delivery import STANDARD, Delivery, say

if TYPE_CHECKING:
    from optimizer.trials.records import Version
    from optimizer.trials.trial_errors import BookDamaged

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


@trials.command("add", epilog=_EXAMPLE)
@click.argument("readings", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--weighed", metavar="GRAMS", help='Such as "gypsum_cement=300, marble_flour=120, water=125".')
@click.option(
    "--correct", metavar="ID", help="Correct this earlier trial: what is typed replaces its readings."
)
@click.option("--reason", default="", metavar="TEXT", help="Why it is corrected.")
@yes_option
@book_option
@job_options
@delivered
def add(
    readings: tuple[str, ...],
    weighed: str | None,
    correct: str | None,
    reason: str,
    yes: bool,
    book: str,
    specs: str | None,
    delivery: Delivery,
) -> int:
    """Enter one batch, as weighed and as measured, or correct an earlier one.

    A name is any of those that `vesselblend trials columns` lists. The date is today's unless stated
    (date=2026-11-20). A correction is a new version; the one before stays in the book. NAME= takes a reading
    out.
    """
    from optimizer.specs import load_catalogue
    from optimizer.trials.book import TrialBook
    from optimizer.trials.checks import doubtful
    from ui.commands.asking import believed
    from ui.terminal import sentence
    from ui.trial_counts import counts_of
    from ui.trial_text import entry_json, opened, teaching_words
    from ui.trial_typing import corrected_trial, typed_trial

    if correct is None:
        trial = typed_trial(readings, weighed, specs)
        believed(doubtful(trial), yes=yes)
        kept = TrialBook(Path(book))
        entry = kept.get(kept.add(trial))
        said = f"Entered as {entry.trial.id} in {book}."
    else:
        kept = opened(Path(book))
        earlier = kept.get(correct)
        correct = earlier.trial.id
        trial = corrected_trial(earlier.trial, readings, weighed, specs)
        believed([fault for fault in doubtful(trial) if fault not in doubtful(earlier.trial)], yes=yes)
        kept.correct(trial, reason, supersedes=earlier.revision)
        entry = kept.get(correct)
        said = (
            f"Corrected {correct} in {book}: version {entry.revision}; the one before stays in its history."
        )
    counts = counts_of(entry.trial, load_catalogue(specs))
    data = entry_json(entry)["trial"] | {"version": entry.revision}
    data |= {"counts": list(counts.taken), "does_not_count": list(counts.lacking)}
    told = [said, teaching_words(entry.trial), counts.taken_words, counts.lacking_words]
    delivery.send(data, (sentence(words) for words in told if words))
    return 0


@trials.command("list")
@click.option(
    "--limit", type=click.IntRange(1, 1000), default=20, show_default=True, help="Trials shown, newest first."
)
@click.option("--void", is_flag=True, help="Show void trials, too.")
@book_option
@job_options
@delivered
def list_(limit: int, void: bool, book: str, specs: str | None, delivery: Delivery) -> int:
    """List the newest trials of the book."""
    from optimizer.specs import load_catalogue
    from ui.trial_text import damaged_words, entry_json, listed_blocks, opened, trial_json

    kept = opened(Path(book))
    entries, count = kept.page(limit, void=void), kept.count(void=void)
    damaged = [entry.trial.id for entry in entries if not entry.whole]
    shown = [entry_json(entry) if void else trial_json(entry.trial) for entry in entries]
    catalogue = load_catalogue(specs)
    delivery.send(
        {"count": count, "trials": shown, "damaged": damaged},
        listed_blocks(entries, count, catalogue, delivery.units, kept.short_names()),
    )
    if damaged:
        say(damaged_words(damaged))
    return 0


@trials.command("export")
@click.argument("file", required=False)
@click.option("--decimal-comma", is_flag=True, help="CSV with semicolons and decimal comma.")
@click.option("--current", is_flag=True, help="Only what counts: no earlier versions, no void trials.")
@book_option
@delivered
def export(file: str | None, decimal_comma: bool, current: bool, book: str, delivery: Delivery) -> int:
    """Write every trial to FILE, CSV or XLSX by its ending; without FILE as CSV on standard output.

    Corrected and void trials go along, each version a row; importing the file gives the same book, so that
    units are those the book keeps, whatever --units. Of a damaged book, what can still be read is written.
    """
    from optimizer.trials.exchange import export_trials
    from optimizer.trials.table_files import write_csv_text
    from optimizer.trials.trial_errors import BookDamaged
    from ui.trial_text import trial_json

    delivery = delivery if file in (None, STANDARD) else delivery.to(Path(file))
    lost = ""
    try:
        versions, lost = _versions(Path(book), current)
    except BookDamaged as error:
        versions, lost = _salvaged(Path(book), error)
    path = delivery.path
    if delivery.as_json:
        data = [trial_json(v.trial) | {"version": v.number, "void": v.void} for v in versions]
        delivery.send_as({"trials": data}, "")
    elif path is None:
        delivery.send_text(write_csv_text(versions, decimal_comma))
    else:
        export_trials(versions, path, decimal_comma)
        say(f"Written: {path}, {len({v.trial.id for v in versions})} trials")
    if lost:
        say(lost)
    return BookDamaged.exit_code if lost else 0


def _versions(path: Path, current: bool) -> tuple[list[Version], str]:
    """Return what to export of a book, and what to say about damaged trials."""
    from optimizer.trials.records import as_versions
    from ui.trial_text import damaged_words, opened

    kept = opened(path)
    versions = as_versions(kept.trials()) if current else kept.versions()
    return list(versions), damaged_words(kept.damaged(earlier=not current))


def _salvaged(path: Path, error: BookDamaged) -> tuple[list[Version], str]:
    """Return what can still be read of a damaged book, and what to say about the rest."""
    from optimizer.trials.salvage import salvage

    found = salvage(path)
    partial = ", ".join(trial.id for trial in found.partial) or "none"
    words = (
        f"{error}\nNewest versions written: {len(found.trials)} whole, {len(found.void)} void. Damaged, or "
        f"with a lost version, and written as void: {partial}. Entries lost: {len(found.lost)}."
    )
    return list(found.versions), words
