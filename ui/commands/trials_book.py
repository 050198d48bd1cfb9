"""``vesselblend trials void``, ``show``, ``trace`` and ``columns``: looking into the book, and out of it."""

from __future__ import annotations

from pathlib import Path

import click

from ui.commands.shared import book_option, delivered, job_options
from ui.delivery import Delivery


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
    from ui.trial_columns import column_blocks, column_rows

    if empty and example:
        raise click.UsageError("Name either --empty or --example.")
    if empty or example:
        delivery.send_text(write_csv_text([]) if empty else example_casts())
        return 0
    data = {"columns": [{"name": name, "meaning": meaning} for name, meaning in column_rows()]}
    delivery.send(data, column_blocks(delivery.units))
    return 0
