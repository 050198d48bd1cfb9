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
    from optimizer.trials.marks import doubtful_in
    from ui.commands.asking import believed
    from ui.fit_text import counts_of
    from ui.terminal import sentence
    from ui.trial_text import entry_json, opened, teaching_words
    from ui.trial_typing import corrected_trial, typed_trial

    if correct is None:
        trial = typed_trial(readings, weighed, specs)
        believed(doubtful_in(opened(Path(book)) if Path(book).exists() else None, trial), yes=yes)
        kept = TrialBook(Path(book))
        entry = kept.get(kept.add(trial))
        said = f"Entered as {entry.trial.id} in {book}."
    else:
        kept = opened(Path(book))
        earlier = kept.get(correct)
        correct = earlier.trial.id
        trial = corrected_trial(earlier.trial, readings, weighed, specs)
        known = doubtful_in(kept, earlier.trial)
        believed([fault for fault in doubtful_in(kept, trial) if fault not in known], yes=yes)
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


@click.command("void")
@click.argument("id")
@click.option("--reason", required=True, metavar="TEXT", help="Why it no longer counts.")
@book_option
@delivered
def trials_void(id: str, reason: str, book: str, delivery: Delivery) -> int:
    """Make the trial ID void: it stays in the book, and no longer counts.

    To let it count again, correct it: vesselblend trials add --correct ID ...
    """
    from ui.trial_text import entry_json, opened

    kept = opened(Path(book))
    kept.withdraw(id, reason)
    entry = kept.get(id)
    id = entry.trial.id
    words = (
        f"Trial {id} is void from version {entry.revision} on; it stays in the book. Fit the trials again.\n"
    )
    delivery.send_as(entry_json(entry), words)
    return 0


@click.command("show")
@click.argument("id")
@book_option
@delivered
def trials_show(id: str, book: str, delivery: Delivery) -> int:
    """Show all that was noted of the trial ID, its history, and what it cannot teach."""
    from optimizer.trials.usable_readings import cannot_teach
    from ui.trial_text import entry_json, history_blocks, opened

    versions = opened(Path(book)).history(id)
    lacking = tuple(dict.fromkeys(cannot_teach(versions[-1].trial).values()))
    data = {"versions": [entry_json(entry) for entry in versions], "cannot_teach": list(lacking)}
    delivery.send(data, history_blocks(versions, lacking, delivery.units))
    return 0


@click.command("trace")
@click.option("--lot", metavar="LOT", help="Lot of a bag: every batch and vessel made with it.")
@click.option("--vessel", metavar="LABEL", help="Label of a vessel: its batch and its bags.")
@book_option
@job_options
@delivered
def trials_trace(
    lot: str | None, vessel: str | None, book: str, specs: str | None, delivery: Delivery
) -> int:
    """Follow a bag to its vessels, or a vessel to its bags."""
    from optimizer.specs import load_catalogue
    from optimizer.trials.trace import trace_lot, trace_vessel
    from ui.trial_text import opened, trace_blocks

    if (lot is None) == (vessel is None):
        raise click.UsageError("Name either --lot or --vessel.")
    kept = opened(Path(book))
    found = trace_vessel(kept, str(vessel)) if lot is None else trace_lot(kept, lot)
    data = {
        "batches": [batch.id for batch in found.batches],
        "bags": [{"material": material, "lot": bag} for material, bag in found.bags],
        "vessels": list(found.vessels),
        "orders": list(found.orders),
        "unlabeled": list(found.unlabeled),
        "also_noted": list(found.alike),
    }
    catalogue = load_catalogue(specs)
    delivery.send(data, trace_blocks(found, catalogue))
    return 0


@click.command("columns")
@click.option("--empty", is_flag=True, help="Write an empty table instead: a CSV with the header alone.")
@click.option("--example", is_flag=True, help="Write a table of the demo's six invented casts instead.")
@delivered
def trials_columns(empty: bool, example: bool, delivery: Delivery) -> int:
    """List the columns of the trial table, which are the names of `trials add`, too."""
    from optimizer.jobfile.writing import example_casts
    from optimizer.trials.table_files import write_csv_text
    from ui.trial_text import column_blocks, column_rows

    if empty and example:
        raise click.UsageError("Name either --empty or --example.")
    if empty or example:
        delivery.send_text(write_csv_text([]) if empty else example_casts())
        return 0
    data = {"columns": [{"name": name, "meaning": meaning} for name, meaning in column_rows()]}
    delivery.send(data, column_blocks(delivery.units))
    return 0
